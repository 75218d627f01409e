// The last minute of readings on a canvas: target dashed, reference dotted, band shaded, gaps open.

const SPAN_MS = 60000;
const GAP_MS = 1500;

export class Strip {
  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d");
    this.size = null;
    new ResizeObserver(() => {
      this.size = null;
    }).observe(canvas);
    this.recolour();
  }

  get visible() {
    return this.canvas.offsetParent !== null && document.visibilityState === "visible";
  }

  recolour() {
    const style = getComputedStyle(document.documentElement);
    const read = (name) => style.getPropertyValue(name).trim();
    this.colours = { ink: read("--ink"), soft: read("--soft"), line: read("--line"), good: read("--good") };
  }

  draw(readings, shown, nowMs) {
    const { width, height } = this.fit();
    const c = this.context;
    c.clearRect(0, 0, width, height);
    const points = readings.filter((r) => r.plot !== null);
    if (!points.length || !shown) return;
    const scale = this.scale(points, shown, width, height, nowMs);
    this.grid(scale, width);
    if (shown.target && shown.band !== null) this.band(scale, shown, width);
    const reference = shown.reference?.plot ?? null;
    if (reference !== null && reference >= scale.low && reference <= scale.high)
      this.level(scale, reference, width, this.colours.soft, [2, 4]);
    this.line(points, scale);
  }

  fit() {
    if (!this.size) {
      const ratio = window.devicePixelRatio || 1;
      const box = this.canvas.getBoundingClientRect();
      this.size = { width: box.width, height: box.height };
      this.canvas.width = Math.round(box.width * ratio);
      this.canvas.height = Math.round(box.height * ratio);
      this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    }
    return this.size;
  }

  scale(points, shown, width, height, nowMs) {
    const target = shown.target?.plot;
    const values = points.map((p) => p.plot);
    if (target !== undefined && target !== null)
      values.push(target + 2 * (shown.band ?? 0), target - 2 * (shown.band ?? 0));
    let low = Math.min(...values);
    let high = Math.max(...values);
    const least = Math.max(1e-3 * Math.max(Math.abs(low), Math.abs(high)), 1e-6);
    if (high - low < least) [low, high] = [low - least, high + least];
    const room = 0.08 * (high - low);
    const left = 58;
    return {
      low,
      high,
      left,
      x: (at) => left + (width - left - 8) * (1 - (nowMs - at) / SPAN_MS),
      y: (v) => 6 + (height - 24) * (1 - (v - low + room) / (high - low + 2 * room)),
      height,
    };
  }

  grid(scale, width) {
    const c = this.context;
    c.font = "13px system-ui, sans-serif";
    c.fillStyle = this.colours.soft;
    c.strokeStyle = this.colours.line;
    c.lineWidth = 1;
    for (const v of ticks(scale.low, scale.high)) {
      c.textAlign = "right";
      c.textBaseline = "middle";
      c.fillText(v.text, scale.left - 8, scale.y(v.at));
      c.beginPath();
      c.moveTo(scale.left, scale.y(v.at));
      c.lineTo(width - 8, scale.y(v.at));
      c.stroke();
    }
    c.textBaseline = "alphabetic";
    c.textAlign = "left";
    c.fillText("60 s ago", scale.left, scale.height - 3);
    c.textAlign = "right";
    c.fillText("now", width - 8, scale.height - 3);
  }

  band(scale, shown, width) {
    const c = this.context;
    const top = scale.y(shown.target.plot + shown.band);
    const bottom = scale.y(shown.target.plot - shown.band);
    c.fillStyle = this.colours.good;
    c.globalAlpha = 0.22;
    c.fillRect(scale.left, top, width - 8 - scale.left, Math.max(2, bottom - top));
    c.globalAlpha = 1;
    this.level(scale, shown.target.plot, width, this.colours.good, [7, 5]);
  }

  level(scale, value, width, colour, dashes) {
    const c = this.context;
    c.strokeStyle = colour;
    c.setLineDash(dashes);
    c.lineWidth = 1.5;
    c.beginPath();
    c.moveTo(scale.left, scale.y(value));
    c.lineTo(width - 8, scale.y(value));
    c.stroke();
    c.setLineDash([]);
  }

  line(points, scale) {
    const c = this.context;
    c.strokeStyle = this.colours.ink;
    c.lineWidth = 2;
    c.lineJoin = "round";
    c.beginPath();
    points.forEach((p, i) => {
      const open = i === 0 || p.at - points[i - 1].at > GAP_MS;
      c[open ? "moveTo" : "lineTo"](scale.x(p.at), scale.y(p.plot));
    });
    c.stroke();
    const newest = points[points.length - 1];
    c.fillStyle = this.colours.ink;
    c.beginPath();
    c.arc(scale.x(newest.at), scale.y(newest.plot), 4, 0, 7);
    c.fill();
  }
}

/** Return two to five round values between two ends, with their text. */
export function ticks(low, high) {
  const raw = (high - low) / 5;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high + step * 1e-6; at += step) {
    found.push({ at, text: (Math.abs(at) < step * 1e-6 ? 0 : at).toFixed(decimals).replace("-", "−") });
  }
  return found;
}
