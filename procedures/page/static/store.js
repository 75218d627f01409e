// What the page knows: the rows of the run, the newest readings, and the present state.

const READINGS_KEPT = 2400;
const STEPS_KEPT = 400;

export class Store {
  constructor() {
    this.site = null;
    this.readings = [];
    this.newest = null;
    this.steps = [];
    this.plan = null;
    this.instruments = new Map();
    this.end = null;
    this.view = null;
    this.prompt = null;
    this.says = [];
    this.fault = "";
    this.seen = new Set();
  }

  /** Take a row of the log; return whether the lists have to be drawn again. */
  row(row) {
    if (this.seen.has(row.seq)) return false;
    if (row.what === "reading") return this.reading(row);
    this.seen.add(row.seq);
    if (row.what === "start") for (const one of row.instruments) this.instruments.set(one.alias, { ...one });
    if (row.what === "plan") this.plan = row;
    if (row.what === "end") this.end = row;
    if (row.what === "event" && row.source) this.trouble(row);
    this.steps.push(row);
    if (this.steps.length > STEPS_KEPT) this.steps.shift();
    return true;
  }

  reading(row) {
    if (this.newest && row.seq <= this.newest.seq) return false;
    this.newest = row;
    this.readings.push({ at: row.mono_ms, plot: row.value.plot, quantity: row.quantity, point: row.point });
    if (this.readings.length > READINGS_KEPT) this.readings.splice(0, READINGS_KEPT / 4);
    const known = this.instruments.get(row.source) ?? { alias: row.source };
    const fresh = !known.at || Boolean(known.trouble) || Boolean(row.words) !== Boolean(known.words);
    Object.assign(known, { at: row.mono_ms, words: row.words, trouble: "" });
    this.instruments.set(row.source, known);
    return fresh;
  }

  trouble(row) {
    const alias = row.source.split(" ")[0];
    const known = this.instruments.get(alias);
    if (known) known.trouble = row.said || row.title;
  }

  /** Take the present state. */
  now(state) {
    const some = (body) => (body && Object.keys(body).length ? body : null);
    if ("view" in state) this.view = some(state.view);
    if ("prompt" in state) this.prompt = some(state.prompt);
    if ("says" in state) this.says = state.says.lines ?? [];
    if ("fault" in state) this.fault = state.fault.text ?? "";
  }

  /** What is shown large: the value under the hand, else the newest reading. */
  get shown() {
    if (this.view) return { ...this.view, mode: "watch" };
    const row = this.newest;
    if (!row) return null;
    const pointer =
      row.quantity === "ddm"
        ? { place: row.place, best: null, gate: row.gate, ends: ["90 Hz", "150 Hz"] }
        : null;
    return { ...row, mode: "measure", pointer };
  }

  /** Readings of the quantity and point that are shown, of the last minute. */
  lastMinute(nowMs) {
    const shown = this.shown;
    if (!shown) return [];
    return this.readings.filter(
      (r) => r.at > nowMs - 60000 && r.quantity === shown.quantity && r.point === shown.point,
    );
  }
}
