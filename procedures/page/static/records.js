// What was done before: runs with their records, and each judged value over the runs.

import { byId, make } from "./dom.js";
import { TrendChart } from "./trend.js";

const fetched = async (address) => {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
};

/** Fetch both lists and draw them. */
export async function showRecords() {
  try {
    const runs = await fetched("/runs.json");
    byId("runs").replaceChildren(...(runs.length ? runs.map(runItem) : [nothing("No runs yet.")]));
  } catch {
    byId("runs").replaceChildren(nothing("The list could not be read; there is no connection."));
  }
  try {
    drawTrends(await fetched("/trends.json"));
  } catch {
    byId("trends").replaceChildren(make("p", { className: "none", textContent: "There are no trends yet." }));
  }
}

const nothing = (words) => make("li", { className: "none", textContent: words });

function runItem(run) {
  const started = new Date(run.started_ms).toISOString().slice(0, 16).replace("T", " ");
  const ended = run.result !== "not ended";
  const link = make("a", {
    href: `/records/${run.run}.pdf`,
    target: "_blank",
    rel: "noopener",
    textContent: `Record of run ${run.run} (PDF)`,
  });
  return make(
    "li",
    {},
    make("b", { textContent: `Run ${run.run}: ${run.procedure}` }),
    make("span", { className: "result", data: { result: run.result }, textContent: run.result }),
    make("span", {
      className: "detail",
      textContent: `${started} UTC, ${run.minutes} min, ${run.readings} readings`,
    }),
    run.said ? make("p", { textContent: run.said }) : null,
    ...run.hazards.map((hazard) =>
      make("p", { className: "hazard", textContent: `Not confirmed as put back: ${hazard}` }),
    ),
    ended ? link : make("span", { className: "detail", textContent: "It has a record once it has ended." }),
  );
}

function drawTrends(trends) {
  const box = byId("trends");
  if (!trends.length) {
    box.replaceChildren(make("p", { className: "none", textContent: "Nothing has been read in a run yet." }));
    return;
  }
  const options = trends.map((one) =>
    make("option", { value: one.parameter, textContent: `${one.parameter}: ${one.attention}` }),
  );
  const choose = make("select", { id: "trend" }, ...options);
  const chart = new TrendChart();
  const show = async () => {
    try {
      chart.show(await fetched(`/trend.json?parameter=${encodeURIComponent(choose.value)}`));
    } catch (error) {
      chart.fail(String(error.message));
    }
  };
  choose.addEventListener("change", show);
  const label = make("label", { htmlFor: "trend", textContent: "Parameter, the most urgent first" });
  box.replaceChildren(label, choose, chart.node);
  show();
}
