// The key below the plan: the words of what is drawn too small to hold them, by the
// number or letter that stands in their place.

import { h } from "./dom.js";

/** Return the lines of the key: mats by their letters, trays by their numbers. */
export function keyLines(sheet, { heatText, sizeText, toldOf, chosen }) {
  const mats = sheet.mats.filter((place) => place.letter).map((place) => matLine(place, heatText, sizeText));
  const trays = [...sheet.mats.flatMap((mat) => mat.trays), ...sheet.trays]
    .filter((place) => place.number)
    .map((place) => trayLine(place, toldOf(place.tray), chosen === place.tray.name));
  return [...mats, ...trays];
}

function matLine({ mat, letter }, heatText, sizeText) {
  return h(
    "li",
    { "data-key": `key-mat-${mat.name}` },
    h("b", { class: "sign" }, letter),
    h("span", {}, h("b", {}, `mat ${mat.name}`), ` ${sizeText(mat)}: ${heatText(mat)}`),
  );
}

function trayLine({ tray, number }, { temp, state, crops, troubled }, chosen) {
  const said = [state.text, state.warming, troubled ? "alarm" : "", crops].filter(Boolean);
  return h(
    "li",
    { "data-key": `key-tray-${tray.name}` },
    h(
      "button",
      {
        type: "button",
        class: troubled ? "troubled" : "",
        "data-mark": state.mark,
        "aria-pressed": String(chosen),
        "data-do": "tray",
        "data-tray": tray.name,
      },
      h("b", { class: "sign" }, String(number)),
      h("span", {}, h("b", {}, tray.name), " ", h("span", { class: "temp" }, temp || "—"), ` ${said.join(", ")}`),
    ),
  );
}
