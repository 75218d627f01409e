// What a screen reader hears: at most one sentence every few seconds, and only a new one.

import { byId, say } from "./dom.js";
import { settings } from "./settings.js";

const PAUSE_MS = 5000;

export class Speech {
  constructor() {
    this.node = byId("spoken");
    this.spokeAt = -Infinity;
    this.last = "";
    this.code = "";
  }

  follow(shown, stale) {
    if (settings.heard !== "on" || !shown || shown.mode !== "watch") return;
    const now = performance.now();
    const code = stale ? "stale" : shown.in_band ? "inside" : shown.advice.code;
    const turned = code !== this.code && ["stale", "inside", "past"].includes(code);
    if (now - this.spokeAt < (turned ? PAUSE_MS / 2 : PAUSE_MS)) return;
    const text = stale ? "The reading is old." : sentence(shown);
    if (text === this.last) return;
    [this.spokeAt, this.last, this.code] = [now, text, code];
    say(this.node, text);
  }
}

function sentence(shown) {
  if (shown.words) return shown.words;
  return [
    `${shown.value.number} ${shown.value.unit}`,
    shown.value.meaning,
    shown.in_band ? "in the band" : shown.advice.words,
  ]
    .filter(Boolean)
    .join(", ");
}
