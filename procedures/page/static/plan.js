// The trim plan as a drawing: the two paths one under the other, each ending in its spare length,
// with the piece to take off marked on it. The best plan is drawn solid, the other one as "or".

import { draw, make } from "./dom.js";

const LEFT = 92;
const RIGHT = 548;
const CABLE = 150; // of the drawing's width stands for the part that is never cut

/** Return the drawing of a plan row, with its words. */
export function planDrawing(plan, site) {
  const spare = site?.spares?.[plan.stage] ?? {};
  const cuts = plan.cuts ?? [];
  const longest = Math.max(
    0.1,
    ...["sbo", "csb"].map((p) => spare[p] ?? 0),
    ...cuts.map((c) => c.length_m ?? 0),
  );
  const perMetre = (RIGHT - LEFT - CABLE) / longest;
  const svg = draw("svg", { viewBox: "0 0 600 190", class: "plan", role: "img" });
  svg.append(draw("title", {}));
  svg.firstChild.textContent = cuts.map((cut, i) => `${i ? "Or" : "Best"}: ${sentence(cut)}`).join(" ");
  ["sbo", "csb"].forEach((path, row) => {
    const order = cuts.findIndex((cut) => cut.path === path);
    svg.append(...line(path, 46 + row * 92, spare[path] ?? longest, perMetre, cuts[order], order));
  });
  const words = make(
    "ul",
    { className: "plan-words" },
    ...cuts.map((cut, i) => make("li", { textContent: `${i ? "Or: " : "Best: "}${sentence(cut)}` })),
  );
  return make(
    "figure",
    { className: "plan-figure" },
    make("figcaption", { textContent: `Lines of the ${plan.stage}` }),
    svg,
    words,
  );
}

function sentence(cut) {
  if (cut.note) return `${cut.path.toUpperCase()} path: ${cut.note}.`;
  return `take ${cut.said} off the ${cut.path.toUpperCase()} path; ${signed(cut.phase_left_deg)}° then remain.`;
}

const signed = (deg) => (deg > 0 ? "+" : deg < 0 ? "−" : "") + Math.abs(deg).toFixed(1);

function line(path, y, spareM, perMetre, cut, order) {
  const start = LEFT;
  const fixed = start + CABLE;
  const end = fixed + spareM * perMetre;
  const parts = [
    draw("rect", { x: 2, y: y - 20, width: LEFT - 2, height: 40, rx: 4, class: "box" }),
    text(LEFT / 2 + 1, y + 6, path.toUpperCase(), "name", "middle"),
    draw("path", { d: `M${start} ${y}H${fixed}`, class: "cable" }),
    draw("path", { d: `M${fixed} ${y}H${end}`, class: "spare" }),
    draw("path", { d: `M${end} ${y - 13}v26M${end + 7} ${y - 13}v26`, class: "connector" }),
  ];
  if (cut && cut.length_m > 0) {
    const from = Math.max(fixed - CABLE * 0.6, end - cut.length_m * perMetre);
    const kind = order === 0 && cut.within_spare ? "cut" : "cut other";
    parts.push(
      draw("rect", { x: from, y: y - 9, width: end - from, height: 18, class: kind }),
      draw("path", {
        d: `M${from - 7} ${y - 19}L${from + 7} ${y + 19}M${from + 7} ${y - 19}L${from - 7} ${y + 19}`,
        class: "blade",
      }),
      text(RIGHT + 12, y - 26, `${order ? "or " : ""}take off ${cut.said}`, "label", "end"),
    );
  }
  if (cut && !cut.within_spare)
    parts.push(text((fixed + end) / 2, y + 36, "more than there is to spare", "label", "middle"));
  return parts;
}

function text(x, y, words, kind, anchor) {
  const node = draw("text", { x, y, class: kind, "text-anchor": anchor });
  node.textContent = words;
  return node;
}
