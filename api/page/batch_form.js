// Batches by the page: one is stuck, moved, closed. A batch that is stuck gets its
// label code from the bench, so it never waits on this device; moves and ends do.

import { get, send, Unheard } from "./api.js";
import { choices, field, openDialog, STAY, taken } from "./dialogs.js";
import { fieldOf, ofField } from "./clock.js";
import { h } from "./dom.js";
import { keepWho, lastWho } from "./event_form.js";
import { write } from "./queue.js";
import { batchName } from "./words.js";

const KINDS = [
  ["hardwood", "hardwood"],
  ["semi-hardwood", "semi-hardwood (semi-ripe)"],
  ["softwood", "softwood"],
  ["herbaceous", "herbaceous"],
  ["leafy-evergreen", "leafy evergreen"],
  ["root-cutting", "root cutting"],
  ["seed", "seed"],
];
const OUTCOMES = [
  ["weaned", "weaned"],
  ["planted-out", "planted out"],
  ["given-away", "given away"],
  ["failed", "failed"],
  ["stopped", "stopped"],
];
const NOT_TOLD = ["", "not told"];
const NO_TRAY = ["", "no tray of the bench"];
const WORDS = ["crop", "cultivar", "medium", "source", "mother", "container", "place", "basal_cut", "disinfection", "text"];
const NUMBERS = ["count", "wanted", "sentinels", "nodes", "nodes_below", "length_mm"];

// ------------------------------------------------------------------- parts of forms

function words(label, name, hint) {
  return field(label, h("input", { name, type: "text", maxlength: "200", autocomplete: "off" }), hint);
}

function number(label, name, hint) {
  return field(label, h("input", { name, type: "number", inputmode: "decimal", min: "0", step: "any" }), hint);
}

function who() {
  return field("Who", h("input", { name: "who", type: "text", maxlength: "60", value: lastWho(), autocomplete: "nickname" }));
}

function when(legend, { nowMs, zone }) {
  const at = h("input", { name: "at", type: "datetime-local", value: fieldOf(nowMs(), zone) });
  return [
    choices(legend, "when", [["now", "just now"], ["at", "at …"]], { checked: ["now"] }),
    h("div", { "data-name": "at", hidden: true }, field(`At (the bench\u2019s time, ${zone})`, at)),
  ];
}

/** Show the field for a time where "just now" is not meant. */
function adaptWhen(form) {
  form.addEventListener("change", () => {
    form.querySelector('[data-name="at"]').hidden = taken(form, "when")[0] !== "at";
  });
}

function whenOf(form, openedMs, zone) {
  const atMs = taken(form, "when")[0] === "at" ? ofField(form.elements.at.value, zone) : openedMs;
  if (Number.isNaN(atMs)) throw new Error("When was it? A day and a time are needed");
  return new Date(atMs).toISOString();
}

function one(form, name, question) {
  const [value] = taken(form, name);
  if (value === undefined) throw new Error(question);
  return value;
}

function textIn(form, name) {
  return form.elements[name].value.trim();
}

function numberIn(form, name) {
  const input = form.elements[name];
  if (input.validity.badInput) throw new Error(`${input.labels[0].textContent}: a number is needed`);
  return input.value.trim() ? Number(input.value) : null;
}

// --------------------------------------------------------------------- stick a batch

/** Open the form of a new batch; batches: those that are known, to tell it from them. */
export function askBatch(bench, { nowMs, zone, tray, batches }, done) {
  const openedMs = nowMs();
  const before = new Set(batches.map(({ code }) => code));
  const told = []; // what was sent, and nobody knows whether it was heard
  const form = openDialog({
    title: "Stick a batch",
    body: [...partsOf(bench, { nowMs, zone, tray }), rest()],
    yes: "Write it down",
    act: async () => {
      const body = bodyOf(form, openedMs, zone);
      const { code } = await create(body, told, before);
      done();
      showCode(code, body);
      return STAY;
    },
  });
  adaptWhen(form);
}

function partsOf(bench, { nowMs, zone, tray }) {
  const trays = [...bench.trays.map(({ name }) => [name, name]), NO_TRAY];
  return [
    words("Crop", "crop", "Such as gooseberry."),
    words("Cultivar", "cultivar"),
    choices("Kind", "kind", KINDS),
    number("How many", "count", "Spare ones for lifting not counted."),
    choices("Tray", "tray", trays, { checked: tray ? [tray] : [] }),
    when("Stuck when", { nowMs, zone }),
    words("Medium", "medium"),
  ];
}

function rest() {
  const pair = (...parts) => h("div", { class: "pair" }, parts);
  return h(
    "details",
    {},
    h("summary", {}, "More: source, hormone, wrap, cover …"),
    words("Source", "source"),
    words("Mother plant", "mother"),
    pair(number("Length [mm]", "length_mm"), number("Nodes", "nodes"), number("below the surface", "nodes_below")),
    words("Cut at the base", "basal_cut"),
    words("Hormone: active substance", "hormone.active"),
    choices("Applied as", "hormone.carrier", [NOT_TOLD, ["powder", "powder"], ["dip", "dip"], ["gel", "gel"]], { checked: [""] }),
    pair(number("Hormone [ppm]", "hormone.ppm"), number("Dipped for [s]", "hormone.seconds")),
    words("Against rot", "disinfection", "\u201cnone\u201d is an answer."),
    choices("Wrapped in", "wrap.material", [NOT_TOLD, ["film", "film"], ["tape", "tape"], ["wax", "wax"]], { checked: [""] }),
    number("Wrap reaches down [mm]", "wrap.down_mm"),
    choices("Cover", "cover", [NOT_TOLD, ["none", "none"], ["vented", "vented"], ["closed", "closed"]], { checked: [""] }),
    words("Container", "container"),
    words("Place", "place", "Where in the tray, or where else."),
    pair(number("Plants wanted", "wanted"), number("Spare ones for lifting", "sentinels")),
    words("In words", "text"),
  );
}

function bodyOf(form, openedMs, zone) {
  const body = {};
  for (const name of WORDS) body[name] = textIn(form, name);
  for (const name of NUMBERS) body[name] = numberIn(form, name);
  if (!body.crop) throw new Error("Which crop is it?");
  return {
    ...body,
    sentinels: body.sentinels ?? 0,
    kind: one(form, "kind", "Of which kind is it: hardwood, softwood, seed …?"),
    tray: one(form, "tray", "Which tray is it in?"),
    cover: taken(form, "cover")[0] || null,
    hormone: hormoneIn(form),
    wrap: wrapIn(form),
    stuck_at: whenOf(form, openedMs, zone),
  };
}

function hormoneIn(form) {
  const carrier = taken(form, "hormone.carrier")[0];
  const active = textIn(form, "hormone.active");
  const [ppm, seconds] = [numberIn(form, "hormone.ppm"), numberIn(form, "hormone.seconds")];
  if (!carrier && !active && ppm === null && seconds === null) return null;
  if (!carrier) throw new Error("Was the hormone applied as powder, dip or gel?");
  return { active, ppm, carrier, seconds };
}

function wrapIn(form) {
  const material = taken(form, "wrap.material")[0];
  const downMm = numberIn(form, "wrap.down_mm");
  if (!material && downMm === null) return null;
  if (!material) throw new Error("Which wrap is it: film, tape or wax?");
  return { material, down_mm: downMm };
}

/** Write a batch once: where an answer got lost, look first whether it is there. */
async function create(body, told, before) {
  try {
    const there = told.length ? await alreadyThere(told, before) : null;
    if (there) return await send("PATCH", there.href, body);
    told.push(body);
    return await send("POST", "/v1/batches", body);
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
  const same = ["crop", "cultivar", "kind", "count", "tray"].every((name) => batch[name] === body[name]);
  return same && Date.parse(batch.stuck_at) === Date.parse(body.stuck_at);
}

function showCode(code, body) {
  openDialog({
    title: "Write it on the label",
    body: [h("p", { class: "label-code" }, h("code", {}, code)), h("p", {}, `${body.count ?? ""} ${batchName(body)}`.trim())],
    no: "it is on the label",
  });
}

// -------------------------------------------------------------------- move, and close

/** Ask where a batch goes. */
export function askMove(bench, file, { nowMs, zone }, done) {
  const openedMs = nowMs();
  const trays = bench.trays.filter(({ name }) => name !== file.tray).map(({ name }) => [name, name]);
  if (file.tray) trays.push(["", "off the bench, off the heat"]);
  const form = openDialog({
    title: `Move ${file.code} ${batchName(file.batch)}`,
    body: [choices("To", "tray", trays), words("Place", "place", "Where in the tray, or where else."), when("When", { nowMs, zone }), who()],
    yes: "Write the move",
    act: () => {
      const tray = one(form, "tray", "Where does it go?");
      const body = { tray, place: textIn(form, "place"), at: whenOf(form, openedMs, zone), who: textIn(form, "who") };
      return tell(`${file.href}/move`, body, `${file.code} moved ${tray ? `to ${tray}` : "off the heat"}`, done);
    },
  });
  adaptWhen(form);
}

/** Ask how a batch ended. */
export function askClose(file, { nowMs, zone }, done) {
  const openedMs = nowMs();
  const form = openDialog({
    title: `Close ${file.code} ${batchName(file.batch)}`,
    body: [choices("How did it end?", "outcome", OUTCOMES), number("How many had rooted", "rooted", "Left empty: not counted."), words("In words", "text"), when("When", { nowMs, zone }), who()],
    yes: "Close it",
    act: () => {
      const outcome = one(form, "outcome", "How did it end?");
      const body = { outcome, rooted: numberIn(form, "rooted"), text: textIn(form, "text"), at: whenOf(form, openedMs, zone), who: textIn(form, "who") };
      return tell(`${file.href}/close`, body, `${file.code} closed: ${outcome}`, done);
    },
  });
  adaptWhen(form);
}

async function tell(path, body, title, done) {
  keepWho(body.who);
  const written = await write(path, body, title);
  done();
  return written ? `Written: ${title}` : `Kept on this device until the bench answers: ${title}`;
}
