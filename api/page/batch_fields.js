// What is asked of a batch, how each part is called, and what a form tells of it. One
// list, for sticking, labelling a bundle, correcting, and what was told before.

import { choices, field, taken } from "./dialogs.js";
import { dateText, fieldOf, hourText, ofField } from "./clock.js";
import { h } from "./dom.js";
import { count, day, fieldIn, folded, longWords, number, pair, textIn, numberIn, words } from "./form_parts.js";
import { fromShown, tempText, toShown } from "./units.js";

const NOT_TOLD = ["", "not told"];
const NO_TRAY = ["", "no tray of the bench"];
const KINDS = [
  ["hardwood", "hardwood"],
  ["semi-hardwood", "semi-hardwood (semi-ripe)"],
  ["softwood", "softwood"],
  ["herbaceous", "herbaceous"],
  ["leafy-evergreen", "leafy evergreen"],
  ["root-cutting", "root cutting"],
  ["seed", "seed"],
];
const NOT_OF_SEED = ["nodes", "nodes_below", "basal_cut", "wounds.sides", "wounds.length_mm"];

const told = (...values) => [NOT_TOLD, ...values.map((value) => [value, value])];

// name in the record, what it is called, how it is asked, and what belongs to that
const FIELDS = [
  ["crop", "Crop", "words", { hint: "Such as gooseberry." }],
  ["cultivar", "Cultivar", "words"],
  ["kind", "Kind", "choice", { options: KINDS }],
  ["count", "How many", "count", { hint: "Spare ones for lifting not counted." }],
  ["tray", "Tray", "tray"],
  ["stuck_at", "Stuck", "time"],
  ["medium", "Medium (recipe)", "words"],
  ["source", "Source", "words", { hint: "Where it came from." }],
  ["mother", "Mother plant", "words"],
  ["collected", "Collected on", "day"],
  ["storage", "Storage", "words", { hint: "How it was kept until it was stuck." }],
  ["length_mm", "Length [mm]", "number"],
  ["thickness_mm", "Thickness [mm]", "number"],
  ["nodes", "Nodes", "number"],
  ["nodes_below", "Nodes below the surface", "number"],
  ["base_depth_mm", "Depth of the base [mm]", "number"],
  ["basal_cut", "Cut at the base", "words", { hint: "Such as just below a node." }],
  ["wounds.sides", "Wounded on how many sides", "number"],
  ["wounds.length_mm", "Wound, how far up [mm]", "number"],
  ["hormone.active", "Hormone: active substance", "words"],
  ["hormone.carrier", "Applied as", "choice", { options: told("powder", "dip", "gel") }],
  ["hormone.ppm", "Hormone [ppm]", "number"],
  ["hormone.seconds", "Dipped for [s]", "number"],
  ["disinfection", "Against rot", "words", { hint: "\u201cnone\u201d is an answer." }],
  ["wrap.material", "Wrapped in", "choice", { options: told("film", "tape", "wax") }],
  ["wrap.down_mm", "Wrap reaches down [mm]", "number"],
  ["wrap.off", "Wrap came off on", "day"],
  ["cover", "Cover over the tray", "choice", { options: told("none", "vented", "closed") }],
  ["container", "Container", "words"],
  ["place", "Place", "words", { hint: "Where in the tray, or where else." }],
  ["wanted", "Plants wanted", "number"],
  ["sentinels", "Spare ones for lifting", "number"],
  ["base_c", "Degree-hours count above", "temp", { hint: "Left empty: as the tray counts." }],
  ["upper_c", "and no faster above", "temp"],
  ["text", "In words", "long"],
];
const BY_NAME = new Map(FIELDS.map((one) => [one[0], one]));

const WHAT = ["crop", "cultivar", "kind"];
const HERE = ["count", "tray", "stuck_at", "medium"];
const GROUPS = [
  ["Source and storage", "source", "mother", "collected", "storage"],
  ["The cutting itself", ["length_mm", "thickness_mm", "base_depth_mm"], ["nodes", "nodes_below"], "basal_cut", ["wounds.sides", "wounds.length_mm"]],
  ["Hormone, and against rot", "hormone.active", "hormone.carrier", ["hormone.ppm", "hormone.seconds"], "disinfection"],
  ["Wrap and cover", "wrap.material", ["wrap.down_mm", "wrap.off"], "cover"],
  ["Container and place", "container", "place"],
  ["Plants wanted, degree-hours, words", ["wanted", "sentinels"], ["base_c", "upper_c"], "text"],
];

/** Return what a batch tells of a field whose name may lead into an object. */
function valueOf(batch, name) {
  return name.split(".").reduce((found, key) => found?.[key] ?? null, batch);
}

// -------------------------------------------------------------------- the form

/**
 * Return the parts of a form about a batch.
 * @param batch What is told of it so far; {} of a new one.
 * @param without Names that are not asked.
 * @param also What stands after the first parts.
 * @param known Whether it is known what it is, so that this is folded.
 */
export function batchParts(bench, batch, { zone, without = [], also = [], known = false }) {
  const asked = (name) => (without.includes(name) ? null : partOf(bench, batch, name, zone));
  const group = (one) => groupOf(batch, one, asked, { unit: bench.display_unit, zone });
  return [known ? group(["What it is", ...WHAT]) : WHAT.map(asked), HERE.map(asked), also, GROUPS.map(group)];
}

function groupOf(batch, [title, ...rows], asked, shown) {
  const said = rows.flat().map((name) => partText(name, valueOf(batch, name), shown));
  const parts = rows.map((row) => (Array.isArray(row) ? pair(row.map(asked)) : asked(row)));
  return folded(title, said.filter(Boolean).join(", "), parts);
}

function partOf(bench, batch, name, zone) {
  const [, label, how, about = {}] = BY_NAME.get(name);
  const value = valueOf(batch, name) ?? "";
  const made = PARTS[how](label, name, { ...about, value, bench, zone, batch });
  if (NOT_OF_SEED.includes(name)) made.setAttribute("data-name", "not of seed");
  return made;
}

function asChoice(label, name, { options, value }) {
  const optional = options[0] === NOT_TOLD;
  return choices(label, name, options, { checked: value || optional ? [value] : [] });
}

function asTray(label, name, { value, bench, batch }) {
  const names = bench.trays.map((tray) => tray.name);
  if (value && !names.includes(value)) names.push(value); // it stood on the bench then
  const known = batch.tray !== undefined;
  return choices(known ? "Tray that it was stuck into" : label, name, [...names.map((tray) => [tray, tray]), NO_TRAY], { checked: known ? [value] : [] });
}

function asTemp(label, name, { hint, value, bench }) {
  const unit = bench.display_unit;
  const shown = value === "" ? "" : String(Math.round(toShown(value, unit) * 10) / 10);
  return number(`${label} [${unit}]`, name, { hint, value: shown, least: null });
}

function asTime(label, name, { value, zone }) {
  const shown = value ? fieldOf(Date.parse(value), zone) : "";
  return field(`${label} (the bench\u2019s time, ${zone})`, h("input", { name, type: "datetime-local", value: shown }));
}

const PARTS = { words, long: longWords, number, count, day, choice: asChoice, tray: asTray, temp: asTemp, time: asTime };

/** Leave out what no seed has, while the form is about seed. */
export function adaptKind(form) {
  const adapt = () => {
    const seed = taken(form, "kind")[0] === "seed";
    for (const part of form.querySelectorAll('[data-name="not of seed"]')) part.hidden = seed;
  };
  form.addEventListener("change", adapt);
  adapt();
}

// --------------------------------------------------------------------- reading

/** Return all that a form tells of a batch, without what it does not ask. */
export function batchIn(form, { unit, zone }) {
  const body = {};
  for (const [name, label, how] of FIELDS) {
    if (!form.querySelector(`[name="${CSS.escape(name)}"]`)) continue;
    put(body, name, readIn(form, name, { label, how, unit, zone }));
  }
  return whole(body);
}

function readIn(form, name, { label, how, unit, zone }) {
  if (how === "words" || how === "long") return textIn(form, name);
  if (how === "tray") return taken(form, name)[0];
  if (how === "choice") return taken(form, name)[0] || null;
  if (how === "day") return textIn(form, name) || null;
  if (how === "time") return timeIn(form, name, label, zone);
  const value = numberIn(form, name);
  return how === "temp" && value !== null ? Math.round(fromShown(value, unit) * 1000) / 1000 : value;
}

function timeIn(form, name, label, zone) {
  const told = textIn(form, name);
  if (!told && !fieldIn(form, name)?.validity.badInput) return null;
  const atMs = ofField(told, zone);
  if (Number.isNaN(atMs)) throw new Error(`${label}: a day and a time are needed`);
  return new Date(atMs).toISOString();
}

function put(body, name, value) {
  const [outer, inner] = name.split(".");
  if (inner === undefined) body[outer] = value;
  else body[outer] = { ...body[outer], [inner]: value };
}

/** Leave out an object of which nothing is told; hold the others to what they need. */
function whole(body) {
  const { hormone, wrap, wounds } = body;
  const none = (part) => !part || Object.values(part).every((value) => value === null || value === "");
  if (body.sentinels === null) body.sentinels = 0;
  if (none(wounds)) body.wounds = null;
  else if (wounds.sides === null) throw new Error("On how many sides were they wounded?");
  if (none(hormone)) body.hormone = null;
  else if (!hormone.carrier) throw new Error("Was the hormone applied as powder, dip or gel?");
  if (none(wrap)) body.wrap = null;
  else if (!wrap.material) throw new Error("Which wrap is it: film, tape or wax?");
  return body;
}

/** Hold what is told to the rules that can be told here: it may have to wait for the bench. */
export function checkBatch(body, { stuck }) {
  if (!body.crop) throw new Error("Which crop is it?");
  if (!body.kind) throw new Error("Of which kind is it: hardwood, softwood, seed …?");
  if (stuck && body.tray === undefined) throw new Error("Which tray is it in?");
  if (stuck && body.count === null) throw new Error("How many were stuck?");
  return body;
}

/** Return what of a record is told otherwise than before. */
export function changesIn(before, now) {
  return Object.fromEntries(Object.entries(now).filter(([name, value]) => plain(value) !== plain(before[name])));
}

function plain(value) {
  const isObject = value !== null && typeof value === "object";
  return JSON.stringify(isObject ? Object.entries(value).sort() : (value ?? null));
}

// -------------------------------------------------------------------- in words

/** Return a field in words, such as "180 mm long"; empty: it is not told. */
function partText(name, value, { unit, zone }) {
  if (value === null || value === "" || (name === "sentinels" && value === 0)) return "";
  const [, label, how] = BY_NAME.get(name);
  if (how === "temp") return `${label.toLowerCase()} ${tempText(value, unit)}`;
  if (how === "time") return whenStuck(value, zone);
  const measured = / \[(\w+)\]$/.exec(label);
  return measured ? `${lower(label.slice(0, measured.index))} ${value}\u00a0${measured[1]}` : `${lower(label)} ${value}`;
}

function lower(label) {
  return label.charAt(0).toLowerCase() + label.slice(1);
}

function whenStuck(at, zone) {
  const atMs = Date.parse(at);
  return `${dateText(atMs, zone)}, ${hourText(atMs, zone)}`;
}

/** Return all that is told of a batch: pairs of what it is called and what it is. */
export function batchFacts(batch, { unit, zone }) {
  return FIELDS.map(([name, label, how]) => {
    const value = valueOf(batch, name);
    if (value === null || value === "" || (name === "sentinels" && value === 0)) return null;
    if (how === "temp") return [label, tempText(value, unit)];
    if (how === "time") return [label, whenStuck(value, zone)];
    return [label, String(value)];
  }).filter(Boolean);
}

/** Return how a field of a batch is called; its own name, where it is not asked. */
export function fieldName(name) {
  return BY_NAME.get(name)?.[1] ?? name;
}
