// The run so far: what was judged, read, answered and planned, newest first; the instruments.

import { byId, make, say } from "./dom.js";
import { spokenAge } from "./meter.js";
import { planDrawing } from "./plan.js";

const SIGNS = {
  "in tolerance": ["✓", "good"],
  "out of tolerance": ["✗", "bad"],
  "too close to call": ["≈", "close"],
};

export class Run {
  constructor(store, stream) {
    this.store = store;
    this.stream = stream;
    this.drawn = 0;
    this.planSeq = 0;
    this.due = false;
    setInterval(() => this.ages(), 500);
  }

  later() {
    if (this.due) return;
    this.due = true;
    setTimeout(() => {
      this.due = false;
      this.draw();
    }, 120);
  }

  draw() {
    const { steps, plan, end } = this.store;
    const list = byId("steps");
    const fresh = steps.filter((row) => row.seq > this.drawn && step(row));
    for (const row of fresh) list.prepend(step(row));
    while (list.childElementCount > 400) list.lastElementChild.remove();
    if (steps.length) this.drawn = Math.max(this.drawn, steps[steps.length - 1].seq);
    if (plan && plan.seq !== this.planSeq) {
      this.planSeq = plan.seq;
      byId("plan").replaceChildren(planDrawing(plan, this.store.site));
    }
    if (end) byId("run-end").replaceChildren(ending(end));
    const said = this.store.says
      .slice(-4)
      .reverse()
      .map((line) => make("li", { textContent: line.text }));
    byId("says").replaceChildren(
      ...(said.length ? said : [make("li", { className: "none", textContent: "Nothing yet." })]),
    );
    this.instruments();
  }

  instruments() {
    const items = [...this.store.instruments.values()].map((one) => {
      const state = one.trouble
        ? "✗ away"
        : one.words
          ? `✗ ${one.words}`
          : one.at
            ? "✓ answers"
            : "· no reading yet";
      const due = one.calibration_due ? `calibration due ${one.calibration_due}` : "";
      return make(
        "li",
        { data: { alias: one.alias, trouble: one.trouble || one.words ? "yes" : "" } },
        make("b", { textContent: one.alias }),
        make("span", { className: "state", textContent: state }),
        make("span", { className: "age" }),
        make("span", {
          className: "who",
          textContent: [one.maker, one.model, one.serial && `serial ${one.serial}`, due]
            .filter(Boolean)
            .join(", "),
        }),
        one.trouble ? make("p", { textContent: one.trouble }) : null,
      );
    });
    byId("instruments").replaceChildren(...items);
    this.ages();
  }

  ages() {
    for (const item of byId("instruments").children) {
      const known = this.store.instruments.get(item.dataset.alias);
      const age = item.querySelector(".age");
      if (known?.at && age) say(age, spokenAge(this.stream.ageMs(known.at)).replace("now", "just read"));
    }
  }
}

function step(row) {
  const time = make("time", { textContent: new Date(row.utc_ms).toISOString().slice(11, 19) });
  const line = (kind, sign, title, said, detail) =>
    make(
      "li",
      { className: kind },
      make("span", { className: "sign", textContent: sign }),
      make("span", { className: "title", textContent: title }),
      time,
      said ? make("span", { className: "said", textContent: said }) : null,
      detail ? make("span", { className: "detail", textContent: detail }) : null,
    );
  switch (row.what) {
    case "verdict": {
      const [sign, kind] = SIGNS[row.verdict] ?? ["·", ""];
      return line(
        `verdict ${kind}`,
        sign,
        row.title,
        `${row.verdict}: ${row.said} ${row.uncertainty}`,
        `limits ${row.limits}; ${row.source}`,
      );
    }
    case "measured":
      return line("measured", "•", row.title, row.said, details(row.beside, !row.steady && "had not settled"));
    case "adjusted":
      return line("adjusted", "↻", row.title, row.said, details(row.beside, row.detail));
    case "answer":
      return line("answer", "›", row.title, `${row.said} (${row.by})`, "");
    case "plan":
      return line(
        "note",
        "✂",
        "Trim plan",
        "",
        row.cuts.map((cut) => `${cut.path.toUpperCase()}: ${cut.note || cut.said}`).join("; "),
      );
    case "note":
      return line(
        "note",
        "·",
        row.title,
        "",
        row.pairs.map(([name, value]) => `${name} ${value}`).join("; "),
      );
    case "event":
      return line("event", "!", row.title, row.said, row.source);
    case "end":
      return line("end", "■", `Run ${row.result}`, row.said, "");
    default:
      return null;
  }
}

const details = (...parts) => parts.filter(Boolean).join("; ");

function ending(end) {
  const hazards = end.hazards.map((hazard) =>
    make(
      "p",
      { className: "caution" },
      make("strong", { textContent: "Not confirmed as put back" }),
      make("span", { textContent: ` ${hazard}` }),
    ),
  );
  return make(
    "div",
    { className: "ending" },
    make("h2", { textContent: `Run ${end.result}` }),
    end.said ? make("p", { textContent: end.said }) : null,
    ...hazards,
  );
}
