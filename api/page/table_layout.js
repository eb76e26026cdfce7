// The bench as it stands on the table: from places and sizes that were told [mm] to
// pixels, one scale for all, seen from the near side. Pure.

import { freeRow, inRows, measured, MOST_PER_CM, placed, wordsWidth } from "./row_layout.js";

const NUMBER = { digit: 9, high: 14 }; // in a tray without room for words [px]
// As long as the words of a mat may become: they must not move when it is locked off.
const WORDS = { least: 214, height: 42 }; // [px]
const LINE = { least: 64, height: 26 }; // the dimension line above a mat
const TAG = 20; // a mat's letter
const LEFT = -8; // the sheet's margin

/** Return whether anything has a place of its own. */
export function standsOnTable(bench) {
  return [...bench.mats, ...bench.trays].some((one) => one.at_mm);
}

/** Return mats and trays with their places, and the sheet's size. */
export function onTable(bench, width) {
  const there = [...bench.mats, ...bench.trays].filter((one) => one.at_mm);
  const edge = edges(there);
  const perCm = scaleFor(bench, width, edge);
  const boxOf = ({ at_mm, size_mm }) => ({
    x: ((at_mm[0] - edge.left) / 10) * perCm,
    y: ((edge.far - at_mm[1] - size_mm[1]) / 10) * perCm,
    w: (size_mm[0] / 10) * perCm,
    h: (size_mm[1] / 10) * perCm,
  });
  const gridded = bench.trays.filter((tray) => !tray.at_mm);
  const mats = bench.mats
    .filter((mat) => mat.at_mm)
    .map((mat) => {
      const box = boxOf(mat);
      const lies = { ...measured(mat, gridded), lengthCm: box.w / perCm, widthCm: box.h / perCm };
      return placed(lies, box.x, box.y, perCm);
    });
  const trays = bench.trays.filter((tray) => tray.at_mm).map((tray) => ({ tray, ...boxOf(tray) }));
  const right = ((edge.right - edge.left) / 10) * perCm;
  worded(mats, trays, Math.max(width, right));
  const sheet = moved({ perCm, width: right, height: 0, mats, trays });
  return withLoose(sheet, bench, gridded, width);
}

function edges(there) {
  const along = (side) => there.flatMap(({ at_mm, size_mm }) => [at_mm[side], at_mm[side] + size_mm[side]]);
  const [across, back] = [along(0), along(1)];
  return { left: Math.min(...across), right: Math.max(...across), far: Math.max(...back) };
}

/** Return pixels for each cm: what fits, but no number may stand on another. */
function scaleFor({ trays }, width, edge) {
  const fits = width / ((edge.right - edge.left) / 10);
  const wide = 4 + NUMBER.digit * String(trays.length).length;
  const middles = trays
    .filter((tray) => tray.at_mm)
    .map(({ at_mm, size_mm }) => [0, 1].map((side) => (at_mm[side] + size_mm[side] / 2) / 10));
  let least = 0;
  middles.forEach(([x, y], n) => {
    for (const [otherX, otherY] of middles.slice(n + 1)) {
      least = Math.max(least, Math.min(wide / Math.abs(x - otherX), NUMBER.high / Math.abs(y - otherY)));
    }
  });
  return Math.min(Math.max(fits, least), MOST_PER_CM);
}

/** Give each mat room for its words beside it; where one has none, letters to all. */
function worded(mats, trays, right) {
  const taken = [...mats, ...trays];
  const free = (box) => box.x >= LEFT && box.x + box.w <= right + 12 && !hits(box, taken);
  const found = mats.every((place) => {
    place.words = beside(place).find(free);
    return place.words && taken.push(place.words);
  });
  if (!found) {
    mats.forEach((place, n) => Object.assign(place, { words: null, letter: letterOf(n) }));
    taken.splice(mats.length + trays.length);
    for (const place of mats) {
      place.tag = around(place).find(free) ?? onCorner(place);
      taken.push(place.tag);
    }
  }
  for (const place of mats) {
    const line = { x: place.x, y: place.y - LINE.height, w: place.w, h: LINE.height - 1 };
    place.dimensioned = place.w >= LINE.least && !hits(line, taken);
    if (place.dimensioned) taken.push(line);
  }
}

function letterOf(n) {
  return n < 26 ? String.fromCharCode(65 + n) : letterOf(Math.floor(n / 26) - 1) + letterOf(n % 26);
}

function beside({ mat, x, y, w: long, h }) {
  const w = Math.max(WORDS.least, wordsWidth(mat), long);
  return [y + h + 1, y - WORDS.height - 1].map((at) => ({ x, y: at, w, h: WORDS.height }));
}

function around({ x, y, w, h }) {
  const corners = [
    [x - TAG - 2, y],
    [x, y - TAG - 2],
    [x, y + h + 2],
    [x + w + 2, y],
  ];
  return corners.map(([left, top]) => ({ x: left, y: top, w: TAG, h: TAG }));
}

function onCorner({ x, y }) {
  return { x: x - TAG / 2, y: y - TAG / 2, w: TAG, h: TAG };
}

function hits(box, taken) {
  return taken.some(
    (one) => box.x < one.x + one.w && one.x < box.x + box.w && box.y < one.y + one.h && one.y < box.y + box.h,
  );
}

/** Move everything down until nothing is above the sheet, and tell how high it is. */
function moved(sheet) {
  const beside = sheet.mats.flatMap((mat) => [mat.words ?? mat.tag, ...mat.trays]);
  const lines = sheet.mats.filter((mat) => mat.dimensioned).map((mat) => ({ y: mat.y - LINE.height, h: 0 }));
  const boxes = [...sheet.mats, ...sheet.trays, ...beside, ...lines];
  const down = 8 - Math.min(...boxes.map((one) => one.y));
  new Set(boxes).forEach((one) => (one.y += down));
  sheet.height = Math.max(...boxes.map((one) => one.y + one.h)) + 8;
  return sheet;
}

/** Add in rows below whatever has no place told, at the same scale. */
function withLoose(sheet, bench, gridded, width) {
  const loose = bench.mats.filter((mat) => !mat.at_mm).map((mat) => measured(mat, gridded));
  const free = gridded.filter((tray) => tray.mat === null);
  if (free.length) loose.push(freeRow(free));
  return inRows(sheet, loose, width);
}
