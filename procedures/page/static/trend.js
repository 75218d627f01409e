// One parameter over the visits with its limits and reference; zoomed by buttons, keys or the wheel.

import { draw, make } from "./dom.js";
import { ticks } from "./strip.js";

const W = 600;
const H = 260;
const BOX = { left: 84, right: 590, top: 12, bottom: 216 };
const DAY = 86400000;

export class TrendChart {
  constructor() {
    this.svg = draw("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", class: "trend" });
    this.table = make("ul", { className: "trend-points" });
    const button = (words, name, factor, shift) => {
      const made = make("button", { type: "button", textContent: words, ariaLabel: name });
      made.addEventListener("click", () => this.move(factor, shift));
      return made;
    };
    const buttons = make(
      "div",
      { className: "zoom" },
      button("−", "Zoom out", 2, 0),
      button("+", "Zoom in", 0.5, 0),
      button("‹", "Earlier", 1, -0.25),
      button("›", "Later", 1, 0.25),
    );
    this.svg.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        this.move(event.deltaY > 0 ? 1.25 : 0.8, 0);
      },
      { passive: false },
    );
    this.unit = make("p", { className: "detail" });
    this.node = make("div", {}, this.unit, this.svg, buttons, this.table);
  }

  show(series) {
    this.series = series;
    this.points = series.points
      .map((p) => ({ ...p, at: Date.parse(p.time), plot: p.found ?? p.left }))
      .filter((p) => p.plot !== null);
    const times = this.points.map((p) => p.at);
    const room = Math.max(DAY / 24, 0.06 * (Math.max(...times) - Math.min(...times)));
    this.from = Math.min(...times) - room;
    this.to = Math.max(...times) + room;
    const unit = series.unit ? `In ${series.unit}. ` : "";
    const reference = series.reference === null ? "" : ", reference dotted";
    this.unit.textContent = `${unit}Limits dashed (${series.source || "none known"})${reference}. Attention: ${series.attention}.`;
    this.table.replaceChildren(
      ...this.points
        .slice(-12)
        .reverse()
        .map((p) => pointItem(p)),
    );
    this.draw();
  }

  fail(why) {
    this.svg.replaceChildren();
    this.unit.textContent = why;
  }

  move(factor, shift) {
    const span = this.to - this.from;
    const middle = (this.from + this.to) / 2 + shift * span;
    const half = Math.max(60000, (span * factor) / 2);
    [this.from, this.to] = [middle - half, middle + half];
    this.draw();
  }

  draw() {
    const { low, high, reference, title } = this.series;
    const scale = this.scale();
    const inside = draw("g", { "clip-path": "url(#trend-box)" });
    const level = (value, kind) => {
      if (value !== null)
        inside.append(draw("path", { d: `M${BOX.left} ${scale.y(value)}H${BOX.right}`, class: kind }));
    };
    level(low, "limit");
    level(high, "limit");
    level(reference, "reference");
    const corners = this.points.map((p, i) => `${i ? "L" : "M"}${scale.x(p.at)} ${scale.y(p.plot)}`);
    inside.append(draw("path", { d: corners.join(""), class: "value" }));
    for (const p of this.points) inside.append(...this.dots(p, scale));
    const box = { x: BOX.left, y: BOX.top, width: BOX.right - BOX.left, height: BOX.bottom - BOX.top };
    const clip = draw("clipPath", { id: "trend-box" }, draw("rect", box));
    this.svg.replaceChildren(clip, ...this.axes(scale), inside);
    const label = `${title}, ${this.points.length} visits; the values are listed below`;
    this.svg.setAttribute("aria-label", label);
  }

  scale() {
    const ends = [this.series.low, this.series.high, this.series.reference];
    const values = [...this.points.flatMap((p) => [p.plot, p.left]), ...ends].filter((v) => v !== null);
    let [low, high] = [Math.min(...values), Math.max(...values)];
    if (high - low < 1e-9) [low, high] = [low - 1, high + 1];
    const room = 0.1 * (high - low);
    return {
      low,
      high,
      x: (t) => BOX.left + ((BOX.right - BOX.left) * (t - this.from)) / (this.to - this.from),
      y: (v) => BOX.bottom - ((BOX.bottom - BOX.top) * (v - low + room)) / (high - low + 2 * room),
    };
  }

  /** A dot as found, a cross where that is out of limits, a ring for what an adjustment left. */
  dots(p, scale) {
    const [x, y] = [scale.x(p.at), scale.y(p.plot)];
    const { low, high } = this.series;
    const out = (low !== null && p.plot < low) || (high !== null && p.plot > high);
    const found = out
      ? draw("path", { d: `M${x - 6} ${y - 6}l12 12m0 -12l-12 12`, class: "cross" })
      : draw("circle", { cx: x, cy: y, r: 4, class: "dot" });
    if (!p.adjusted || p.left === null) return [found];
    return [found, draw("circle", { cx: x, cy: scale.y(p.left), r: 6, class: "ring" })];
  }

  axes(scale) {
    const short = this.to - this.from < 2 * DAY;
    const day = (t) =>
      new Date(t)
        .toISOString()
        .slice(0, short ? 16 : 10)
        .replace("T", " ");
    const rules = ticks(scale.low, scale.high).flatMap((t) => [
      draw("path", { d: `M${BOX.left} ${scale.y(t.at)}H${BOX.right}`, class: "rule" }),
      words(BOX.left - 8, scale.y(t.at) + 5, t.text, "end"),
    ]);
    return [
      ...rules,
      words(BOX.left, H - 12, day(this.from), "start"),
      words(BOX.right, H - 12, day(this.to), "end"),
    ];
  }
}

function pointItem(p) {
  const number = (value) => Number(value.toPrecision(5)).toString().replace("-", "−");
  const left = p.adjusted && p.left !== null ? `, left ${number(p.left)}` : "";
  return make("li", { textContent: `${p.time.slice(0, 10)}, run ${p.run}: found ${number(p.plot)}${left}` });
}

function words(x, y, text, anchor) {
  const node = draw("text", { x, y, "text-anchor": anchor });
  node.textContent = text;
  return node;
}
