// What a strip chart shows, fetched for a window and made ready to be drawn.

import { get, getLogged } from "./api.js";

/** Fetch a tray's window; tell the parts as they come: temperatures first. */
export async function fetchWindow({ tray, window, points, signal }, told) {
  const from = new Date(window.fromMs).toISOString();
  const to = new Date(window.toMs).toISOString();
  const span = `from=${from}&to=${to}`;
  const options = { signal, first: true };
  const name = encodeURIComponent(tray.name);
  const parts = [
    getLogged(`/v1/trays/${name}/temperatures?${span}&points=${points}`, options).then((found) =>
      told({ temps: merged(found, tray) }),
    ),
    get(`/v1/events?${span}&tray=${name}&limit=200`, { signal }).then(({ events }) => told({ events })),
  ];
  if (tray.mat) {
    const mat = encodeURIComponent(tray.mat);
    parts.push(
      getLogged(`/v1/mats/${mat}/heat?${span}&points=${points}`, { signal }).then((found) =>
        told({ heat: heatOf(found) }),
      ),
    );
  }
  await Promise.all(parts);
}

const DAY_MS = 86_400_000;

/** Return when the first reading of a tray was taken, in the last 199 days [ms]. */
export async function firstReading(tray, nowMs) {
  const dayMs = await firstBucket(tray, nowMs - 199 * DAY_MS, nowMs, 201);
  if (dayMs === null) return null;
  return (await firstBucket(tray, dayMs, Math.min(nowMs, dayMs + DAY_MS), 300)) ?? dayMs;
}

async function firstBucket(tray, fromMs, toMs, points) {
  const span = `from=${new Date(fromMs).toISOString()}&to=${new Date(toMs).toISOString()}`;
  const name = encodeURIComponent(tray.name);
  const found = await getLogged(`/v1/trays/${name}/temperatures?${span}&points=${points}`);
  const starts = found.probes.flatMap(({ buckets }) => buckets.slice(0, 1));
  const firstMs = Math.min(...starts.map(({ start }) => Date.parse(start)));
  return Number.isFinite(firstMs) ? firstMs : null;
}

/** Return the buckets of all probes of a tray together, with the gaps between them. */
export function merged(found, tray) {
  const widthMs = found.bucket_s * 1000;
  const byStart = new Map();
  for (const { buckets } of found.probes) {
    for (const one of buckets) {
      const atMs = Date.parse(one.start);
      const known = byStart.get(atMs);
      byStart.set(atMs, known ? together(known, one) : { atMs, n: one.n, ...temps(one) });
    }
  }
  const buckets = [...byStart.values()].sort((a, b) => a.atMs - b.atMs);
  const silentMs = 1000 * Math.max(0, ...tray.probes.map((probe) => probe.stale_after_s));
  return { widthMs, buckets, gaps: gapsIn(buckets, widthMs, silentMs) };
}

function temps({ min_c, mean_c, max_c }) {
  return { least: min_c, mean: mean_c, most: max_c };
}

function together(known, one) {
  const n = known.n + one.n;
  return {
    atMs: known.atMs,
    n,
    least: Math.min(known.least, one.min_c),
    most: Math.max(known.most, one.max_c),
    mean: (known.mean * known.n + one.mean_c * one.n) / n,
  };
}

/**
 * Return where nothing was read for longer than a probe may be silent: [from, to] in ms.
 * The bucket after each is marked.
 */
export function gapsIn(buckets, widthMs, silentMs) {
  const found = [];
  for (let n = 1; n < buckets.length; n += 1) {
    const fromMs = buckets[n - 1].atMs + widthMs;
    const toMs = buckets[n].atMs;
    if (toMs - fromMs < Math.max(silentMs, widthMs * 0.5)) continue;
    found.push([fromMs, toMs]);
    buckets[n].afterGap = true;
  }
  return found;
}

function heatOf(found) {
  return {
    widthMs: found.bucket_s * 1000,
    onS: found.on_s,
    knownS: found.known_s,
    energyWh: found.energy_wh,
    buckets: found.buckets.map((one) => ({
      atMs: Date.parse(one.start),
      share: one.known_s ? one.on_s / one.known_s : 0,
      known: one.known_s / found.bucket_s,
      low: one.lowest_setpoint_c,
      high: one.highest_setpoint_c,
    })),
  };
}

/** Return the bucket in which an instant lies, or null. */
export function bucketAt({ widthMs, buckets }, atMs) {
  let low = 0;
  let high = buckets.length - 1;
  while (low <= high) {
    const middle = (low + high) >> 1;
    const { atMs: startMs } = buckets[middle];
    if (atMs < startMs) high = middle - 1;
    else if (atMs >= startMs + widthMs) low = middle + 1;
    else return buckets[middle];
  }
  return null;
}
