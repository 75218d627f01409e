// Keeps the screen on while a value is watched: a dark screen on the cabinet is of no use.

import { settings } from "./settings.js";

export class Wake {
  constructor() {
    this.lock = null;
    this.asked = false;
  }

  /** Hold the screen on, or let it go; called often. */
  async follow(watching) {
    const wanted = watching && settings.awake === "on" && document.visibilityState === "visible";
    if (!wanted && this.lock) this.lock.release();
    if (!wanted || this.lock || this.asked || !navigator.wakeLock) return;
    this.asked = true;
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.lock.addEventListener("release", () => (this.lock = null));
    } catch {
      // a browser that saves its battery may refuse; it is asked again a little later
    }
    setTimeout(() => (this.asked = false), 5000);
  }
}
