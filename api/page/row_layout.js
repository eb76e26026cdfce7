// Mats side by side, and trays in the rows and columns of their mats, one scale for
// all: for benches that tell no places on the table. Pure.

const RIM = { side: 7, end: 15 }; // the strip of mat that is seen around trays [px]
export const MOST_PER_CM = 4.4;

const BETWEEN_CM = 16; // chosen: such mats are told by their size, not by their place
const LEAST_CELL = 112; // a tray's figure must be read at arm's length [px]
const ABOVE = 30; // the dimension line above a mat [px]
const BELOW = 48; // the words below it
const LINE = 17; // one line more of them
const LETTER = 8; // of a mat's name [px]
const SIZE = 150; // the words of a mat's size
const FREE_CM = { length: 40, width: 30 }; // a tray on no mat has no size told

/** Return mats and trays with their places, and the sheet's size. */
export function byRows(bench, width) {
  const mats = bench.mats.map((mat) => measured(mat, bench.trays));
  const free = bench.trays.filter((tray) => tray.mat === null);
  if (free.length) mats.push(freeRow(free));
  const sheet = { perCm: scaleFor(mats, width), width: 0, height: 0, mats: [], trays: [] };
  return inRows(sheet, mats, width);
}

/** Add mats side by side, and below where the sheet ends. */
export function inRows(sheet, mats, width) {
  const { perCm } = sheet;
  let x = 0;
  let y = sheet.height;
  let tallest = 0;
  for (const mat of mats) {
    const w = mat.lengthCm * perCm;
    if (x > 0 && x + w > width + 1) {
      y += tallest;
      x = tallest = 0;
    }
    const at = { ...placed(mat, x, y + ABOVE, perCm), dimensioned: true };
    const narrow = w < wordsWidth(mat.mat);
    sheet.mats.push({ ...at, words: { x, y: at.y + at.h + 1, w, narrow } });
    sheet.width = Math.max(sheet.width, x + w);
    x += w + BETWEEN_CM * perCm;
    tallest = Math.max(tallest, ABOVE + at.h + BELOW + (narrow ? LINE : 0));
  }
  sheet.height = y + tallest;
  return sheet;
}

/** Return how wide a mat's name and its size stand side by side [px]. */
export function wordsWidth(mat) {
  return mat ? LETTER * mat.name.length + SIZE : 0;
}

/** Return a mat with its size and those of some trays that stand on it. */
export function measured(mat, trays) {
  const standing = trays
    .filter((tray) => tray.mat === mat.name)
    .map((tray) => ({ tray, row: tray.row, column: tray.column }));
  return { mat, lengthCm: mat.length_mm / 10, widthCm: mat.width_mm / 10, standing };
}

/** Return what stands in for a mat below trays that are on none. */
export function freeRow(trays) {
  const standing = trays.map((tray, n) => ({ tray, row: 1, column: n + 1 }));
  const lengthCm = FREE_CM.length * trays.length;
  return { mat: null, lengthCm, widthCm: FREE_CM.width, standing };
}

/** Return pixels for each cm: all mats side by side if trays stay readable, else below. */
function scaleFor(mats, width) {
  const side = mats.reduce((sum, mat) => sum + mat.lengthCm, 0) + BETWEEN_CM * (mats.length - 1);
  const cellCm = Math.min(...mats.map(cellLength));
  const together = width / side;
  if (together * cellCm >= LEAST_CELL) return Math.min(together, MOST_PER_CM);
  const widest = Math.max(...mats.map((mat) => mat.lengthCm));
  const alone = Math.min(width / widest, MOST_PER_CM);
  return Math.max(alone, (LEAST_CELL * 0.86) / cellCm); // beyond this the sheet is scrolled
}

function cellLength(mat) {
  const { columns } = gridOf(mat);
  return mat.lengthCm / columns;
}

function gridOf({ standing }) {
  return {
    rows: Math.max(1, ...standing.map((one) => one.row)),
    columns: Math.max(1, ...standing.map((one) => one.column)),
  };
}

/** Return a mat at its place, with its trays in rows and columns. */
export function placed(mat, x, y, perCm) {
  const box = { x, y, w: mat.lengthCm * perCm, h: mat.widthCm * perCm };
  const { rows, columns } = gridOf(mat);
  const end = mat.mat ? RIM.end : 4;
  const cell = { w: (box.w - 4) / columns, h: (box.h - 2 * end) / rows };
  const trays = mat.standing.map(({ tray, row, column }) => ({
    tray,
    x: x + 2 + (column - 1) * cell.w + RIM.side / 2,
    y: y + end + (row - 1) * cell.h + 2,
    w: cell.w - RIM.side,
    h: cell.h - 4,
  }));
  return { ...mat, ...box, trays };
}
