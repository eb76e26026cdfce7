// Trays in words: of each its leading sentence and its batches with their days.

import { batchLines, elsewhere, lookButton } from "./batches.js";
import { h } from "./dom.js";
import { tempText } from "./units.js";
import { dayOf, leading } from "./words.js";

/** Return what is said of each tray below the plan. */
export function trayList(bench, { batches, forecast, advice, kept }, context) {
  const trays = bench.trays.map((tray) =>
    h(
      "article",
      { class: "told", "data-key": tray.name, "aria-label": `Tray ${tray.name}` },
      h(
        "h3",
        {},
        h("button", { type: "button", class: "quiet", "data-do": "tray", "data-tray": tray.name }, tray.name),
        h("span", {}, leading(tray, bench.display_unit, kept[tray.name], dayOf(tray, batches))),
      ),
      lookButton(tray, batches, context.may),
      batchLines(tray, batches, { forecast, advice }, context),
    ),
  );
  return [...trays, ...elsewhere(bench, batches, { forecast, advice }, context)];
}

/** Return what is said of a tray's probes and its medium. */
export function probeLines(tray, unit) {
  const lines = tray.probes.map((probe) => {
    const deep = probe.depth_mm === null ? "" : ` at ${probe.depth_mm} mm`;
    const said = probe.temp_c === null ? (probe.doubt?.sentence ?? "no reading") : tempText(probe.temp_c, unit, 2);
    return h("li", {}, `probe ${probe.name}${deep}: ${said}`);
  });
  const medium = [tray.medium, tray.depth_mm ? `${tray.depth_mm} mm deep` : ""].filter(Boolean);
  if (medium.length) lines.push(h("li", {}, `medium: ${medium.join(", ")}`));
  return [h("ul", { class: "plain under" }, lines)];
}
