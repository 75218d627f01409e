// The reading, large: digits, predominating tone in words and by position, pointer, facts, strip.

import { byId, mark, say } from "./dom.js";
import { Pointer } from "./pointer.js";
import { settings } from "./settings.js";
import { Strip } from "./strip.js";

const FRESH_MS = 1000;
const STRIP_MS = 250; // the minute moves a pixel in that time; the number must not wait for it
const PREDOMINATES = " predominates";

export class Meter {
  constructor(store, stream) {
    this.store = store;
    this.stream = stream;
    this.box = byId("meter");
    this.pointer = new Pointer(byId("pointer"));
    this.strip = new Strip(byId("strip"));
    this.due = false;
    this.stripDue = false;
    settings.onChange(() => {
      this.strip.recolour();
      this.later();
    });
    setInterval(() => this.age(), 100);
  }

  /** Draw before the next frame, once, however many readings came. */
  later() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.draw();
    });
    this.stripLater();
  }

  /** Draw the last minute a little later, in a task of its own. */
  stripLater() {
    if (this.stripDue) return;
    this.stripDue = true;
    setTimeout(() => {
      this.stripDue = false;
      this.minute();
    }, STRIP_MS);
  }

  draw() {
    const shown = this.store.shown;
    this.age();
    if (!shown) return;
    this.number(shown);
    this.words(shown);
    this.pointer.show(shown);
    this.facts(shown);
    this.box.dataset.seq = this.store.newest?.seq ?? 0;
  }

  minute() {
    const shown = this.store.shown;
    if (!shown || !this.strip.visible) return;
    const now = shown.mono_ms + Math.max(0, Math.min(this.stream.ageMs(shown.mono_ms), 60000));
    this.strip.draw(this.store.lastMinute(now), shown, now);
  }

  number(shown) {
    const value = shown.value;
    const current = settings.unit === "ua" && value.ua !== undefined;
    const digits = shown.words || (current ? value.ua : value.number) || "–";
    say(byId("digits"), digits);
    say(byId("unit"), shown.words ? "" : current ? "µA" : value.unit);
    say(byId("also"), current ? `${value.number} ${value.unit}` : value.also);
    say(byId("meaning"), value.meaning);
    mark(this.box, "empty", "");
    mark(this.box, "wordy", shown.words ? "yes" : "");
    mark(this.box, "mode", shown.mode);
    mark(this.box, "quantity", shown.quantity);
    for (const tone of ["90", "150"])
      mark(byId(`tone-${tone}`), "on", String(value.tone) === tone ? "yes" : "");
  }

  words(shown) {
    const measuring = this.store.end
      ? `The run has ended: ${this.store.end.result}`
      : `Reading '${shown.point || shown.quantity}': hands off`;
    say(byId("instruction"), shown.mode === "watch" ? shown.instruction : measuring);
    byId("reminder").hidden = !shown.caution;
    say(byId("reminder-words"), shown.caution ?? "");
    say(byId("advice"), shown.mode === "watch" ? shown.advice.words : "");
    say(byId("distance"), (shown.distance ?? "").replace(/^in the band, /, ""));
    this.reference(shown);
    mark(this.box, "inside", shown.in_band ? "yes" : "");
    mark(byId("advice"), "code", shown.mode === "watch" ? shown.advice.code : "");
  }

  reference(shown) {
    const known = shown.reference;
    const ua = settings.unit === "ua" && known?.ua_words;
    const words = (ua ? known.ua_words : known?.words) ?? shown.beside ?? "";
    byId("reference").hidden = !words;
    say(byId("reference"), words);
  }

  facts(shown) {
    const said = (value) => {
      if (!value) return "–";
      const number = settings.unit === "ua" && value.ua !== undefined ? value.ua : value.number;
      return `${number} ${value.meaning ? value.meaning.replace(PREDOMINATES, "") : value.unit}`;
    };
    say(byId("target"), said(shown.target));
    say(byId("best"), said(shown.best));
    say(
      byId("steady"),
      shown.mode === "watch" && this.box.dataset.stale === "no"
        ? shown.steady
          ? "■ steady"
          : "↔ moving"
        : "–",
    );
    say(byId("rate"), shown.rate_hz === undefined ? "–" : `${shown.rate_hz}/s`);
  }

  // Driven by the page's own timer: a number that nobody renews grows old by itself.
  age() {
    const shown = this.store.shown;
    const ageMs = shown ? this.stream.ageMs(shown.mono_ms) : Infinity;
    const stale = ageMs > FRESH_MS;
    mark(this.box, "stale", stale ? "yes" : "no");
    say(byId("age"), shown ? spokenAge(ageMs) : "–");
    return stale;
  }
}

/** Return an age in words: tenths of a second while it matters, then seconds, minutes, hours. */
export function spokenAge(ms) {
  if (!Number.isFinite(ms)) return "unknown";
  const s = Math.max(0, ms) / 1000;
  if (s <= 1) return "now";
  if (s < 10) return `${s.toFixed(1)} s old`;
  if (s < 120) return `${Math.floor(s)} s old`;
  return s < 7200 ? `${Math.floor(s / 60)} min old` : `${Math.floor(s / 3600)} h old`;
}
