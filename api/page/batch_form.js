// Batches by the page: stuck, labelled when a bundle arrives, stuck later, put right,
// moved, closed. A new one gets its label code from the bench, so it never waits on
// this device; all else does.

import { get, send, Unheard } from "./api.js";
import { adaptKind, batchIn, batchParts, changesIn, checkBatch } from "./batch_fields.js";
import { choices, openDialog, STAY } from "./dialogs.js";
import { h } from "./dom.js";
import { keepWho } from "./event_form.js";
import { adaptWhen, longWords, number, one, numberIn, takeBack, textIn, when, whenOf, who, words } from "./form_parts.js";
import { change, write } from "./queue.js";
import { batchName } from "./words.js";

const OUTCOMES = [
  ["weaned", "weaned"],
  ["planted-out", "planted out"],
  ["given-away", "given away"],
  ["failed", "failed"],
  ["stopped", "stopped"],
];

// ----------------------------------------------------------------------- a new one

/**
 * Open the form of a new batch.
 * @param here nowMs, zone, tray; batches: those that are known, to tell it from them.
 * @param stuck Whether it is stuck now; else a bundle arrived, and gets its label.
 */
export function askBatch(bench, { nowMs, zone, tray, batches }, done, { stuck = true } = {}) {
  const openedMs = nowMs();
  const before = new Set(batches.map(({ code }) => code));
  const told = []; // what was sent, and nobody knows whether it was heard
  const without = ["stuck_at", "wrap.off", ...(stuck ? [] : ["tray"])];
  const also = stuck ? when("Stuck when", { nowMs, zone }) : [];
  const later = h("p", {}, "It gets its label code now, and is stuck later: then you say where and when.");
  const label = words("Label code that it has already", "code", { hint: "Left empty: the next free one." });
  const form = openDialog({
    title: stuck ? "Stick a batch" : "A bundle arrived",
    body: [stuck ? null : later, batchParts(bench, {}, { zone, without, also }), label],
    yes: stuck ? "Write it down" : "Give it a code",
    act: async () => {
      const body = checkBatch(batchIn(form, { unit: bench.display_unit, zone }), { stuck });
      if (stuck) body.stuck_at = whenOf(form, openedMs, zone);
      const { code } = await create(body, textIn(form, "code"), told, before);
      done();
      showCode(code, body);
      return STAY;
    },
  });
  if (tray) form.querySelector(`[name=tray][value="${CSS.escape(tray)}"]`)?.setAttribute("checked", "");
  adaptWhen(form);
  adaptKind(form);
}

/** Write a batch once: where an answer got lost, look first whether it is there. */
async function create(body, code, told, before) {
  try {
    const there = told.length ? await alreadyThere(told, before) : null;
    if (there) return await send("PATCH", there.href, body);
    told.push(body);
    return await send("POST", "/v1/batches", code ? { ...body, code } : body);
  } catch (error) {
    if (!(error instanceof Unheard)) {
      told.pop(); // it was heard, and refused
      throw error;
    }
    throw new Error("The bench does not answer, and the label code comes from it. Leave this open and try again: it is written once");
  }
}

async function alreadyThere(told, before) {
  const { batches } = await get("/v1/batches?open=true");
  const fresh = batches.filter(({ code }) => !before.has(code));
  return fresh.find(({ batch }) => told.some((body) => sameBatch(batch, body))) ?? null;
}

function sameBatch(batch, body) {
  const same = ["crop", "cultivar", "kind", "count"].every((name) => batch[name] === body[name]);
  const atMs = (at) => (at ? Date.parse(at) : null);
  return same && batch.tray === (body.tray ?? "") && atMs(batch.stuck_at) === atMs(body.stuck_at);
}

function showCode(code, body) {
  openDialog({
    title: "Write it on the label",
    body: [h("p", { class: "label-code" }, h("code", {}, code)), h("p", {}, `${body.count ?? ""} ${batchName(body)}`.trim())],
    no: "it is on the label",
  });
}

// -------------------------------------------------------- stuck later, and put right

/** Ask where and when a batch was stuck that has its label already. */
export function askStick(bench, file, { nowMs, zone, tray }, done) {
  const openedMs = nowMs();
  const shown = { unit: bench.display_unit, zone };
  const batch = { ...file.batch, tray: undefined };
  const form = openDialog({
    title: `Stick ${file.code} ${batchName(file.batch)}`,
    body: batchParts(bench, batch, { zone, without: ["stuck_at", "wrap.off"], also: when("Stuck when", { nowMs, zone }), known: true }),
    yes: "Write that it is stuck",
    act: () => {
      const now = checkBatch(batchIn(form, shown), { stuck: true });
      const changes = { ...changesIn(before, now), tray: now.tray, stuck_at: whenOf(form, openedMs, zone) };
      return putRight(file, changes, `${file.code} stuck${now.tray ? ` in ${now.tray}` : ""}`, { nowMs, done });
    },
  });
  if (tray) form.querySelector(`[name=tray][value="${CSS.escape(tray)}"]`)?.setAttribute("checked", "");
  adaptWhen(form);
  adaptKind(form);
  const before = batchIn(form, shown);
}

/** Ask what of a batch was told wrong; only what is told otherwise is sent. */
export function askCorrection(bench, file, { nowMs, zone }, done) {
  const shown = { unit: bench.display_unit, zone };
  const stuck = file.batch.stuck_at !== null;
  const form = openDialog({
    title: `Put ${file.code} ${batchName(file.batch)} right`,
    body: [
      h("p", {}, "Change what is not right. What was told before stays to be seen."),
      batchParts(bench, file.batch, { zone, without: stuck ? [] : ["tray", "stuck_at", "wrap.off"] }),
    ],
    yes: "Correct it",
    act: () => {
      const changes = changed(before, checkBatch(batchIn(form, shown), { stuck }));
      return putRight(file, changes, `${file.code} put right`, { nowMs, done });
    },
  });
  form.querySelector(".ends").before(mistake(file, { nowMs, done }));
  adaptKind(form);
  const before = batchIn(form, shown);
}

function mistake(file, after) {
  return takeBack("The whole batch was told by mistake", {
    title: `Take ${file.code} back?`,
    words: `${file.code} ${batchName(file.batch)} then counts no longer. What was told of it stays in the log, and its code is not given again.`,
    act: () => putRight(file, { withdrawn: true }, `${file.code} told by mistake`, after),
  });
}

async function putRight(file, changes, title, { nowMs, done }) {
  const written = await change(file.href, changes, title, nowMs());
  done();
  return saying(written, title);
}

// -------------------------------------------------------------------- move, and close

/** Ask where a batch goes; told: a move that is put right, with its own address. */
export function askMove(bench, file, { nowMs, zone }, done, told = null) {
  const openedMs = nowMs();
  const atMs = told ? Date.parse(told.move.at) : null;
  const trays = bench.trays.filter(({ name }) => told || name !== file.tray).map(({ name }) => [name, name]);
  if (file.tray || told) trays.push(["", "off the bench, off the heat"]);
  const form = openDialog({
    title: `${told ? "Put a move right:" : "Move"} ${file.code} ${batchName(file.batch)}`,
    body: [
      choices("To", "tray", trays, { checked: told ? [told.move.tray] : [] }),
      words("Place", "place", { hint: "Where in the tray, or where else.", value: told?.move.place ?? "" }),
      when("When", { nowMs, zone, atMs }),
      who(told?.move.who),
    ],
    yes: told ? "Correct it" : "Write the move",
    act: () => {
      const tray = one(form, "tray", "Where does it go?");
      const body = { tray, place: textIn(form, "place"), at: whenOf(form, openedMs, zone, atMs), who: textIn(form, "who") };
      const where = tray ? `to ${tray}` : "off the heat";
      if (!told) return tell(`${file.href}/move`, body, `${file.code} moved ${where}`, done);
      const before = { ...told.move, at: new Date(atMs).toISOString() };
      return putRight(told, changed(before, body), `a move of ${file.code} put right: ${where}`, { nowMs, done });
    },
  });
  if (told) {
    form.querySelector(".ends").before(
      takeBack("This move was told by mistake", {
        title: "Take this move back?",
        words: "It then counts no longer, and stays in the log.",
        act: () => putRight(told, { withdrawn: true }, `a move of ${file.code} told by mistake`, { nowMs, done }),
      }),
    );
  }
  adaptWhen(form);
}

/** Return what is told otherwise than before; throw where that is nothing. */
function changed(before, now) {
  const changes = changesIn(before, now);
  if (!Object.keys(changes).length) throw new Error("Nothing is told otherwise than before");
  return changes;
}

/** Ask how a batch ended, or put its end right. */
export function askClose(file, { nowMs, zone }, done) {
  const openedMs = nowMs();
  const end = file.closing ?? null; // of a batch that is listed only it is not known
  const atMs = end ? Date.parse(end.at) : null;
  const form = openDialog({
    title: `${end ? "Put the end right of" : "Close"} ${file.code} ${batchName(file.batch)}`,
    body: [
      choices("How did it end?", "outcome", OUTCOMES, { checked: end ? [end.outcome] : [] }),
      number("How many had rooted", "rooted", { hint: "Left empty: not counted.", value: String(end?.rooted ?? "") }),
      longWords("In words", "text", { value: end?.text ?? "" }),
      when("When", { nowMs, zone, atMs }),
      who(end?.who),
    ],
    yes: end ? "Correct it" : "Close it",
    act: () => {
      const outcome = one(form, "outcome", "How did it end?");
      const body = { outcome, rooted: numberIn(form, "rooted"), text: textIn(form, "text"), at: whenOf(form, openedMs, zone, atMs), who: textIn(form, "who") };
      return tell(`${file.href}/close`, body, `${file.code} ${end ? "end put right" : "closed"}: ${outcome}`, done);
    },
  });
  if (end) {
    form.querySelector(".ends").before(
      takeBack("It is not at its end", {
        title: `Open ${file.code} again?`,
        words: "It then stands where it stood before; that it was closed stays in the log.",
        yes: "Open it again",
        act: () => tell(`${file.href}/close`, { outcome: end.outcome, at: end.at, who: end.who, withdrawn: true }, `${file.code} open again`, done),
      }),
    );
  }
  adaptWhen(form);
}

async function tell(path, body, title, done) {
  keepWho(body.who);
  const written = await write(path, body, title);
  done();
  return saying(written, title);
}

/** Return what is said of a record that is on the bench's disk, or waits. */
export function saying(written, title) {
  return written ? `Written: ${title}` : `Kept on this device until the bench answers: ${title}`;
}
