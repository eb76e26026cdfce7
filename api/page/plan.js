// The bench as it stands on the table, drawn like a plan on paper: mats with their
// heating wire, trays on them, and in each tray its cuttings, row by row. Solid wire
// heats, dotted wire does not; nothing is said by colour alone.

import { s, show } from "./dom.js";
import { keyLines } from "./plan_key.js";
import { laidOut } from "./plan_layout.js";
import { drawMat, drawTag, heatText, sizeText } from "./plan_mats.js";
import { tempText } from "./units.js";
import { batchName, standing } from "./words.js";

const MOST_MARKS = 48;

/** Draw the bench into an SVG element as wide as it is, and what has no room there below. */
export function drawPlan(svg, key, { bench, batches, warmAt, chosen }) {
  const width = Math.max(300, svg.parentElement.clientWidth);
  const sheet = laidOut(bench, width - 24);
  const height = Math.ceil(sheet.height + 34);
  const toldOf = (tray) => told(tray, { bench, batches, warmAt });
  const wide = Math.max(width, Math.ceil(sheet.width + 24));
  svg.setAttribute("viewBox", `-12 0 ${wide} ${height}`);
  svg.setAttribute("width", wide);
  svg.setAttribute("height", height);
  show(
    svg,
    sheet.mats.map((mat) => drawMat(mat)),
    [...sheet.mats.flatMap((mat) => mat.trays), ...sheet.trays].map((place) =>
      drawTray(place, toldOf(place.tray), chosen === place.tray.name),
    ),
    sheet.mats.filter((place) => place.letter).map(drawTag),
    scaleBar(sheet.perCm, height - 14),
  );
  const lines = keyLines(sheet, { heatText, sizeText, toldOf, chosen });
  key.hidden = !lines.length;
  show(key, lines);
}

function scaleBar(perCm, y) {
  const step = 10 * perCm;
  const marks = [0, 1, 2, 3, 4].map((n) =>
    s("rect", { class: n % 2 ? "empty" : "full", x: n * step, y: y - 5, width: step, height: 4 }),
  );
  return s(
    "g",
    { class: "scale", "aria-hidden": "true", "data-key": "scale" },
    marks,
    s("text", { x: 5 * step + 6, y }, "50 cm"),
  );
}

/** Return what there is to tell of a tray, in its drawing or in the key. */
function told(tray, { bench, batches, warmAt }) {
  const here = batches.filter((one) => one.tray === tray.name);
  const state = standing(bench, tray, warmAt[tray.name]);
  const troubled = hasAlarm(bench, tray);
  const temp = tray.temp_c === null ? "" : tempText(tray.temp_c, bench.display_unit);
  const crops = here.map(({ code, batch }) => `${code} ${batchName(batch)}`).join("; ");
  return { here, state, troubled, temp, crops };
}

function drawTray(place, said, chosen) {
  const { tray, x, y, w, h } = place;
  const { here, state, troubled, temp } = said;
  return s(
    "g",
    {
      class: `tray ${state.mark}${chosen ? " chosen" : ""}${troubled ? " troubled" : ""}`,
      role: "button",
      tabindex: "0",
      "aria-label": labelOf(tray, here, temp, state, troubled),
      "aria-pressed": String(chosen),
      "data-do": "tray",
      "data-tray": tray.name,
      "data-key": `tray-${tray.name}`,
    },
    s("rect", { class: "rim", x, y, width: w, height: h, rx: Math.min(5, w / 8) }),
    Math.min(w, h) < 24 ? null : inner(place),
    place.number ? numberOf(place, troubled) : trayWords(place, said),
  );
}

function inner({ x, y, w, h }) {
  return s("rect", { class: "inner", x: x + 3, y: y + 3, width: w - 6, height: h - 6, rx: 3 });
}

function numberOf({ number, x, y, w, h }, troubled) {
  const text = `${number}${troubled ? "!" : ""}`;
  return s("text", { class: "number", x: x + w / 2, y: y + h / 2 + 5, "text-anchor": "middle" }, text);
}

function trayWords({ tray, x, y, w, h }, { here, state, troubled, temp }) {
  const warming = state.warming && h >= 86;
  return [
    s("text", { class: "trayname", x: x + 10, y: y + 22 }, fitted(tray.name, w - (troubled ? 52 : 36), 10)),
    tray.probes.length ? probeMark(x + w - 15, y + 16) : null,
    s("text", { class: "temp", x: x + 10, y: y + 46 }, temp || "—"),
    s("text", { class: "state", x: x + 10, y: y + 63 }, fitted(state.text, w - 18, 6.9)),
    warming
      ? s("text", { class: "state warming", x: x + 10, y: y + 79 }, fitted(state.warming, w - 16, 6.5))
      : null,
    troubled ? s("text", { class: "flag", x: x + w - 38, y: y + 23 }, "!") : null,
    planted(here, tray, below(warming ? 82 : 66, { x, y, w, h })),
  ];
}

function below(from, { x, y, w, h }) {
  return { x: x + 10, y: y + from, w: w - 20, h: h - from - 5 };
}

function labelOf(tray, here, temp, state, troubled) {
  const crops = here.map((one) => `${one.batch.count ?? ""} ${batchName(one.batch)}`.trim());
  return [
    `Tray ${tray.name}`,
    tray.title,
    [temp, state.text, state.warming].filter(Boolean).join(", "),
    crops.join("; "),
    troubled ? "there is an alarm" : "",
    "Open it",
  ]
    .filter(Boolean)
    .join(". ");
}

/** Whether an alarm is about a tray: its probes, or its mat. */
function hasAlarm(bench, tray) {
  const names = new Set([...tray.probes.map((probe) => probe.name), tray.mat]);
  return bench.alarms.some(
    (alarm) => alarm.state === "active" && !alarm.suppressed && names.has(alarm.subject),
  );
}

function probeMark(x, y) {
  const d = `M${x - 7} ${y}h14M${x} ${y - 7}v14`;
  return s("g", { class: "probe" }, s("circle", { cx: x, cy: y, r: 4 }), s("path", { d }));
}

/** Draw what is planted: of each batch a line with its code, and a sprig for each cutting. */
function planted(here, tray, box) {
  if (box.h < 14) return null;
  if (!here.length) {
    const title = tray.title || tray.medium;
    return s("text", { class: "crop", x: box.x, y: box.y + 14 }, fitted(title, box.w, 6.2));
  }
  const lines = Math.min(here.length, Math.floor(box.h / 14));
  const each = box.h / lines;
  const drawn = here.slice(0, lines === here.length ? lines : lines - 1);
  const more = here.length - drawn.length;
  return [
    drawn.map((one, n) => drawBatch(one, { ...box, y: box.y + n * each, h: each })),
    more ? s("text", { class: "crop", x: box.x, y: box.y + (lines - 1) * each + 13 }, `${more} batches`) : null,
  ];
}

function drawBatch({ code, batch }, box) {
  const line = s(
    "text",
    { class: "crop", x: box.x, y: box.y + 13 },
    fitted(`${code} ${batchName(batch)}`, box.w, 6.6),
  );
  const across = Math.max(1, Math.floor(box.w / 11));
  const deep = Math.max(0, Math.floor((box.h - 14) / 12));
  const marks = Math.min(batch.count ?? 0, across * deep, MOST_MARKS);
  const seed = batch.kind === "seed";
  let path = "";
  for (let n = 0; n < marks; n += 1) {
    const x = round(box.x + 4 + (n % across) * 11);
    const y = round(box.y + 25 + Math.floor(n / across) * 12);
    path += seed ? `M${x - 2} ${y - 3}a2 3 0 1 0 .01 0` : `M${x} ${y}v-8m-3 2l3 3l3 -3`;
  }
  return s("g", { class: "batch" }, line, path ? s("path", { class: "sprigs", d: path }) : null);
}

/** Cut a text to a width, at about so many pixels a letter. */
function fitted(text, width, letter) {
  const most = Math.max(3, Math.floor(width / letter));
  return text.length <= most ? text : `${text.slice(0, most - 1).trimEnd()}…`;
}

function round(value) {
  return Math.round(value * 10) / 10;
}
