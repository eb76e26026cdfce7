// Looks and what else happened to a batch, in words. Pure.

import { dateText, hourText } from "./clock.js";
import { fieldName } from "./batch_fields.js";

export const HOWS = [
  ["tops-only", "at the tops only"],
  ["tug", "a gentle tug"],
  ["drain-hole", "through the drain hole"],
  ["through-wall", "through the wall"],
  ["lifted", "lifted out"],
];
export const BASE = [["none", "no roots"], ["callus", "callus"], ["roots", "roots"]];
export const TOPS = [["dormant", "dormant"], ["swelling", "buds swell"], ["leafed", "in leaf"], ["wilted", "wilted"]];
export const TUG = [["held", "held"], ["gave", "gave"]];
export const DEAD = [["rotted_base", "base rotted"], ["shrivelled", "shrivelled"], ["mould", "mould"], ["missing", "missing"]];
export const SENTINELS = [["lifted", "lifted"], ["rooted", "had roots"]];
export const STAGES = [
  ["potted", "potted"],
  ["hardened", "hardened off"],
  ["established", "established"],
  ["given", "given away"],
  ["sold", "sold"],
  ["planted", "planted out"],
  ["dead", "dead"],
];
export const SCORES = [["", "not scored"], ["0", "0 none"], ["1", "1"], ["2", "2"], ["3", "3"], ["4", "4 best"]];

const WAYS = new Map(HOWS);
const COUNTS = { base: BASE, tops: TOPS, tug: TUG, dead: DEAD, sentinels: SENTINELS };
const NAMES = { base: "base", tops: "tops", tug: "tug", dead: "dead", sentinels: "spare ones" };

/** Return a look as one line: "lifted out, 5 of 24 · base: 3 callus, 2 roots · tops: not looked". */
export function lookText(look, stuck) {
  const of = stuck === null || stuck < look.looked_at ? "" : ` of ${stuck}`; // the count was put right since
  const said = [`${WAYS.get(look.how) ?? look.how}, ${look.looked_at}${of}`];
  said.push(`base: ${counted("base", look.base) || "not looked"}`);
  said.push(`tops: ${look.fine ? "fine" : counted("tops", look.tops) || "not looked"}`);
  for (const name of ["tug", "dead", "sentinels"]) {
    const text = counted(name, look[name]);
    if (text) said.push(`${NAMES[name]}: ${text}`);
  }
  return [...said, look.text, look.who].filter(Boolean).join(" · ");
}

/** Return a stage of plants as one line: "6 potted · roots 3 of 4". */
export function stageText({ stage, count, root_score: score, reason, text, who }) {
  const word = new Map(STAGES).get(stage) ?? stage;
  const roots = score === null || score === undefined ? "" : `roots ${score} of 4`;
  return [`${count} ${word}`, roots, reason, text, who].filter(Boolean).join(" · ");
}

function counted(name, counts) {
  if (!counts) return "";
  const found = COUNTS[name].filter(([kind]) => counts[kind]).map(([kind, text]) => `${counts[kind]} ${text}`);
  return found.join(", ") || (name === "base" ? "nothing seen" : "");
}

// ------------------------------------------------------------- what was told before

const OTHERS = {
  at: "when",
  how: "how",
  looked_at: "looked at",
  fine: "tops fine",
  who: "who",
  photo: "photo",
  outcome: "outcome",
  rooted: "rooted",
  stage: "stage",
  reason: "reason",
  root_score: "root score",
};

function labelOf(name) {
  const [outer, inner] = name.split(".");
  const kind = COUNTS[outer]?.find(([key]) => key === inner);
  if (kind) return `${NAMES[outer]}: ${kind[1]}`;
  const known = OTHERS[name] ?? fieldName(name);
  return known.charAt(0).toLowerCase() + known.slice(1);
}

function flat(told, under = "") {
  return Object.entries(told).flatMap(([name, value]) =>
    value !== null && typeof value === "object" && !Array.isArray(value) ? flat(value, `${under}${name}.`) : [[under + name, value]],
  );
}

const EMPTY = ["", null, undefined];
const TIME = /^\d{4}-\d\d-\d\dT/;

function shown(value, zone) {
  if (EMPTY.includes(value)) return "not told";
  if (typeof value === "string" && TIME.test(value)) return `${dateText(Date.parse(value), zone)}, ${hourText(Date.parse(value), zone)}`;
  return String(value);
}

/** Return what is told otherwise than before: "How many 24, now 22". */
export function differences(before, now, zone) {
  const [was, is] = [new Map(flat(before)), new Map(flat(now))];
  const names = [...new Set([...was.keys(), ...is.keys()])];
  const said = names
    .filter((name) => name !== "withdrawn" && alike(was.get(name)) !== alike(is.get(name)))
    .map((name) => `${labelOf(name)} ${shown(was.get(name), zone)}, now ${shown(is.get(name), zone)}`);
  if (!before.withdrawn && now.withdrawn) said.unshift("told by mistake: counts no longer");
  if (before.withdrawn && !now.withdrawn) said.unshift("counts again");
  return said.join("; ");
}

/** Nothing told of an object and nothing told within it are alike. */
function alike(value) {
  return EMPTY.includes(value) || value === 0 ? "" : String(value);
}
