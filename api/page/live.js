// The bench as it is now, and how old "now" is. A stream of what changes where the
// bench has one, asking again and again where it has not; and a page that hears
// nothing says so, whatever the reason.

import { get, Refused } from "./api.js";

const STREAM_AGAIN_MS = 30_000;
const LEAST_POLL_MS = 1_000;
const SLACK_MS = 4_000;
const LOST_MS = 1_500; // once nobody answered, so much more than an answer's due time
const DRAW_EVERY_MS = 500; // a demo's bench scans far more often than anybody reads

/** Keeps the newest bench, and tells when it changes or grows old. */
export class Live {
  constructor(onBench, onPulse) {
    this.bench = null;
    this.heardAt = null; // by Date.now, which goes on while a phone sleeps
    this.failure = null;
    this.onBench = onBench;
    this.onPulse = onPulse;
    this.stream = null;
    this.streamedAt = 0;
    this.stopped = true;
    this.drawing = null;
    this.drawnAt = 0;
  }

  start() {
    if (!this.stopped) return;
    this.stopped = false;
    this.openStream();
    this.poll();
    this.pulse = setInterval(() => this.onPulse(), 1_000);
  }

  stop() {
    this.stopped = true;
    clearInterval(this.pulse);
    clearTimeout(this.next);
    clearTimeout(this.reopening);
    this.stream?.close();
    this.stream = null;
  }

  /** Ask at once: something was just done, or the page came back into view. */
  refresh() {
    clearTimeout(this.next);
    return this.poll();
  }

  /** Return how long ago the bench was heard [ms]. */
  ageMs() {
    return this.heardAt === null ? Infinity : Math.max(0, Date.now() - this.heardAt);
  }

  /** Return whether what is shown may be taken for the present. */
  isLive() {
    const patienceMs = this.failure ? this.everyMs() + LOST_MS : this.patienceMs();
    return this.bench !== null && this.ageMs() < patienceMs && !this.stalled();
  }

  /** Whether the bench answers, but its controller has stopped looking at it. */
  stalled() {
    return this.bench !== null && this.bench.scan_age_s > 3 * this.bench.scan_s + 1;
  }

  /** Return the bench's own time now, as well as it can be told from here [ms]. */
  nowMs() {
    const { at, scan_age_s } = this.bench;
    return Date.parse(at) + Math.round(scan_age_s * 1000) + this.ageMs();
  }

  patienceMs() {
    return 2 * this.everyMs() + SLACK_MS;
  }

  everyMs() {
    const scan = this.bench ? this.bench.scan_s * 1000 : 2_000;
    return Math.max(LEAST_POLL_MS, Math.min(5_000, scan));
  }

  take(bench) {
    this.bench = bench;
    this.heardAt = Date.now();
    this.failure = null;
    if (this.drawing) return;
    const wait = Math.max(0, this.drawnAt + DRAW_EVERY_MS - Date.now());
    if (!wait) this.drawNow();
    else this.drawing = setTimeout(() => this.drawNow(), wait);
  }

  drawNow() {
    this.drawing = null;
    this.drawnAt = Date.now();
    this.onBench(this.bench);
  }

  async poll() {
    clearTimeout(this.next);
    if (this.stopped) return;
    const streamed = Date.now() - this.streamedAt < this.everyMs() * 1.5;
    if (!streamed || !this.bench) {
      try {
        this.take(await get("/v1/bench"));
      } catch (error) {
        this.failure = error;
        if (error instanceof Refused && error.status === 401) return;
        this.onPulse();
      }
    }
    clearTimeout(this.next);
    if (!this.stopped) this.next = setTimeout(() => this.poll(), this.everyMs());
  }

  openStream() {
    if (this.stopped || !window.EventSource) return;
    const stream = new EventSource("/v1/live");
    this.stream = stream;
    stream.addEventListener("bench", (event) => {
      this.streamedAt = Date.now();
      this.take(JSON.parse(event.data).bench);
    });
    stream.addEventListener("error", () => {
      // A bench without a stream, or one that is away: asking goes on meanwhile.
      stream.close();
      this.streamedAt = 0;
      if (this.stream !== stream || this.stopped) return;
      this.refresh();
      this.reopening = setTimeout(() => this.openStream(), STREAM_AGAIN_MS);
    });
  }
}
