// The benches in words, a row each under three headings. What somebody must see
// stands first in a row, and a bench that does not answer is told as it was.

import { h } from "./dom.js";
import { rule } from "./rule.js";
import { lastingText, tempText } from "./units.js";
import { priorityText, standing } from "./words.js";

const PARTS = [
  ["needed", "Somebody is needed", (bench) => bench.needed],
  ["aside", "Not as wanted, and nothing rings", (bench) => bench.state === "not as wanted"],
  ["rest", "As wanted", (bench) => bench.state === "well"],
  ["asked", "Not heard yet", (bench) => bench.state === "being asked"],
];
const SHOWN_ALARMS = 3;

/** Return one sentence on all benches. */
export function leadText({ benches, needed }) {
  const all = benches.length === 1 ? "the one bench" : `${benches.length} benches`;
  const asked = benches.filter((one) => one.state === "being asked").length;
  if (asked === benches.length) return `Asking ${all}…`;
  const waits = asked ? ` ${asked} not heard yet.` : "";
  if (!needed) return `Nobody is needed at ${benches.length === 1 ? all : `any of ${all}`}.${waits}`;
  const where = benches.length === 1 ? all : `${needed} of ${all}`;
  return `Somebody is needed at ${where}: ${countsOf(benches)}.${waits}`;
}

const COUNTED = [
  ["act now", "to act on now"],
  ["locked off", "locked off"],
  ["no answer", "without an answer"],
  ["stale", "without a new scan"],
  ["alarm", "with an alarm"],
];

function countsOf(benches) {
  return COUNTED.map(([state, words]) => [benches.filter((one) => one.state === state).length, words])
    .filter(([count]) => count)
    .map(([count, words]) => `${count} ${words}`)
    .join(", ");
}

/** Return the sections of the sheet, those without a bench left out. */
export function sections({ benches }, sinceMs) {
  return PARTS.map(([name, title, belongs]) => {
    const found = benches.filter(belongs);
    if (!found.length) return null;
    return h(
      "section",
      { class: `part part-${name}`, "data-key": name, "aria-labelledby": `${name}-h` },
      h("h2", { id: `${name}-h` }, `${title} (${found.length})`),
      h("ul", { class: "ledger" }, found.map((bench) => row(bench, sinceMs))),
    );
  });
}

function row(bench, sinceMs) {
  const then = bench.trouble !== null || bench.old;
  return h(
    "li",
    { class: `bench is-${bench.state.replaceAll(" ", "-")}`, "data-key": bench.key },
    h(
      "div",
      { class: "who" },
      h("h3", {}, h("a", { href: bench.page, rel: "noreferrer" }, bench.name)),
      bench.state === "well" ? null : h("p", { class: "state" }, bench.state),
    ),
    h(
      "div",
      { class: "said" },
      silence(bench, sinceMs),
      h("div", { class: then ? "then" : "now" }, alarms(bench), trays(bench), heat(bench), due(bench)),
    ),
    h("div", { class: then ? "drawn then" : "drawn" }, rule(bench.trays)),
  );
}

function silence(bench, sinceMs) {
  const age = (seconds) => lastingText(seconds * 1_000 + sinceMs);
  if (bench.trouble !== null) {
    const last = bench.scan_age_s === null ? "It was never heard." : `As it was ${age(bench.scan_age_s)} ago:`;
    return h("p", { class: "silence" }, `Not heard for ${age(bench.silent_s)}: ${bench.trouble}. ${last}`);
  }
  if (!bench.old) return null;
  const text = `It answers, but its controller has made no scan for ${age(bench.scan_age_s)}. As it was then:`;
  return h("p", { class: "silence" }, text);
}

function alarms({ alarms: found, left_out: left }) {
  if (!found.length) return null;
  const shown = found.slice(0, SHOWN_ALARMS);
  const more = found.length - shown.length;
  return h(
    "ul",
    { class: "alarm-lines" },
    shown.map((alarm) =>
      h("li", { class: alarm.rings ? "rings" : "" }, h("strong", {}, `${alarmWord(alarm)}: `), alarm.sentence),
    ),
    more ? h("li", {}, `and ${more}${left ? " or more" : ""} other alarms`) : null,
  );
}

function alarmWord({ active, rings, priority }) {
  if (!active) return "over, not seen yet";
  return rings ? priorityText(priority) : "goes on, seen or silenced";
}

// --------------------------------------------------------------------- trays

function trays(bench) {
  const found = bench.trays.map((tray) => ({ tray, ...standingOf(tray, bench.unit) }));
  const kept = found.filter((one) => one.mark === "kept");
  const others = found.filter((one) => !["kept", "none"].includes(one.mark));
  const none = found.filter((one) => one.mark === "none").map((one) => one.tray.name);
  if (!found.length) return null;
  return h(
    "ul",
    { class: "trays", "aria-label": "Trays" },
    others.map(({ tray, mark, text }) =>
      h("li", { class: `tray-${mark}` }, h("b", {}, tray.name), " ", figureOf(tray, bench.unit), tray.temp_c === null ? "" : ", ", text),
    ),
    kept.map(({ tray }) => h("li", { class: "tray-kept" }, h("b", {}, tray.name), " ", figureOf(tray, bench.unit))),
    kept.length ? h("li", { class: "word" }, others.length ? "as wanted" : "all as wanted") : null,
    none.length ? h("li", { class: "word" }, `${none.join(", ")}: no probe`) : null,
  );
}

function figureOf(tray, unit) {
  return tray.temp_c === null ? null : h("span", { class: "figure" }, tempText(tray.temp_c, unit));
}

/** Return how a tray stands to what is wanted, in the words of a bench's own page. */
function standingOf(tray, unit) {
  const wanted = tray.wanted_c !== null;
  const mats = wanted ? [{ name: tray.mat, setpoint: { setpoint_c: tray.wanted_c } }] : [];
  return standing({ mats, display_unit: unit }, { ...tray, probes: tray.measured ? [tray] : [] });
}

// --------------------------------------------------------------- heat, and due

function heat({ mats, left_out: left }) {
  if (!mats.length) return null;
  const said = mats.map((mat) => `${mat.name} ${heatWord(mat)}`);
  const more = left ? ` (${left} more things are not shown: see its own page)` : "";
  return h("p", { class: "line" }, h("i", {}, "heat: "), said.join("; ") + more);
}

function heatWord({ on, mode, mode_text: text }) {
  if (on === null) return "only watched";
  if (on) return "on";
  return mode === "regulating" ? "off" : `off, ${text}`;
}

function due({ due: found }) {
  if (!found.length) return null;
  const said = found.map((one) => `${one.summary}${one.overdue ? " (overdue)" : ""}`);
  return h("p", { class: "line" }, h("i", {}, "due: "), said.join("; "));
}
