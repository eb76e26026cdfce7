// Ticks and windows of the strip chart. Pure.

import { dayText, DAY_MS, HOUR_MS, hourText, instantOf, localMs, wallOf } from "./clock.js";

const MINUTE_MS = 60_000;
const STEPS_MS = [
  ...[1, 2, 5, 10, 15, 30].map((n) => n * MINUTE_MS),
  ...[1, 2, 3, 6, 12].map((n) => n * HOUR_MS),
  ...[1, 2, 7, 14, 28].map((n) => n * DAY_MS),
];
const BETWEEN_PX = 64;

export const SHORTEST_MS = 10 * MINUTE_MS;

/** Return the times to be marked below a stretch: [at ms, text, whether a day begins]. */
export function timeTicks({ fromMs, toMs }, width, zone) {
  const most = Math.max(2, Math.floor(width / BETWEEN_PX));
  const stepMs = STEPS_MS.find((one) => (toMs - fromMs) / one <= most) ?? STEPS_MS.at(-1);
  const found = [];
  let wallMs = Math.ceil(localMs(fromMs, zone) / stepMs) * stepMs;
  for (; ; wallMs += stepMs) {
    const atMs = instantOf(wallMs, zone);
    if (atMs > toMs || found.length > 4 * most) return found;
    if (atMs < fromMs) continue;
    const { hour, minute } = wallOf(atMs, zone);
    const begins = hour === 0 && minute === 0;
    found.push([atMs, begins ? dayText(atMs, zone) : hourText(atMs, zone), begins]);
  }
}

const NICE = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20];

/** Return the range that an axis shows, and the figures beside it. */
export function tempAxis(least, most, lines = 5) {
  const spread = Math.max(1, most - least);
  const step = NICE.find((one) => spread / one <= lines) ?? 50;
  const from = Math.floor((least - 0.08 * spread) / step) * step;
  const to = Math.ceil((most + 0.08 * spread) / step) * step;
  const count = Math.round((to - from) / step);
  const ticks = Array.from({ length: count + 1 }, (_, n) => from + n * step);
  return { from, to, ticks, decimals: step < 1 ? 1 : 0 };
}

/** Return a window moved and stretched into what may be looked at. */
export function bounded({ fromMs, toMs }, { firstMs, lastMs }) {
  const longest = Math.max(SHORTEST_MS, lastMs - firstMs);
  const lasting = Math.min(longest, Math.max(SHORTEST_MS, toMs - fromMs));
  const middle = (fromMs + toMs) / 2;
  let from = middle - lasting / 2;
  from = Math.min(from, lastMs - lasting);
  from = Math.max(from, firstMs);
  return { fromMs: Math.round(from), toMs: Math.round(from + lasting) };
}

/** Return a window made longer (factor above 1) or shorter about an instant. */
export function stretched({ fromMs, toMs }, factor, aboutMs) {
  return {
    fromMs: aboutMs - (aboutMs - fromMs) * factor,
    toMs: aboutMs + (toMs - aboutMs) * factor,
  };
}
