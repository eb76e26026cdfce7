// The benches as they were last told, and how old that is. A page that is told
// nothing says so; and one that stands still altogether is stamped by the browser,
// which was asked beforehand to do so unless it is asked again.

import { get, Refused } from "./api.js";
import { byId } from "./dom.js";

const EVERY_MS = 4_000;
const PATIENCE_MS = 12_000;
const LOST_MS = 1_500; // once nobody answered, so much more than the next answer's due time
const LAPSES_MS = 20_000;

/** Keeps what was told last, and tells when it changes or grows old. */
export class Far {
  constructor(onTold, onPulse) {
    this.told = null;
    this.heardAt = null; // by Date.now, which goes on while a phone sleeps
    this.failure = null;
    this.stopped = true;
    this.onTold = onTold;
    this.onPulse = onPulse;
    this.stamp = null;
  }

  start() {
    if (!this.stopped) return;
    this.stopped = false;
    this.poll();
    this.pulse = setInterval(() => this.onPulse(), 1_000);
  }

  stop() {
    this.stopped = true;
    clearInterval(this.pulse);
    clearTimeout(this.next);
  }

  /** Return how long ago something was told [ms]. */
  ageMs() {
    return this.heardAt === null ? Infinity : Math.max(0, Date.now() - this.heardAt);
  }

  /** Return whether what is shown may be taken for the present. */
  isLive() {
    return this.told !== null && this.ageMs() < (this.failure ? EVERY_MS + LOST_MS : PATIENCE_MS);
  }

  async poll() {
    clearTimeout(this.next);
    if (this.stopped) return;
    try {
      this.told = await get("/v1/benches");
      this.heardAt = Date.now();
      this.failure = null;
      this.rewind();
      this.onTold(this.told);
    } catch (error) {
      this.failure = error;
      if (error instanceof Refused && error.status === 401) return;
    }
    this.onPulse();
    clearTimeout(this.next);
    if (!this.stopped) this.next = setTimeout(() => this.poll(), EVERY_MS);
  }

  /** Put off the stamp: the browser sets it without us, even where no script runs on. */
  rewind() {
    this.stamp?.cancel();
    this.stamp = byId("lapsed").animate([{ opacity: 0 }, { opacity: 1 }], {
      delay: LAPSES_MS,
      duration: 1,
      fill: "both",
    });
  }
}
