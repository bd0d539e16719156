// The board's events: one stream, opened again whenever it breaks off or falls silent.

const EVENTS = [
  "status", "zone", "zones", "clock", "site_file", "journal", "switching", "override", "override_ended", "program", "event", "reset",
];
const QUIET_MS = 40_000; // a ping comes every 15 s
const RETRY_MS = 1_500;

export class Stream {
  // tell("changed"): something is another way now. tell("lost"): the board does not answer.
  constructor(tell) {
    this.tell = tell;
    this.source = null;
    setInterval(() => {
      if (this.source && performance.now() - this.heardMs > QUIET_MS) this.lose();
    }, 5_000);
  }

  open() {
    if (this.source) return;
    clearTimeout(this.retry);
    const source = (this.source = new EventSource("/v1/events"));
    this.heardMs = performance.now();
    for (const name of EVENTS) source.addEventListener(name, () => this.hear("changed"));
    source.addEventListener("ping", () => this.hear("ping"));
    source.onerror = () => this.source === source && this.lose();
  }

  close() {
    clearTimeout(this.retry);
    this.source?.close();
    this.source = null;
  }

  hear(what) {
    this.heardMs = performance.now();
    this.tell(what);
  }

  lose() {
    this.close();
    this.tell("lost");
    this.retry = setTimeout(() => this.open(), RETRY_MS);
  }
}
