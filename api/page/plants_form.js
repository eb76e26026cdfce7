// What became of the plants of a batch after they rooted: potted, hardened, given away
// and so on, each told with how many and when. The same form corrects one. What is
// told waits on this device where the bench cannot be heard.

import { saying } from "./batch_form.js";
import { changesIn } from "./batch_fields.js";
import { choices, openDialog, taken } from "./dialogs.js";
import { h } from "./dom.js";
import { keepWho } from "./event_form.js";
import { adaptWhen, count, countIn, longWords, one, takeBack, textIn, when, whenOf, who, words } from "./form_parts.js";
import { SCORES, STAGES } from "./look_words.js";
import { change, write } from "./queue.js";
import { batchName } from "./words.js";

const WHERE = ["given", "sold", "planted"];

/**
 * Open the form of a stage.
 * @param file The batch.
 * @param told A stage that is put right, with its own address; null: a new one.
 */
export function askPlants(file, { nowMs, zone }, done, told = null) {
  const openedMs = nowMs();
  const atMs = told ? Date.parse(told.stage.at) : null;
  const form = openDialog({
    title: `${told ? "Put right what became of" : "What became of"} ${file.code} ${batchName(file.batch)}`,
    body: partsOf(file, told?.stage ?? {}, { nowMs, zone, atMs }),
    yes: told ? "Correct it" : "Write it",
    act: async () => {
      const stage = { ...stageIn(form), at: whenOf(form, openedMs, zone, atMs), who: textIn(form, "who") };
      keepWho(stage.who);
      const title = `${stage.count} ${stage.stage} of ${file.code}`;
      const written = told ? await putRight(told, stage, title, nowMs) : await write(`${file.href}/stages`, stage, title);
      done();
      return saying(written, title);
    },
  });
  if (told) form.querySelector(".ends").before(mistake(file, told, nowMs, done));
  adaptWhen(form);
  adaptTo(form);
}

function putRight(told, stage, title, nowMs) {
  const before = { ...told.stage, at: new Date(Date.parse(told.stage.at)).toISOString() };
  const changes = changesIn(before, stage);
  if (!Object.keys(changes).length) throw new Error("Nothing is told otherwise than before");
  return change(told.href, changes, title, nowMs());
}

function mistake(file, told, nowMs, done) {
  const title = `plants of ${file.code} told of by mistake`;
  return takeBack("This was told by mistake", {
    title: "Take this back?",
    words: "It then counts no longer, and stays in the log.",
    act: async () => {
      const written = await change(told.href, { withdrawn: true }, title, nowMs());
      done();
      return saying(written, title);
    },
  });
}

function partsOf(file, stage, { nowMs, zone, atMs }) {
  const { here, potted } = file.plants ?? {}; // not in a list of batches
  const hint = potted ? `${potted} were potted so far, and ${here} should still be there.` : "";
  const score = stage.root_score === undefined || stage.root_score === null ? "" : String(stage.root_score);
  return [
    choices("They were", "stage", STAGES, { checked: stage.stage ? [stage.stage] : [] }),
    count("How many", "count", { hint, value: stage.count === undefined ? "" : String(stage.count) }),
    h("div", { "data-name": "score" }, choices("Roots, on the whole", "root_score", SCORES, { checked: [score] })),
    h("div", { "data-name": "died" }, words("Why they died", "why", { value: stage.stage === "dead" ? stage.reason : "" })),
    h("div", { "data-name": "went" }, words("To whom, or where", "where", { value: WHERE.includes(stage.stage) ? stage.reason : "" })),
    longWords("In words", "text", { value: stage.text ?? "" }),
    when("When", { nowMs, zone, atMs }),
    who(stage.at ? stage.who : undefined),
  ];
}

/** Show what belongs to a stage. */
function adaptTo(form) {
  const part = (name) => form.querySelector(`[data-name="${name}"]`);
  const adapt = () => {
    const stage = taken(form, "stage")[0];
    part("score").hidden = stage !== "potted";
    part("died").hidden = stage !== "dead";
    part("went").hidden = !WHERE.includes(stage);
  };
  form.addEventListener("change", adapt);
  adapt();
}

function stageIn(form) {
  const stage = one(form, "stage", "What became of them?");
  const many = countIn(form, "count");
  if (!many) throw new Error("How many plants?");
  const score = taken(form, "root_score")[0];
  if (stage === "dead" && !textIn(form, "why")) throw new Error("Why did they die? \u201cNot known\u201d will do");
  return {
    stage,
    count: many,
    root_score: stage === "potted" && score ? Number(score) : null,
    reason: textIn(form, stage === "dead" ? "why" : "where"),
    text: textIn(form, "text"),
  };
}
