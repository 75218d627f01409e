// Pitch follows the distance to the target, so that eyes stay on the work. Below the target the
// tone is held, above it is broken; in the band two notes alternate. A stale value is silent.

import { settings } from "./settings.js";

const LOW_HZ = 260;
const HIGH_HZ = 880;
const NULL_HZ = [1175, 1568];

/** Return the pitch for a place on the pointer, -1 to 1; in the band one of two notes, by the beat. */
export function pitchHz(place, inside, beat) {
  if (inside) return NULL_HZ[beat ? 0 : 1];
  return LOW_HZ * (HIGH_HZ / LOW_HZ) ** (1 - Math.abs(place));
}

export class Sound {
  constructor() {
    this.context = null;
    settings.onChange((name) => {
      if (name === "sound") this.arm();
    });
    // A browser lets a page sound only after somebody touched it; which event counts as a touch
    // differs, and a telephone call can take the sound away again.
    for (const touch of ["pointerdown", "pointerup", "click", "keydown"])
      document.addEventListener(touch, () => this.arm());
  }

  arm() {
    if (settings.sound !== "on") return;
    if (!this.context) this.start();
    else if (this.context.state !== "running") this.context.resume();
  }

  start() {
    this.context = new AudioContext();
    this.tone = this.context.createOscillator();
    this.volume = this.context.createGain();
    this.volume.gain.value = 0;
    this.tone.connect(this.volume).connect(this.context.destination);
    this.tone.start();
  }

  /** Follow what is shown; called often, whether something is new or not. */
  follow(shown, stale) {
    if (!this.context) return;
    const now = this.context.currentTime;
    const place = shown?.mode === "watch" ? shown.pointer?.place : null;
    const silent = settings.sound !== "on" || stale || place === null || place === undefined;
    const beat = now % 0.5 < 0.25;
    const inside = Boolean(shown?.in_band);
    const hz = pitchHz(place ?? 1, inside, beat);
    this.tone.type = inside ? "sine" : "triangle";
    this.tone.frequency.setTargetAtTime(hz, now, 0.02);
    const broken = !inside && place > 0 && now % 0.24 < 0.1;
    this.volume.gain.setTargetAtTime(silent || broken ? 0 : 0.18, now, 0.015);
  }
}
