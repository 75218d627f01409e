// The stream of events, resumed by the last row's number, and the server's clock as seen here.

const AGAIN_MS = 1000; // when the browser itself gave up
const SILENT_MS = 2500; // a server that lives says so every second

/** Follow the server; `on.row`, `on.now`, `on.bye` and `on.link(state)` are called. */
export class Stream {
  constructor(on) {
    this.on = on;
    this.lastSeq = 0;
    this.offsetMs = null;
    this.heardAt = 0;
    this.ended = false;
    this.source = null;
    setInterval(() => this.check(), 250);
  }

  open() {
    this.source?.close();
    const source = new EventSource(`/events?after=${this.lastSeq}`);
    this.source = source;
    source.addEventListener("open", () => {
      this.offsetMs = null;
    });
    source.addEventListener("row", (event) => {
      const row = JSON.parse(event.data);
      this.lastSeq = Math.max(this.lastSeq, row.seq);
      this.on.row(row);
    });
    source.addEventListener("now", (event) => {
      const state = JSON.parse(event.data);
      this.hear(state.mono_ms);
      this.on.now(state);
    });
    source.addEventListener("bye", () => {
      this.ended = true;
      source.close();
      this.on.link("ended");
    });
    source.addEventListener("error", () => {
      this.on.link("lost");
      if (source.readyState === EventSource.CLOSED && !this.ended) setTimeout(() => this.open(), AGAIN_MS);
    });
  }

  // The shortest way of a message gives the best idea of the server's clock: the largest offset.
  hear(serverMs) {
    const here = performance.now();
    this.heardAt = here;
    this.offsetMs = Math.max(this.offsetMs ?? -Infinity, serverMs - here);
    this.on.link("live");
  }

  check() {
    if (!this.ended && performance.now() - this.heardAt > SILENT_MS) this.on.link("lost");
  }

  /** Milliseconds since a moment of the server's monotonic clock. */
  ageMs(monoMs) {
    return this.offsetMs === null ? Infinity : performance.now() + this.offsetMs - monoMs;
  }

  get silentMs() {
    return performance.now() - this.heardAt;
  }
}
