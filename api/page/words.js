// What the bench says, in the grower's words. Pure: from what the interface tells
// to sentences. Numbers stand in units.js, times in clock.js.

import { whenText } from "./clock.js";
import { differenceText, figure, shareText, tempText } from "./units.js";

const LEAST_HOURS = 6; // chosen: a share of fewer hours says nothing
const KEPT_PHOTO = /^[0-9a-f]{64}\.(jpg|png|webp)$/;
const NEAR_K = 1; // "within 1 K": what the hours are counted by, too

/** Return the mat that a tray stands on, or null. */
export function matOf(bench, tray) {
  return bench.mats.find((mat) => mat.name === tray.mat) ?? null;
}

/** Return how a tray stands to what is wanted of it: a word for its mark, and a text. */
export function standing(bench, tray, warmAt) {
  if (tray.temp_c === null) {
    return tray.probes.length
      ? { mark: "unknown", text: tray.temp_text }
      : { mark: "none", text: "no probe" };
  }
  const mat = matOf(bench, tray);
  if (!mat) return { mark: "free", text: "on no mat" };
  const offK = tray.temp_c - mat.setpoint.setpoint_c;
  if (Math.abs(offK) <= NEAR_K) return { mark: "kept", text: "as wanted" };
  const far = differenceText(Math.abs(offK), bench.display_unit);
  if (offK > 0) return { mark: "over", text: `${far} over` };
  return { mark: "under", text: `${far} under`, warming: warmAt ? `warming, ${warmAt}` : "" };
}

/** Return the leading sentence of a tray: "day 17, mean 23.6 °C, 94 % of hours within 1 K". */
export function leading(tray, unit, kept, day) {
  const heat = tray.degree_hours;
  const mean = kept?.mean_c ?? heat.mean_c;
  const said = [day === null ? null : `day ${day}`];
  if (mean !== null) said.push(`mean ${tempText(mean, unit)}`);
  if (kept && kept.hours_compared >= LEAST_HOURS) {
    const within = differenceText(kept.within_k, unit);
    said.push(`${shareText(kept.hours_within / kept.hours_compared)} of hours within ${within}`);
  }
  return said.filter((one) => one !== null).join(", ") || "nothing measured yet";
}

/** Return on which day a tray is: since its oldest open batch was stuck, else since it is measured. */
export function dayOf(tray, batches) {
  const days = batches
    .filter((one) => one.tray === tray.name && one.days_since_stuck !== null)
    .map((one) => one.days_since_stuck);
  const { hours_measured, gap_hours } = tray.degree_hours;
  const since = days.length ? Math.max(...days) : (hours_measured + gap_hours) / 24;
  return Math.floor(since) + 1;
}

/** Return thermal time as a grower reads it, with K·h beside it. */
export function thermalText(heat, unit) {
  const sum = `${figure(heat.degree_hours_k_h, heat.degree_hours_k_h < 100 ? 1 : 0)}\u00a0K·h`;
  const above = `${sum} above ${tempText(heat.base_c, unit)}`;
  const words = heat.equal_to ? `${heat.equal_to} (${above})` : above;
  const hours = heat.hours_measured + (heat.gap_hours ?? 0);
  if (!hours) return "no hours measured yet";
  const gap = heat.gap_hours > 0.05 ? ` of ${figure(hours, 0)}` : "";
  return `${words}, ${figure(heat.hours_measured, hours < 10 ? 1 : 0)}${gap} hours measured`;
}

/** Return what is wanted of a mat, and who says so. */
export function wantedText(mat, unit, nowMs, zone) {
  const { setpoint_c, heading_for_c, set_by, override } = mat.setpoint;
  let text = tempText(setpoint_c, unit);
  if (heading_for_c !== setpoint_c) text += `, on its way to ${tempText(heading_for_c, unit)}`;
  if (set_by === "night") text += ", as by night";
  if (override) {
    const until = override.until ? ` until ${whenText(Date.parse(override.until), nowMs, zone)}` : "";
    text += `, set by ${who(override.who)}${until}`;
  }
  return text;
}

/** Return a name for people: the interface knows some only by where they asked from. */
export function who(name) {
  return /^api \(loopback\)/.test(name) ? "somebody on the bench's own machine" : name;
}

/** Return what is said of an alarm beside its sentence. */
export function alarmState(alarm, nowMs, zone) {
  const since = whenText(Date.parse(alarm.since), nowMs, zone);
  const said = [alarm.state === "active" ? `goes on, since ${since}` : `rang at ${since}`];
  if (alarm.acknowledged) said.push("seen");
  if (alarm.suppressed) said.push("explained by another one");
  if (alarm.shelved_until) {
    said.push(`silenced until ${whenText(Date.parse(alarm.shelved_until), nowMs, zone)}`);
  }
  return said.join(" · ");
}

const PRIORITIES = { high: "act now", medium: "look at it today", low: "to know" };

export function priorityText(priority) {
  return PRIORITIES[priority] ?? priority;
}

export const EVENTS = {
  watered: "watered",
  misted: "misted",
  turned: "turned",
  swapped: "swapped",
  moved: "moved",
  "probe-moved": "probe moved",
  "cover-on": "cover on",
  "cover-off": "cover off",
  "medium-topped-up": "medium topped up",
  "mould-removed": "mould removed",
  photo: "photo",
  note: "note",
};

/** Return where a photo is shown, or null where its name stands for a file elsewhere. */
export function photoAddress(name) {
  return KEPT_PHOTO.test(name) ? `/v1/photos/${name}` : null;
}

/** Return an event as one line: "watered 200 ml · N1, N2". */
export function eventText(event) {
  const water = event.given_ml === null ? "" : ` ${figure(event.given_ml, 0)}\u00a0ml`;
  const where = [...event.trays, ...event.mats.map((one) => `mat ${one}`), ...event.probes];
  const said = [
    (EVENTS[event.kind] ?? event.kind) + water,
    where.join(event.kind === "swapped" ? " with " : ", "),
    photoAddress(event.photo) ? "" : event.photo, // else it is seen
    event.text,
    event.who,
  ];
  return said.filter(Boolean).join(" · ");
}

/** Return how a batch is called: "gooseberry ‘Dusk’". */
export function batchName({ crop, cultivar }) {
  return cultivar ? `${crop} \u2018${cultivar}\u2019` : crop;
}
