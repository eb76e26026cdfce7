// Times on the bench's own clock: its time zone, whoever looks from wherever.

const MINUTE_MS = 60_000;
export const HOUR_MS = 60 * MINUTE_MS;
export const DAY_MS = 24 * HOUR_MS;

const parts = new Map();

function formatter(zone) {
  if (!parts.has(zone)) {
    parts.set(
      zone,
      new Intl.DateTimeFormat("en-GB", {
        timeZone: zone,
        hourCycle: "h23",
        year: "numeric",
        month: "numeric",
        day: "numeric",
        hour: "2-digit",
        minute: "2-digit",
        second: "2-digit",
      }),
    );
  }
  return parts.get(zone);
}

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/** Return year, month (1 to 12), day, hour, minute and second of an instant in a zone. */
export function wallOf(atMs, zone) {
  const found = { year: 0, month: 0, day: 0, hour: 0, minute: 0, second: 0 };
  for (const { type, value } of formatter(zone).formatToParts(atMs)) {
    if (type in found) found[type] = Number(value);
  }
  return found;
}

/** Return an instant's wall clock as if it were UTC [ms]: days and hours are even in it. */
export function localMs(atMs, zone) {
  const wall = wallOf(atMs, zone);
  return Date.UTC(wall.year, wall.month - 1, wall.day, wall.hour, wall.minute, wall.second);
}

/** Return the instant [ms] at which a zone's wall clock shows this, told as if it were UTC. */
export function instantOf(wallMs, zone) {
  let atMs = wallMs - (localMs(wallMs, zone) - wallMs);
  atMs += wallMs - localMs(atMs, zone); // the other side of a change of summer time
  return atMs;
}

const pad = (number) => String(number).padStart(2, "0");

/** Return "14:30". */
export function hourText(atMs, zone) {
  const wall = wallOf(atMs, zone);
  return `${pad(wall.hour)}:${pad(wall.minute)}`;
}

/** Return "14:30:05". */
export function secondText(atMs, zone) {
  return `${hourText(atMs, zone)}:${pad(wallOf(atMs, zone).second)}`;
}

/** Return "3 Feb". */
export function dayText(atMs, zone) {
  const wall = wallOf(atMs, zone);
  return `${wall.day}\u00a0${MONTHS[wall.month - 1]}`;
}

/** Return "3 Feb 2027". */
export function dateText(atMs, zone) {
  return `${dayText(atMs, zone)} ${wallOf(atMs, zone).year}`;
}

/** Return "3 Mar" for a day told as "2027-03-03", which has no zone. */
export function plainDay(day) {
  const [, month, date] = day.split("-").map(Number);
  return `${date}\u00a0${MONTHS[month - 1]}`;
}

/** Return "14:30", with its day where that is not today. */
export function whenText(atMs, nowMs, zone) {
  const clock = hourText(atMs, zone);
  return dayText(atMs, zone) === dayText(nowMs, zone) && Math.abs(atMs - nowMs) < 2 * DAY_MS
    ? clock
    : `${clock} on ${dayText(atMs, zone)}`;
}

/** Return what a field for a local time wants: "2027-02-03T14:30". */
export function fieldOf(atMs, zone) {
  return new Date(localMs(atMs, zone)).toISOString().slice(0, 16);
}

/** Return the instant [ms] of a field for a local time; NaN: it holds none. */
export function ofField(text, zone) {
  const wallMs = Date.parse(`${text}Z`);
  return Number.isNaN(wallMs) ? NaN : instantOf(wallMs, zone);
}

/** Return when the local day of an instant began [ms]. */
export function midnight(atMs, zone) {
  return instantOf(Math.floor(localMs(atMs, zone) / DAY_MS) * DAY_MS, zone);
}
