// The bench as it stands on the table, drawn like a plan on paper: mats with their
// heating wire, trays on them, and in each tray its cuttings, row by row. Solid wire
// heats, dotted wire does not; nothing is said by colour alone.

import { s, show } from "./dom.js";
import { laidOut } from "./plan_layout.js";
import { figure, tempText } from "./units.js";
import { batchName, standing } from "./words.js";

const PITCH = 13; // of the heating wire [px]
const MOST_MARKS = 48;

/** Draw the bench into an SVG element as wide as it is. */
export function drawPlan(svg, { bench, batches, warmAt, chosen }) {
  const width = Math.max(300, svg.parentElement.clientWidth);
  const sheet = laidOut(bench, width - 24);
  const height = Math.ceil(sheet.height + 34);
  const wide = Math.max(width, Math.ceil(sheet.width + 24));
  svg.setAttribute("viewBox", `-12 0 ${wide} ${height}`);
  svg.setAttribute("width", wide);
  svg.setAttribute("height", height);
  show(
    svg,
    sheet.mats.map((mat) => drawMat(mat)),
    sheet.mats.flatMap((mat) =>
      mat.trays.map((place) => drawTray(place, { bench, batches, warmAt, chosen })),
    ),
    scaleBar(sheet.perCm, height - 14),
  );
}

// ---------------------------------------------------------------------- mats

function drawMat(place) {
  const { mat, x, y, w, h } = place;
  if (!mat) return drawFree(place);
  const state = wireState(mat);
  return s(
    "g",
    { class: `mat ${state}`, "aria-hidden": "true", "data-key": `mat-${mat.name}` },
    s("path", { class: "edge", d: crossed(x, y, w, h) }),
    s("path", { class: "wire", d: wire(x, y, w, h) }),
    state === "locked" ? s("path", { class: "struck", d: struck(x, y, w, h) }) : null,
    dimension(x, y - 14, w, `${figure(mat.length_mm / 10, 0)} cm`),
    s("text", { class: "matname", x, y: y + h + 19 }, `mat ${mat.name}`),
    s("text", { class: "small", x: x + w, y: y + h + 19, "text-anchor": "end" }, sizeText(mat)),
    s("text", { class: "small saying", x, y: y + h + 36 }, heatText(mat)),
  );
}

function drawFree({ x, y, w, h }) {
  return s(
    "g",
    { class: "mat free", "aria-hidden": "true", "data-key": "mat-" },
    s("text", { class: "small", x, y: y + h + 19 }, "on no mat; sizes not told"),
    s("path", { class: "shelf", d: `M${x} ${y + h + 3}h${w}` }),
  );
}

/** Return what is drawn of a mat's wire: on, off, held or locked. */
export function wireState(mat) {
  if (mat.mode === "tripped") return "locked";
  if (mat.energised) return "on";
  return mat.mode === "regulating" ? "off" : "held";
}

/** Return in a few words whether a mat heats. */
export function heatText(mat) {
  if (mat.watch_only) return "only watched";
  if (mat.mode !== "regulating") return mat.mode_text;
  return mat.energised ? "allowed, heating now" : "allowed, not heating now";
}

function sizeText(mat) {
  const cm = `${figure(mat.length_mm / 10, 0)} × ${figure(mat.width_mm / 10, 0)} cm`;
  return `${cm}, ${figure(mat.power_w, 0)} W`;
}

/** Return a rectangle whose lines cross at the corners, as drawn with a ruler. */
function crossed(x, y, w, h, over = 5) {
  return (
    `M${x - over} ${y}h${w + 2 * over}M${x - over} ${y + h}h${w + 2 * over}` +
    `M${x} ${y - over}v${h + 2 * over}M${x + w} ${y - over}v${h + 2 * over}`
  );
}

/** Return the wire of a mat, to and fro across it: its bends are seen beside the trays. */
function wire(x, y, w, h) {
  const runs = Math.max(2, Math.floor((w - 12) / PITCH));
  const pitch = (w - 12) / runs;
  const radius = pitch / 2;
  const top = y + 4 + radius;
  const length = h - 8 - 2 * radius;
  let path = `M${round(x + 6)} ${round(top)}`;
  for (let run = 0; run < runs; run += 1) {
    const down = run % 2 === 0;
    path += `v${round(down ? length : -length)}`;
    path += `a${round(radius)} ${round(radius)} 0 0 ${down ? 0 : 1} ${round(pitch)} 0`;
  }
  return path;
}

function struck(x, y, w, h) {
  return `M${x} ${y}L${x + w} ${y + h}M${x} ${y + h}L${x + w} ${y}`;
}

function dimension(x, y, w, text) {
  return s(
    "g",
    { class: "dimension" },
    s("path", { d: `M${x} ${y}h${w}M${x - 3} ${y + 3}l6 -6M${x + w - 3} ${y + 3}l6 -6` }),
    s("text", { x: x + w / 2, y: y - 4, "text-anchor": "middle" }, text),
  );
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

// --------------------------------------------------------------------- trays

function drawTray(place, { bench, batches, warmAt, chosen }) {
  const { tray, x, y, w, h } = place;
  const here = batches.filter((one) => one.tray === tray.name);
  const state = standing(bench, tray, warmAt[tray.name]);
  const troubled = hasAlarm(bench, tray);
  const temp = tray.temp_c === null ? "" : tempText(tray.temp_c, bench.display_unit);
  const label = labelOf(tray, here, temp, state, troubled);
  return s(
    "g",
    {
      class: `tray ${state.mark}${chosen === tray.name ? " chosen" : ""}${troubled ? " troubled" : ""}`,
      role: "button",
      tabindex: "0",
      "aria-label": label,
      "aria-pressed": String(chosen === tray.name),
      "data-do": "tray",
      "data-tray": tray.name,
      "data-key": `tray-${tray.name}`,
    },
    s("rect", { class: "rim", x, y, width: w, height: h, rx: 5 }),
    s("rect", { class: "inner", x: x + 3, y: y + 3, width: w - 6, height: h - 6, rx: 3 }),
    s("text", { class: "trayname", x: x + 10, y: y + 22 }, tray.name),
    tray.probes.length ? probeMark(x + w - 15, y + 16) : null,
    s("text", { class: "temp", x: x + 10, y: y + 46 }, temp || "—"),
    s("text", { class: "state", x: x + 10, y: y + 63 }, fitted(state.text, w - 18, 6.9)),
    state.warming
      ? s("text", { class: "state warming", x: x + 10, y: y + 79 }, fitted(state.warming, w - 16, 6.5))
      : null,
    troubled ? s("text", { class: "flag", x: x + w - 38, y: y + 23 }, "!") : null,
    planted(here, tray, below(state.warming ? 82 : 66, { x, y, w, h })),
  );
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
  const each = box.h / here.length;
  return here.map((one, n) => drawBatch(one, { ...box, y: box.y + n * each, h: each }));
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
