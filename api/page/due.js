// What is due at the bench, and what to do next with each batch. Both are a help
// beside the sheet: where the bench does not tell them they are left away.

import { get } from "./api.js";
import { DAY_MS, localMs } from "./clock.js";
import { byId, h, show } from "./dom.js";

const MOST = 8;

/** Return what is due, the most urgent first; nothing where it is not told. */
export async function fetchDue() {
  try {
    return (await get("/v1/reminders")).reminders;
  } catch {
    return [];
  }
}

/** Return advice by the code of its batch; none where it is not told. */
export async function fetchAdvice() {
  try {
    const { batches } = await get("/v1/advice");
    return new Map(batches.map((one) => [one.code, one]));
  } catch {
    return new Map();
  }
}

/** Return in words when something is due, by the days of the bench's calendar. */
export function dueText(dueMs, nowMs, zone) {
  const day = (atMs) => Math.floor(localMs(atMs, zone) / DAY_MS);
  const days = day(dueMs) - day(nowMs);
  if (days === 0) return "today";
  if (days === 1) return "tomorrow";
  if (days > 1) return `in ${days} days`;
  return days === -1 ? "overdue since yesterday" : `overdue for ${-days} days`;
}

/** Show what is due: the first of it at once, the rest when it is asked for. */
export function showDue(due, { nowMs, zone }) {
  byId("due").hidden = !due.length;
  const line = (one) => dueLine(one, dueText(Date.parse(one.due), nowMs, zone));
  show(byId("due-list"), due.slice(0, MOST).map(line));
  const rest = due.slice(MOST);
  byId("due-rest").hidden = !rest.length;
  byId("due-count").textContent = `${rest.length} more`;
  show(byId("due-others"), rest.map(line));
}

function dueLine({ uid, due, summary }, when) {
  const late = when.startsWith("overdue") ? "late" : null;
  return h("li", { "data-key": uid, class: late }, h("time", { datetime: due }, when), h("span", { class: "text" }, ` ${summary}`));
}

/** Return what to do next with a batch: a headline, and more when it is opened. */
export function adviceLines(advice) {
  if (!advice) return null;
  const { headline, points, because, cautions, water } = advice;
  return h(
    "details",
    { class: "advice" },
    h("summary", {}, headline),
    cautions.map((text) => h("p", {}, `Mind: ${text}.`)),
    h("ul", {}, points.map((text) => h("li", {}, text))),
    water ? h("p", {}, `Water: ${water}`) : null,
    h("p", { class: "under" }, `Because: ${because}. You decide.`),
  );
}
