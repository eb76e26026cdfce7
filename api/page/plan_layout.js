// Where things stand on the drawn sheet, and what is drawn too small for words. Pure.

import { byRows } from "./row_layout.js";
import { onTable, standsOnTable } from "./table_layout.js";

const LEAST_WORDS = { w: 88, h: 70 }; // a tray's name, figure and state, one below the other [px]

/** Return mats and trays with their places, and the sheet's size.
 *
 * A tray too small for its words has a number instead, a mat without room a letter.
 */
export function laidOut(bench, width) {
  const sheet = standsOnTable(bench) ? onTable(bench, width) : byRows(bench, width);
  let number = 0;
  for (const place of [...sheet.mats.flatMap((mat) => mat.trays), ...sheet.trays]) {
    if (place.w >= LEAST_WORDS.w && place.h >= LEAST_WORDS.h) continue;
    number += 1;
    place.number = number;
  }
  return sheet;
}
