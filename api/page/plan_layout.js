// Where things stand on the drawn sheet: from the configuration's lengths, rows and
// columns to pixels, one scale for all. Pure.

export const RIM = { side: 7, end: 15 }; // the strip of mat that is seen around trays [px]

const BETWEEN_CM = 16; // chosen: mats are told by their size, not by their place
const LEAST_CELL = 112; // a tray's figure must be read at arm's length [px]
const MOST_PER_CM = 4.4;
const ABOVE = 30; // the dimension line above a mat [px]
const BELOW = 48; // the words below it
const FREE_CM = { length: 40, width: 30 }; // a tray on no mat has no size told

/** Return the mats with their places and those of their trays, and the sheet's size. */
export function laidOut(bench, width) {
  const mats = bench.mats.map((mat) => measured(mat, bench.trays));
  const free = bench.trays.filter((tray) => tray.mat === null);
  if (free.length) mats.push(freeRow(free));
  const perCm = scaleFor(mats, width);
  const sheet = { perCm, width: 0, height: 0, mats: [] };
  let x = 0;
  let y = 0;
  let tallest = 0;
  for (const mat of mats) {
    const w = mat.lengthCm * perCm;
    if (x > 0 && x + w > width + 1) {
      y += tallest;
      x = tallest = 0;
    }
    sheet.mats.push(placed(mat, x, y + ABOVE, perCm));
    sheet.width = Math.max(sheet.width, x + w);
    x += w + BETWEEN_CM * perCm;
    tallest = Math.max(tallest, ABOVE + mat.widthCm * perCm + BELOW);
  }
  sheet.height = y + tallest;
  return sheet;
}

function measured(mat, trays) {
  const standing = trays
    .filter((tray) => tray.mat === mat.name)
    .map((tray) => ({ tray, row: tray.row, column: tray.column }));
  return { mat, lengthCm: mat.length_mm / 10, widthCm: mat.width_mm / 10, standing };
}

function freeRow(trays) {
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

function placed(mat, x, y, perCm) {
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
