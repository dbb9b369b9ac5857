// One event stream per page, open only while the page is seen; says when the monitor is away and when it is back.

const QUIET_MS = 2500; // this long without a word and the monitor is asked; a dead network reports nothing by itself
const ANSWER_MS = 2500;
const RETRY_MS = 1500;

export class Live {
  // handlers: state(data), spectrum(data), log(data), away(sinceDate), back(), crowded(boolean)
  constructor(address, stateAddress, handlers) {
    Object.assign(this, { address, stateAddress, handlers });
    this.stream = null;
    this.lastHeard = Date.now();
    this.lost = false;
    this.fresh = false;
    document.addEventListener("visibilitychange", () => (document.hidden ? this.close() : this.open()));
    addEventListener("pagehide", () => this.close());
    addEventListener("pageshow", (event) => event.persisted && this.open());
    if (!document.hidden) this.open();
  }

  open() {
    this.close();
    this.handlers.connecting();
    this.connect();
    this.timer = setInterval(() => this.watch(), 1000);
  }

  close() {
    clearInterval(this.timer);
    clearTimeout(this.retry);
    this.timer = null;
    this.stream?.close();
    this.stream = null;
    this.fresh = false;
  }

  connect() {
    clearTimeout(this.retry);
    this.stream?.close();
    const stream = new EventSource(this.address);
    this.stream = stream;
    for (const kind of ["state", "spectrum", "log"]) {
      stream.addEventListener(kind, (event) => {
        this.handlers.crowded(false);
        this.heard();
        this.handlers[kind](JSON.parse(event.data));
      });
    }
    stream.onerror = () => {
      if (stream !== this.stream) return;
      stream.close();
      this.ask();
      this.retry = setTimeout(() => this.connect(), RETRY_MS);
    };
  }

  heard() {
    this.lastHeard = Date.now();
    if (this.fresh) return;
    this.fresh = true;
    const wasLost = this.lost;
    this.lost = false;
    this.handlers.back(wasLost);
  }

  watch() {
    if (Date.now() - this.lastHeard > QUIET_MS) this.ask();
  }

  // The stream is silent: either nothing happens, or all places are taken, or the monitor is away. Ask.
  async ask() {
    if (this.asking) return;
    this.asking = true;
    try {
      const response = await fetch(this.stateAddress, { signal: AbortSignal.timeout(ANSWER_MS), cache: "no-store" });
      if (response.status === 401 || response.status === 403) return location.reload();
      if (!response.ok) throw new Error(String(response.status));
      const state = await response.json();
      if (!this.timer) return;
      const wasLost = this.lost;
      this.heard();
      this.handlers.state(state);
      if (wasLost) this.connect();
      this.handlers.crowded(this.stream.readyState === EventSource.CLOSED);
    } catch {
      this.gone();
    } finally {
      this.asking = false;
    }
  }

  gone() {
    if (!this.timer || this.lost) return;
    this.lost = true;
    this.fresh = false;
    this.handlers.away(new Date(this.lastHeard));
    if (this.stream.readyState !== EventSource.CLOSED) this.connect();
  }
}
