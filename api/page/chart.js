// The strip chart of a tray, from ten minutes to the season: dragged, pinched,
// turned with a wheel or moved by keys. It shows at once what it has, stretched, and
// then what the bench tells of the new window.

import { bucketAt, fetchWindow, firstReading } from "./chart_data.js";
import { drawn, EDGE, frameOf } from "./chart_draw.js";
import { bounded, stretched } from "./chart_scale.js";
import { dateText, DAY_MS, dayText, HOUR_MS, hourText } from "./clock.js";
import { show } from "./dom.js";
import { shareText, tempText } from "./units.js";

const SPANS = { hours: 6 * HOUR_MS, day: DAY_MS, week: 7 * DAY_MS, month: 30 * DAY_MS };
const SETTLE_MS = 140; // so long after the last movement the bench is asked
const AGAIN_MS = 5_000; // how often a window that ends now is asked for anew

export class StripChart {
  /**
   * @param svg Where it is drawn; its parent gives the width.
   * @param parts Elements for the readout and the spoken summary.
   * @param context Returns unit, zone and the bench's time.
   */
  constructor(svg, parts, context) {
    this.svg = svg;
    this.parts = parts;
    this.context = context;
    this.tray = null;
    this.window = null;
    this.data = {};
    this.firstMs = null;
    this.pointers = new Map();
    this.cursorMs = null;
    this.askedAt = 0;
    this.listen();
  }

  /** Show a tray, the last day of it. */
  async open(tray) {
    if (this.tray?.name === tray.name) {
      this.tray = tray;
      return;
    }
    this.tray = tray;
    this.data = {};
    this.cursorMs = null;
    this.firstMs = null;
    const { nowMs } = this.context();
    this.follows = true;
    this.window = { fromMs: nowMs - DAY_MS, toMs: nowMs };
    this.ask();
    try {
      const firstMs = await firstReading(tray, nowMs);
      if (this.tray?.name !== tray.name) return;
      this.firstMs = firstMs;
      if (this.follows && firstMs !== null && firstMs > this.window.fromMs) this.span("season");
    } catch {
      // The season's length stays unknown until it is asked for again.
    }
  }

  /** Time went on: a window that ends now goes with it. */
  tick() {
    if (!this.tray || !this.window || document.hidden || this.pointers.size) return;
    const { nowMs } = this.context();
    if (!this.follows) return;
    const lasting = this.window.toMs - this.window.fromMs;
    this.window = { fromMs: nowMs - lasting, toMs: nowMs };
    this.draw();
    if (performance.now() - this.askedAt > AGAIN_MS) this.ask();
  }

  limits() {
    const { nowMs } = this.context();
    const firstMs = this.firstMs ?? Math.min(this.window.fromMs, nowMs - 30 * DAY_MS);
    return { firstMs: Math.min(firstMs, nowMs - HOUR_MS), lastMs: nowMs };
  }

  /** Look at another window. */
  look(window) {
    const limits = this.limits();
    this.window = bounded(window, limits);
    this.follows = limits.lastMs - this.window.toMs < 0.01 * (this.window.toMs - this.window.fromMs);
    this.draw();
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.ask(), SETTLE_MS);
  }

  span(name) {
    const { firstMs, lastMs } = this.limits();
    if (name === "season") {
      this.look({ fromMs: firstMs, toMs: lastMs });
      return;
    }
    const end = this.follows ? lastMs : this.window.toMs;
    this.look({ fromMs: end - SPANS[name], toMs: end });
  }

  pan(share) {
    const by = (this.window.toMs - this.window.fromMs) * share;
    this.look({ fromMs: this.window.fromMs + by, toMs: this.window.toMs + by });
  }

  zoom(factor, aboutMs) {
    const middle = (this.window.fromMs + this.window.toMs) / 2;
    const about = aboutMs ?? (this.follows ? this.window.toMs : middle);
    this.look(stretched(this.window, factor, about));
  }

  async ask() {
    this.asking?.abort();
    this.asking = new AbortController();
    const { signal } = this.asking;
    this.askedAt = performance.now();
    const begun = this.askedAt;
    const points = Math.max(60, Math.min(600, Math.round(this.frame().plot.w / 2)));
    const asked = { tray: this.tray, window: { ...this.window }, points, signal };
    try {
      await fetchWindow(asked, (part) => {
        if (signal.aborted) return;
        Object.assign(this.data, part);
        this.draw();
        if (part.temps) performance.measure("strip chart", { start: begun });
      });
      this.say("");
      this.svg.setAttribute("data-shown", `${asked.window.fromMs}-${asked.window.toMs}`);
    } catch (error) {
      if (!signal.aborted) this.say(`The log cannot be read: ${error.message}.`);
    }
  }

  frame() {
    const width = Math.max(280, this.svg.parentElement.clientWidth);
    return frameOf(width, width < 520 ? 290 : 330);
  }

  draw() {
    if (!this.tray || !this.window) return;
    const frame = this.frame();
    const context = this.context();
    this.svg.setAttribute("viewBox", `0 0 ${frame.width} ${frame.height}`);
    this.svg.setAttribute("width", frame.width);
    this.svg.setAttribute("height", frame.height);
    show(this.svg, drawn({ frame, window: this.window, data: this.data, ...context }), this.cursor(frame));
    this.svg.setAttribute("aria-label", this.summary(context));
    this.parts.range.textContent = this.rangeText(context);
    this.parts.readout.textContent = this.readout(context);
  }

  cursor({ plot, heatY }) {
    if (this.cursorMs === null) return null;
    const share = (this.cursorMs - this.window.fromMs) / (this.window.toMs - this.window.fromMs);
    if (share < 0 || share > 1) return null;
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "cursor");
    line.setAttribute("data-key", "cursor");
    line.setAttribute("d", `M${plot.x + share * plot.w} ${plot.y}V${heatY + EDGE.heat - 4}`);
    return line;
  }

  rangeText({ zone }) {
    const { fromMs, toMs } = this.window;
    if (toMs - fromMs > 3 * DAY_MS) return `${dayText(fromMs, zone)} to ${dateText(toMs, zone)}`;
    return `${dayText(fromMs, zone)} ${hourText(fromMs, zone)} to ${dayText(toMs, zone)} ${hourText(toMs, zone)}`;
  }

  /** Return what is under the cursor, else how to move. */
  readout({ unit, zone }) {
    if (this.cursorMs === null) {
      return "Drag to move, pinch or turn the wheel to stretch; or arrows, + and \u2212.";
    }
    const found = this.data.temps && bucketAt(this.data.temps, this.cursorMs);
    const heat = this.data.heat && bucketAt(this.data.heat, this.cursorMs);
    const said = [`${dayText(this.cursorMs, zone)} ${hourText(this.cursorMs, zone)}`];
    if (found) {
      said.push(tempText(found.mean, unit, 2));
      if (found.most > found.least) {
        said.push(`from ${tempText(found.least, unit)} to ${tempText(found.most, unit)}`);
      }
    } else said.push("no readings");
    if (heat?.high != null) said.push(`wanted ${tempText(heat.high, unit)}`);
    if (heat) said.push(`heat on ${shareText(heat.share)} of the time`);
    return said.join(" · ");
  }

  summary({ unit, zone, nowMs }) {
    const { temps, heat } = this.data;
    const said = [`Tray ${this.tray.name}, ${this.rangeText({ zone, nowMs })}`];
    const inside = (temps?.buckets ?? []).filter(
      ({ atMs }) => atMs >= this.window.fromMs && atMs < this.window.toMs,
    );
    if (inside.length) {
      const least = Math.min(...inside.map((one) => one.least));
      const most = Math.max(...inside.map((one) => one.most));
      said.push(`${tempText(least, unit)} to ${tempText(most, unit)}`);
    } else said.push("no readings");
    if (heat?.knownS) said.push(`heat on ${shareText(heat.onS / heat.knownS)} of the time`);
    const gaps = temps?.gaps.length;
    if (gaps) said.push(gaps === 1 ? "a gap in the readings" : `${gaps} gaps in the readings`);
    const events = this.data.events?.length;
    if (events) said.push(events === 1 ? "one event" : `${events} events`);
    return `${said.join("; ")}. Arrows move, plus and minus stretch, Home is the season, End is now.`;
  }

  say(text) {
    this.parts.trouble.textContent = text;
  }

  // ------------------------------------------------------------- being moved

  listen() {
    const { svg } = this;
    svg.addEventListener("keydown", (event) => this.onKey(event));
    svg.addEventListener("wheel", (event) => this.onWheel(event), { passive: false });
    svg.addEventListener("pointerdown", (event) => this.onDown(event));
    svg.addEventListener("pointermove", (event) => this.onMove(event));
    for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
      svg.addEventListener(end, (event) => this.onUp(event));
    }
    new ResizeObserver(() => this.draw()).observe(svg.parentElement);
  }

  onKey(event) {
    const moves = {
      ArrowLeft: () => this.pan(-0.2),
      ArrowRight: () => this.pan(0.2),
      PageUp: () => this.pan(-1),
      PageDown: () => this.pan(1),
      "+": () => this.zoom(0.6),
      "=": () => this.zoom(0.6),
      "-": () => this.zoom(1 / 0.6),
      Home: () => this.span("season"),
      End: () => this.toNow(),
    };
    const move = moves[event.key];
    if (!move || !this.window) return;
    event.preventDefault();
    move();
  }

  toNow() {
    const { nowMs } = this.context();
    const lasting = this.window.toMs - this.window.fromMs;
    this.look({ fromMs: nowMs - lasting, toMs: nowMs });
  }

  onWheel(event) {
    if (!this.window) return;
    event.preventDefault();
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey) {
      this.pan((event.deltaX || event.deltaY) / 800);
    } else {
      this.zoom(Math.exp(Math.max(-120, Math.min(120, event.deltaY)) / 240), this.at(event));
    }
  }

  at(event) {
    const { plot } = this.frame();
    const box = this.svg.getBoundingClientRect();
    const share = (event.clientX - box.left - plot.x) / plot.w;
    const { fromMs, toMs } = this.window;
    return fromMs + Math.max(0, Math.min(1, share)) * (toMs - fromMs);
  }

  onDown(event) {
    if (!this.window) return;
    this.svg.setPointerCapture?.(event.pointerId);
    this.pointers.set(event.pointerId, event);
    this.held = [...this.pointers.values()].map((one) => this.at(one));
    this.cursorMs = this.at(event);
    this.draw();
  }

  onMove(event) {
    if (!this.window) return;
    if (!this.pointers.has(event.pointerId)) {
      this.cursorMs = this.at(event);
      this.draw();
      return;
    }
    const before = this.pointers.get(event.pointerId);
    if (Math.abs(event.clientX - before.clientX) < 1) return;
    this.pointers.set(event.pointerId, event);
    if (this.pointers.size === 1) {
      const { plot } = this.frame();
      this.cursorMs = null;
      this.pan(-(event.clientX - before.clientX) / plot.w);
    } else this.pinch();
  }

  /** Keep what was under two fingers under them. */
  pinch() {
    const [first, second] = [...this.pointers.values()].map((one) => this.at(one));
    const [heldFirst, heldSecond] = this.held;
    const apart = second - first;
    if (Math.abs(apart) < 1 || heldFirst === heldSecond) return;
    const factor = Math.abs((heldSecond - heldFirst) / apart);
    const { fromMs, toMs } = this.window;
    const lasting = (toMs - fromMs) * Math.max(0.2, Math.min(5, factor));
    const shareFirst = (first - fromMs) / (toMs - fromMs);
    const from = heldFirst - shareFirst * lasting;
    this.look({ fromMs: from, toMs: from + lasting });
    this.held = [...this.pointers.values()].map((one) => this.at(one));
  }

  onUp(event) {
    if (event.type === "pointerleave" && !this.pointers.has(event.pointerId)) {
      this.cursorMs = null;
      this.draw();
    }
    this.pointers.delete(event.pointerId);
    this.held = [...this.pointers.values()].map((one) => this.at(one));
  }
}
