// The line to the bench. One event stream while the page is seen; it is opened anew when the page comes back from
// sleep, and whenever nothing new has come for a while, since a stream may look open and be dead.
//
// How fresh the numbers are is the age of the newest Snapshot and nothing else: a heartbeat of the server proves only
// that the server lives. Both clocks are asked, since the one stands still in sleep and the other may be set.

export const STALE_S = 10;
const AGAIN_S = 3;

export class Line {
  /** `onStatus(status)` for each newer Snapshot, `onAge()` once a second. */
  constructor(onStatus, onAge) {
    this.onStatus = onStatus;
    this.onAge = onAge;
    this.seq = null;
    this.stream = null;
    this.retry = 0;
    this.heard();
    for (const [target, event] of [[document, "visibilitychange"], [window, "pageshow"], [window, "online"]]) {
      target.addEventListener(event, () => this.turn());
    }
    window.addEventListener("pagehide", () => this.close());
    setInterval(() => this.watch(), 1000);
    this.turn();
  }

  /** Seconds since the newest Snapshot came. */
  age() {
    return Math.max(performance.now() - this.heardAt, Date.now() - this.heardWall, 0) / 1000;
  }

  heard() {
    this.heardAt = performance.now();
    this.heardWall = Date.now();
  }

  turn() {
    if (document.hidden) this.close();
    else this.open();
  }

  close() {
    clearTimeout(this.retry);
    this.stream?.close();
    this.stream = null;
  }

  open() {
    this.close();
    this.openedAt = performance.now();
    const stream = new EventSource("/api/v1/events");
    this.stream = stream;
    stream.addEventListener("status", (event) => this.take(JSON.parse(event.data), stream));
    stream.onerror = () => {
      if (stream === this.stream && stream.readyState === EventSource.CLOSED) this.askOnce();
    };
  }

  /** Every place is taken, or the server is away: look once, and try again soon. */
  async askOnce() {
    this.close();
    this.retry = setTimeout(() => this.turn(), AGAIN_S * 1000);
    try {
      const response = await fetch("/api/v1/status", { cache: "no-store" });
      if (response.ok) this.take(await response.json(), null);
    } catch {
      // The server is away; the age of the number says so, and `retry` asks again.
    }
  }

  take(status, stream) {
    if (stream !== null && stream !== this.stream) return;
    if (status.seq !== this.seq) this.heard();
    this.seq = status.seq;
    this.onStatus(status);
  }

  watch() {
    this.onAge();
    const quiet = (performance.now() - this.openedAt) / 1000;
    if (!document.hidden && this.age() > STALE_S && quiet > STALE_S) this.open();
  }
}
