// The pointer: a ball in a valley. The target is the floor, the band is the flat between two posts,
// the slopes are logarithmic like the terminal's bar. Place and height both tell the distance; the
// ball becomes a ring with a tick in the band, so that colour is never needed. A pennant stands where
// the best value was, a diamond lies where the reference value is.

import { draw, mark } from "./dom.js";

const MIDDLE = 240;
const REACH = 214;
const FLOOR = 106;
const RIM = 16;
const R = 15;
const TRAIL = 7;

const x = (place) => MIDDLE + REACH * place;
const y = (place, gate) => {
  const beyond = Math.max(0, Math.abs(place) - gate) / (1 - gate);
  return FLOOR - (FLOOR - RIM) * beyond ** 1.25;
};

export class Pointer {
  constructor(svg) {
    this.svg = svg;
    this.gate = null;
    this.trail = [];
    this.key = "";
    this.slope = draw("path", { class: "slope" });
    this.floor = draw("path", { class: "floor" });
    this.posts = draw("path", { class: "posts" });
    this.dots = Array.from({ length: TRAIL }, (_, i) => draw("circle", { r: 2 + i * 0.5, class: "trail" }));
    this.flag = draw("path", { class: "best", d: "M0 0V-26L15 -20L0 -14" });
    this.reference = draw("path", { class: "reference", d: "M0 -10L10 0L0 10L-10 0Z" });
    this.ball = draw(
      "g",
      { class: "ball" },
      draw("circle", { r: R, class: "body" }),
      draw("path", { class: "tick", d: "M-6 0L-1.5 5L6.5 -5" }),
    );
    this.low = draw("text", { x: 4, y: 146, class: "end" });
    this.high = draw("text", { x: 476, y: 146, class: "end", "text-anchor": "end" });
    this.centre = draw("text", { x: MIDDLE, y: 146, class: "end", "text-anchor": "middle" });
    this.valley(0.15);
    mark(svg, "empty", "yes");
    svg.append(
      this.slope,
      this.floor,
      this.posts,
      ...this.dots,
      this.flag,
      this.reference,
      this.ball,
      this.low,
      this.high,
      this.centre,
    );
  }

  show(shown) {
    const pointer = shown?.pointer;
    mark(this.svg, "empty", pointer && pointer.place !== null ? "" : "yes");
    if (!pointer) return this.trail.splice(0);
    if (pointer.gate !== this.gate) this.valley(pointer.gate);
    this.low.textContent = pointer.ends[0];
    this.high.textContent = pointer.ends[1];
    this.centre.textContent = shown.mode === "watch" && shown.target ? "target" : "balanced";
    const key = `${shown.key}/${shown.mode}`;
    if (key !== this.key) this.trail = [];
    this.key = key;
    mark(this.svg, "inside", shown.in_band ? "yes" : "");
    if (pointer.place === null) return undefined;
    this.trail.push(pointer.place);
    if (this.trail.length > TRAIL + 1) this.trail.shift();
    return this.roll(pointer);
  }

  valley(gate) {
    this.gate = gate;
    const side = (sign) =>
      Array.from({ length: 33 }, (_, i) => {
        const place = sign * (gate + ((1 - gate) * i) / 32);
        return `${x(place).toFixed(1)} ${(y(place, gate) + R).toFixed(1)}`;
      });
    this.slope.setAttribute("d", `M${side(-1).reverse().join("L")}L${side(1).join("L")}`);
    this.floor.setAttribute("d", `M${x(-gate)} ${FLOOR + R}H${x(gate)}`);
    this.posts.setAttribute("d", `M${x(-gate)} ${FLOOR + R}v-36M${x(gate)} ${FLOOR + R}v-36`);
  }

  roll(pointer) {
    const at = (place) => `translate(${x(place).toFixed(1)} ${y(place, this.gate).toFixed(1)})`;
    this.ball.setAttribute("transform", at(pointer.place));
    const past = this.trail.slice(0, -1);
    this.dots.forEach((dot, i) => {
      const place = past[i - (TRAIL - past.length)];
      dot.setAttribute("visibility", place === undefined ? "hidden" : "visible");
      if (place !== undefined) dot.setAttribute("transform", at(place));
    });
    this.lay(this.flag, pointer.best);
    this.lay(this.reference, pointer.reference);
  }

  /** Put a mark on the valley's own line, or away when there is no place for it. */
  lay(mark, place) {
    const known = place !== null && place !== undefined;
    mark.setAttribute("visibility", known ? "visible" : "hidden");
    if (!known) return;
    const height = y(place, this.gate) + R;
    mark.setAttribute("transform", `translate(${x(place).toFixed(1)} ${height.toFixed(1)})`);
  }
}
