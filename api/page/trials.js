// Trials: how their arms stand, and what they tell once somebody asks. The bench works
// that out beside its own work, so that it may have to be asked more than once.

import { get, Refused } from "./api.js";
import { dateText } from "./clock.js";
import { byId, h, show } from "./dom.js";
import { figure, shareText, tempText } from "./units.js";

const AGAIN_MS = 3_000;
const ASKED_FOR_MS = 600_000; // as long as the bench works at one

/** Return the trials; none where they are not told. */
export async function fetchTrials() {
  try {
    return (await get("/v1/trials")).trials;
  } catch (error) {
    if (error instanceof Refused) return [];
    throw error;
  }
}

/** Show the trials; compared: what is known of what they tell, by their numbers. */
export function showTrials(trials, compared, shown) {
  byId("trials").hidden = !trials.length;
  show(byId("trial-list"), trials.map((one) => oneTrial(one, compared[one.id], shown)));
}

function oneTrial(one, found, { unit, zone }) {
  const { id, trial, arms, written_at } = one;
  const title = trial.title || `Trial ${id}`;
  const looked = arms.some((arm) => arm.cuttings > 0);
  return h(
    "article",
    { class: "trial", "data-key": String(id), "aria-labelledby": `trial-${id}-h` },
    h("h3", { id: `trial-${id}-h` }, title, h("span", { class: "aside" }, `trial ${id}, told ${dateText(Date.parse(written_at), zone)}`)),
    found?.result ? verdicts(found.result, unit) : armTable(arms, trial.end_point, title),
    found?.result && found.of !== standing(one) ? h("p", { class: "under" }, "More was told of it since: ask again.") : null,
    found?.said ? h("p", { class: "under", role: "status" }, found.said) : null,
    looked
      ? h("p", {}, h("button", { type: "button", "data-do": "compare", "data-trial": String(id), "aria-label": `What does it tell? ${title}` }, found?.result ? "Ask again" : "What does it tell?"))
      : h("p", { class: "under" }, "Nothing of it was looked at yet."),
  );
}

function table(label, head, rows) {
  return h(
    "div",
    { class: "wide", tabindex: "0", role: "group", "aria-label": label },
    h(
      "table",
      {},
      h("thead", {}, h("tr", {}, head.map((text) => h("th", { scope: "col" }, text)))),
      h("tbody", {}, rows.map(([name, ...cells]) => h("tr", {}, h("th", { scope: "row" }, name), cells.map((text) => h("td", {}, text))))),
    ),
  );
}

function armTable(arms, endPoint, title) {
  const rows = arms.map((arm) => [arm.arm, `${arm.stuck} of ${arm.units}`, String(arm.cuttings), String(arm.reached)]);
  return table(`Arms of ${title}`, ["arm", "stuck", "cuttings", endPoint], rows);
}

function comparedTable({ title, arms, end_point }, unit) {
  const warm = arms.some((arm) => arm.mean_c !== null);
  const rows = arms.map((arm) => {
    const half = arm.half_from_days === null ? "not seen" : `${figure(arm.half_from_days, 0)} to ${figure(arm.half_to_days, 0)}`;
    const cells = [`${arm.reached} of ${arm.cuttings}`, `${figure(100 * arm.from_95, 0)} to ${shareText(arm.to_95)}`, half];
    return [arm.arm, ...cells, ...(warm ? [arm.mean_c === null ? "–" : tempText(arm.mean_c, unit)] : [])];
  });
  return table(`What came of ${title}`, ["arm", end_point, "share, 19 times in 20", "half by day", ...(warm ? ["mean"] : [])], rows);
}

function verdicts(result, unit) {
  const { verdicts: told, notes, words } = result;
  return h(
    "div",
    {},
    told.map((one) => h("p", { class: `verdict ${one.answer}` }, one.sentence)),
    comparedTable(result, unit),
    notes.map((text) => h("p", { class: "under" }, text)),
    h("p", { class: "hint" }, "Decide when the trial is over: whoever asks after each look, until it says so, finds a difference by chance more often."),
    h("details", { class: "fold" }, h("summary", {}, "All figures, in words"), h("pre", { class: "wide", tabindex: "0", role: "group", "aria-label": "All figures" }, words)),
  );
}

/** Return how the arms of a trial stand, to tell whether a verdict is of now. */
export function standing({ arms, revisions }) {
  return JSON.stringify([arms, revisions]);
}

/**
 * Ask what a trial tells, until the bench knows.
 * @param tell Called with what is known so far: said, result.
 * @throws {Unheard} The bench does not answer.
 */
export async function compare(id, tell) {
  tell({ said: "The bench works it out …" });
  const until = performance.now() + ASKED_FOR_MS;
  while (performance.now() < until) {
    let found;
    try {
      found = await get(`/v1/trials/${encodeURIComponent(id)}/comparison`);
    } catch (error) {
      tell({ said: error instanceof Refused ? sentenceOf(error) : "" });
      if (error instanceof Refused) return;
      throw error;
    }
    if (found.status !== "working") {
      tell({ result: found });
      return;
    }
    tell({ said: `The bench: ${found.words}` });
    await new Promise((go) => setTimeout(go, AGAIN_MS));
  }
  tell({ said: "The bench did not get done with it. Ask again later." });
}

function sentenceOf({ message }) {
  return `${message.charAt(0).toUpperCase()}${message.slice(1)}.`;
}
