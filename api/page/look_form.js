// A look at one batch, in full: how one looked, at how many, and what was seen at the
// base and at the tops, two tracks that know nothing of each other. The same form
// corrects one. What is told waits on this device where the bench cannot be heard.

import { saying } from "./batch_form.js";
import { changesIn } from "./batch_fields.js";
import { choices, openDialog, taken } from "./dialogs.js";
import { h } from "./dom.js";
import { keepWho } from "./event_form.js";
import { adaptWhen, count, countIn, fieldIn, longWords, numberIn, one, takeBack, textIn, when, whenOf, who } from "./form_parts.js";
import { BASE, DEAD, HOWS, SENTINELS, TOPS, TUG } from "./look_words.js";
import { photoField, photoOf } from "./photos.js";
import { change, write } from "./queue.js";
import { batchName } from "./words.js";

const SHOWS_BASE = ["drain-hole", "through-wall", "lifted"];
const TUGGED = ["tug", "lifted"];

/**
 * Open the form of a look.
 * @param file The batch.
 * @param seen A look that is put right, with its own address; null: a new one.
 */
export function askLook(file, { nowMs, zone }, done, seen = null) {
  const openedMs = nowMs();
  const atMs = seen ? Date.parse(seen.look.at) : null;
  const look = seen?.look ?? {};
  const form = openDialog({
    title: `${seen ? "Put a look right:" : "Look at"} ${file.code} ${batchName(file.batch)}`,
    body: partsOf(file, look, { nowMs, zone, atMs }),
    yes: seen ? "Correct it" : "Write the look",
    act: async () => {
      const told = { ...lookIn(form, file), at: whenOf(form, openedMs, zone, atMs), who: textIn(form, "who") };
      const photo = await photoOf(form);
      keepWho(told.who);
      const title = `${seen ? "look put right:" : "look at"} ${file.code}`;
      const written = seen ? await putRight(seen, told, { title, photo, nowMs }) : await write(`${file.href}/looks`, told, title, photo);
      done();
      return saying(written, title);
    },
  });
  if (seen) form.querySelector(".ends").before(mistake(file, seen, { nowMs, done }));
  adaptWhen(form);
  adaptTo(form, file);
}

function putRight(seen, told, { title, photo, nowMs }) {
  const before = { ...seen.look, at: new Date(Date.parse(seen.look.at)).toISOString() };
  const changes = changesIn(before, told);
  if (!Object.keys(changes).length && !photo) throw new Error("Nothing is told otherwise than before");
  return change(seen.href, changes, title, nowMs(), photo);
}

function mistake(file, seen, { nowMs, done }) {
  const title = `a look at ${file.code} told by mistake`;
  return takeBack("This look was told by mistake", {
    title: "Take this look back?",
    words: "It then counts no longer, and stays in the log.",
    act: async () => {
      const written = await change(seen.href, { withdrawn: true }, title, nowMs());
      done();
      return saying(written, title);
    },
  });
}

// --------------------------------------------------------------------- the parts

function partsOf(file, look, { nowMs, zone, atMs }) {
  const stuck = file.batch.count;
  const of = stuck === null ? "" : `Of ${stuck} that were stuck; a look need not see all.`;
  return [
    choices("How did you look?", "how", HOWS, { checked: look.how ? [look.how] : [] }),
    count("At how many", "looked_at", { hint: of, value: String(look.looked_at ?? "") }),
    track("Base", "base", BASE, look.base, [["counted", "counted"]]),
    track("Tops", "tops", TOPS, look.tops, [["fine", "looked over: all fine"], ["counted", "counted"]], look.fine ? "fine" : null),
    group("Gentle tug", "tug", TUG, look.tug, { hint: "Callus grips, too: a tug only suggests." }),
    group("Found dead since the look before", "dead", DEAD, look.dead),
    file.batch.sentinels || look.sentinels ? group("Spare ones, outside of the count", "sentinels", SENTINELS, look.sentinels) : null,
    photoField(look.photo ? "Another one takes the place of the one before." : "Of what was seen; it may be left out."),
    longWords("In words", "text", { value: look.text ?? "" }),
    when("When", { nowMs, zone, atMs }),
    who(look.at ? look.who : undefined),
  ];
}

/** Return a track of its own: not looked, or what was seen. */
function track(legend, name, kinds, counts, seen, first = null) {
  const checked = first ?? (counts ? "counted" : "");
  return h(
    "div",
    { class: "track", "data-name": `track ${name}` },
    choices(legend, `${name}_seen`, [["", "not looked"], ...seen], { checked: [checked] }),
    group(`${legend} of those looked at`, name, kinds, counts, { unseen: true }),
  );
}

function group(legend, name, kinds, counts, { hint = "", unseen = false } = {}) {
  return h(
    "fieldset",
    { class: "counts", "data-name": name },
    h("legend", { class: unseen ? "unseen" : null }, legend),
    hint ? h("p", { class: "hint" }, hint) : null,
    h("div", { class: "many" }, kinds.map(([kind, text]) => count(text, `${name}.${kind}`, { value: counts?.[kind] ? String(counts[kind]) : "" }))),
    h("p", { class: "hint", "data-sum": name }),
  );
}

/** Show what belongs to a way of looking, and how many are left to be told of. */
function adaptTo(form, file) {
  const part = (name) => form.querySelector(`[data-name="${name}"]`);
  const adapt = () => {
    const how = taken(form, "how")[0];
    part("track base").hidden = !SHOWS_BASE.includes(how);
    part("base").hidden = taken(form, "base_seen")[0] !== "counted";
    for (const kind of ["none", "callus"]) form.querySelector(`[name="base.${kind}"]`).closest(".field").hidden = how === "drain-hole";
    part("tops").hidden = taken(form, "tops_seen")[0] !== "counted";
    part("tug").hidden = !TUGGED.includes(how);
    const input = form.elements.looked_at;
    if (how === "tops-only" && !input.value && file.batch.count !== null) input.value = String(file.batch.count);
    for (const name of ["base", "tops", "tug"]) sum(form, name);
  };
  form.addEventListener("change", adapt);
  form.addEventListener("input", adapt);
  adapt();
}

function sum(form, name) {
  const all = Number(form.elements.looked_at.value) || 0;
  const inputs = [...form.querySelectorAll(`input[name^="${name}."]`)].filter((input) => !input.closest("[hidden]"));
  const counted = inputs.reduce((total, input) => total + (Number(input.value) || 0), 0);
  const text = counted > all ? `${counted} counted, and ${all} were looked at` : `${counted} of ${all}`;
  const line = form.querySelector(`[data-sum="${name}"]`);
  if (line.textContent !== text) line.textContent = text;
}

// ----------------------------------------------------------------------- reading

/** Return what a form tells of a look, held to what the bench will ask: it may have to wait. */
function lookIn(form, file) {
  const how = one(form, "how", "How did you look?");
  const lookedAt = numberIn(form, "looked_at");
  if (lookedAt === null) throw new Error("At how many did you look?");
  if (!Number.isInteger(lookedAt) || lookedAt < 0) throw new Error("At how many did you look? A whole number is needed");
  if (file.batch.count !== null && lookedAt > file.batch.count) throw new Error(`At how many: ${lookedAt} is more than were stuck, ${file.batch.count}`);
  const tops = taken(form, "tops_seen")[0];
  const look = {
    how,
    looked_at: lookedAt,
    base: countsIn(form, "base", BASE),
    tops: countsIn(form, "tops", TOPS),
    tug: countsIn(form, "tug", TUG),
    dead: countsIn(form, "dead", DEAD),
    sentinels: countsIn(form, "sentinels", SENTINELS),
    fine: tops === "fine",
    text: textIn(form, "text"),
  };
  return held(look);
}

/** Return the counts of a group; null: it was not looked. */
function countsIn(form, name, kinds) {
  if (!form.querySelector(`[data-name="${name}"]`) || form.querySelector(`[data-name="${name}"]`).closest("[hidden]")) return null;
  const found = Object.fromEntries(kinds.map(([kind]) => [kind, fieldIn(form, `${name}.${kind}`) ? countIn(form, `${name}.${kind}`) : 0]));
  const none = Object.values(found).every((value) => value === 0);
  return none && ["tug", "sentinels"].includes(name) ? null : found;
}

const total = (counts) => Object.values(counts ?? {}).reduce((all, value) => all + value, 0);
const NAMES = { base: "Base", tops: "Tops", tug: "Tug", dead: "Found dead" };

function held(look) {
  const { how, looked_at: all, base, tops, tug, dead, sentinels, fine } = look;
  for (const [name, text] of Object.entries(NAMES)) {
    if (total(look[name]) > all) throw new Error(`${text}: ${total(look[name])} are counted, and ${all} were looked at`);
  }
  if (base && !total(base) && how !== "drain-hole") throw new Error("Base: how many showed what? Or choose \u201cnot looked\u201d");
  if (tops && !total(tops)) throw new Error("Tops: how many showed what? Or choose \u201cnot looked\u201d");
  if (how === "tug" && !tug) throw new Error("How many held when pulled gently, and how many gave?");
  if (sentinels && sentinels.rooted > sentinels.lifted) throw new Error("Spare ones: more had roots than were lifted");
  if (fine && total(dead)) throw new Error("Tops all fine, and some are dead? Then count the tops, or choose \u201cnot looked\u201d");
  return look;
}
