// Mats on the plan: their wire, solid where it heats and dotted where it does not, how
// large they are, and in a few words whether they heat.

import { s } from "./dom.js";
import { figure } from "./units.js";

const PITCH = 13; // of the heating wire [px]

/** Draw a mat: its edge, its wire, its words. */
export function drawMat(place) {
  const { mat, x, y, w, h } = place;
  if (!mat) return drawFree(place);
  const state = wireState(mat);
  return s(
    "g",
    { class: `mat ${state}`, "aria-hidden": "true", "data-key": `mat-${mat.name}` },
    s("path", { class: "edge", d: crossed(x, y, w, h) }),
    s("path", { class: "wire", d: wire(x, y, w, h) }),
    state === "locked" ? s("path", { class: "struck", d: struck(x, y, w, h) }) : null,
    place.dimensioned ? dimension(x, y - 14, w, `${figure(acrossCm(mat), 0)} cm`) : null,
    place.words ? matWords(mat, place.words) : null,
  );
}

function matWords(mat, { x, y, w, narrow }) {
  const size = narrow ? { x, y: y + 52 } : { x: x + w, y: y + 18, "text-anchor": "end" };
  return [
    s("text", { class: "matname", x, y: y + 18 }, `mat ${mat.name}`),
    s("text", { class: "small", ...size }, sizeText(mat)),
    s("text", { class: "small saying", x, y: y + 35 }, heatText(mat)),
  ];
}

/** Draw the letter that stands for the words of a mat. */
export function drawTag({ mat, letter, tag }) {
  const { x, y, w, h } = tag;
  return s(
    "g",
    { class: "mat tag", "aria-hidden": "true", "data-key": `tag-${mat.name}` },
    s("rect", { x, y, width: w, height: h, rx: w / 2 }),
    s("text", { class: "matname", x: x + w / 2, y: y + 15, "text-anchor": "middle" }, letter),
  );
}

function acrossCm({ size_mm, length_mm }) {
  return (size_mm ? size_mm[0] : length_mm) / 10;
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

/** Return how large a mat is, and how strong. */
export function sizeText(mat) {
  const [across, back] = mat.size_mm ?? [mat.length_mm, mat.width_mm];
  const cm = `${figure(across / 10, 0)} × ${figure(back / 10, 0)} cm`;
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

function round(value) {
  return Math.round(value * 10) / 10;
}
