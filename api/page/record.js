// All that was ever told of a batch: what it is, what was seen of it, and what was told
// before it was put right. From here looks are corrected.

import { get } from "./api.js";
import { batchFacts } from "./batch_fields.js";
import { askClose, askMove } from "./batch_form.js";
import { dateText, hourText } from "./clock.js";
import { openDialog } from "./dialogs.js";
import { h } from "./dom.js";
import { askLook } from "./look_form.js";
import { differences, lookText, stageText } from "./look_words.js";
import { askPlants } from "./plants_form.js";
import { batchName, photoAddress, who } from "./words.js";

/** Open the record of a batch. */
export async function showRecord(bench, code, { may, ...times }, done) {
  const context = { ...times, may };
  const href = `/v1/batches/${encodeURIComponent(code)}`;
  const [file, { changes }] = await Promise.all([get(href), get(`${href}/history`)]);
  const shown = { unit: bench.display_unit, zone: context.zone };
  openDialog({
    title: `${file.code} ${batchName(file.batch)}`,
    body: [
      h("p", {}, h("strong", {}, file.state), file.tray ? `, in tray ${file.tray}` : "", endText(file.closing)),
      may && file.closing ? h("p", {}, deed("put its end right", `Put the end of ${code} right`, () => askClose(file, context, done))) : null,
      h("dl", { class: "facts" }, batchFacts(file.batch, shown).map(([label, text]) => [h("dt", {}, label), h("dd", {}, text)])),
      h("h3", {}, "Looks"),
      looks(file, context, done),
      moves(bench, file, context, done),
      plants(file, context, done),
      h("h3", {}, "As it was told"),
      h("ul", { class: "days" }, [...told(changes, file, context.zone)].reverse()),
    ],
    no: "close",
  });
}

function looks(file, context, done) {
  if (!file.looks.length) return h("p", { class: "under" }, "Nobody has looked at it yet.");
  return h("ul", { class: "days" }, [...file.looks].reverse().map((seen) => oneLook(file, seen, context, done)));
}

function oneLook(file, seen, context, done) {
  const { look } = seen;
  const photo = photoAddress(look.photo);
  const text = lookText(look, file.batch.count);
  return h(
    "li",
    {},
    h("time", { datetime: look.at }, stamp(look.at, context.zone)),
    ` ${text} `,
    photo ? h("a", { href: photo, target: "_blank", rel: "noopener" }, "photo") : null,
    seen.revisions > 1 ? h("span", { class: "aside" }, "corrected") : null,
    context.may ? deed("correct", `Correct: ${text}`, () => askLook(file, context, done, seen)) : null,
  );
}

function moves(bench, file, context, done) {
  if (!file.moves.length) return null;
  const line = (told) => {
    const { move } = told;
    const text = [move.tray ? `to ${move.tray}` : "off the heat", move.place, move.text, move.who].filter(Boolean).join(" · ");
    const button = deed("correct", `Correct the move ${text}`, () => askMove(bench, file, context, done, told));
    return h("li", {}, h("time", { datetime: move.at }, stamp(move.at, context.zone)), ` ${text} `, context.may ? button : null);
  };
  return [h("h3", {}, "Moves"), h("ul", { class: "days" }, [...file.moves].reverse().map(line))];
}

function plants(file, context, done) {
  if (file.state === "not stuck") return null;
  const line = (told) => {
    const text = stageText(told.stage);
    const button = deed("correct", `Correct: ${text}`, () => askPlants(file, context, done, told));
    return h("li", {}, h("time", { datetime: told.stage.at }, stamp(told.stage.at, context.zone)), ` ${text} `, context.may ? button : null);
  };
  const { potted, here } = file.plants;
  return [
    h("h3", {}, "Its plants"),
    h("p", { class: "under" }, potted ? `${potted} potted; ${here} should still be there` : "None was potted yet."),
    file.stages.length ? h("ul", { class: "days" }, [...file.stages].reverse().map(line)) : null,
    context.may ? h("p", {}, deed("tell what became of them", `Tell what became of ${file.code}`, () => askPlants(file, context, done))) : null,
  ];
}

function deed(text, label, act) {
  const button = h("button", { type: "button", class: "quiet", "aria-label": label }, text);
  button.addEventListener("click", act);
  return button;
}

function endText(closing) {
  if (!closing) return "";
  const rooted = closing.rooted === null ? "" : `, ${closing.rooted} rooted`;
  return `: ${closing.outcome}${rooted}${closing.text ? ` · ${closing.text}` : ""}`;
}

function stamp(at, zone) {
  return `${dateText(Date.parse(at), zone)}, ${hourText(Date.parse(at), zone)}`;
}

const KINDS = { batch: "the batch", look: "a look", move: "a move", closing: "its end", stage: "its plants" };

/** Yield a line for each change, the oldest first: the first telling, or what it put right. */
function* told(changes, file, zone) {
  const known = new Map();
  for (const change of changes) {
    const key = `${change.kind} ${change.subject}`;
    const before = known.get(key);
    known.set(key, change.told);
    const what = KINDS[change.kind];
    const text = before ? `${what} put right: ${differences(before, change.told, zone) || "as before"}` : `${what} told${first(change, file, zone)}`;
    yield h("li", {}, h("time", { datetime: change.written_at }, stamp(change.written_at, zone)), ` ${text} — ${who(change.written_by)}`);
  }
}

function first({ kind, told: said }, file, zone) {
  if (kind === "look") return `: of ${stamp(said.at, zone)}, ${lookText(said, file.batch.count)}`;
  if (kind === "move") return `: ${said.tray ? `to ${said.tray}` : "off the heat"}, ${stamp(said.at, zone)}`;
  if (kind === "closing") return `: ${said.outcome}`;
  if (kind === "stage") return `: ${stageText(said)}`;
  return "";
}
