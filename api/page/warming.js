// When a tray that warms up will be as warm as is wanted: a guess from how it
// warmed lately. Pure.

/**
 * Return in how many ms a temperature reaches a target; null: that cannot be said.
 *
 * A body that is warmed evenly nears its end along an exponential; the two halves
 * of what was seen tell how fast its rise dies down. Where that says nothing, the
 * straight line of the later half is gone on with.
 *
 * @param points [at ms, temperature °C], in order of time, over some tens of minutes.
 * @param targetC What is waited for.
 */
export function reachedIn(points, targetC) {
  if (points.length < 5) return null;
  const middle = Math.floor(points.length / 2);
  const early = slope(points.slice(0, middle + 1));
  const late = slope(points.slice(middle));
  const [lastMs, lastC] = points.at(-1);
  const missingK = targetC - lastC;
  if (missingK <= 0 || late.perMs <= 0) return null;
  const straightMs = missingK / late.perMs;
  const apartMs = late.atMs - early.atMs;
  const dying = Math.log(early.perMs / late.perMs) / apartMs; // 1 / time constant
  if (!(early.perMs > 0) || !(dying > 0)) return bounded(straightMs);
  const nowPerMs = late.perMs * Math.exp(-dying * (lastMs - late.atMs));
  const share = (missingK * dying) / nowPerMs; // of the way that is left in all
  if (share >= 0.98) return null; // as it warms now, it never gets there
  return bounded(-Math.log(1 - share) / dying);
}

const LONGEST_MS = 24 * 3_600_000;

function bounded(lastingMs) {
  return lastingMs <= LONGEST_MS ? lastingMs : null;
}

/** Return the slope of the least squares line, and the middle of its time. */
function slope(points) {
  const n = points.length;
  const atMs = points.reduce((sum, [at]) => sum + at, 0) / n;
  const mean = points.reduce((sum, [, temp]) => sum + temp, 0) / n;
  let above = 0;
  let below = 0;
  for (const [at, temp] of points) {
    above += (at - atMs) * (temp - mean);
    below += (at - atMs) ** 2;
  }
  return { atMs, perMs: below ? above / below : 0 };
}
