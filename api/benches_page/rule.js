// How far trays are from what is wanted of them: bars on a rule, all benches to one
// scale. The same stands in words beside it. Pure but for the drawing.

import { s } from "./dom.js";

const WIDE = 240;
const HIGH = 40;
const FOOT = 34;
const MOST_K = 6;
const NEAR_K = 1;
const APART = 30; // nearer than this, names stand as one
const PER_K = (WIDE / 2 - 12) / (MOST_K + 0.5);

/** Return where a difference stands on the rule, and whether it is beyond its end. */
export function placeOf(offK) {
  const beyond = Math.abs(offK) > MOST_K;
  const shown = beyond ? Math.sign(offK) * (MOST_K + 0.5) : offK;
  return { x: Math.round((WIDE / 2 + shown * PER_K) * 10) / 10, beyond };
}

/** Return names of trays outside of the bracket, those that are close as one. */
export function namesAt(bars) {
  const found = [];
  for (const bar of bars.filter((one) => one.outside)) {
    const last = found.at(-1);
    if (last && bar.x - last.xs.at(-1) < APART) {
      last.xs.push(bar.x);
      last.names.push(bar.name);
    } else found.push({ xs: [bar.x], names: [bar.name] });
  }
  let free = 0; // from here on no name stands yet
  return found.map(({ xs, names }) => {
    const text = names.length > 3 ? `${names[0]} +${names.length - 1}` : names.join(" ");
    const half = text.length * 3.6;
    const x = Math.min(WIDE - half, Math.max(free + half, (xs[0] + xs.at(-1)) / 2));
    free = x + half + 6;
    return { x, text };
  });
}

/** Return the bars of trays, from the coolest to the warmest. */
export function barsOf(trays) {
  return trays
    .filter((tray) => tray.temp_c !== null && tray.wanted_c !== null)
    .map((tray) => {
      const offK = tray.temp_c - tray.wanted_c;
      return { name: tray.name, outside: Math.abs(offK) > NEAR_K, offK, ...placeOf(offK) };
    })
    .sort((a, b) => a.offK - b.offK);
}

/** Return the drawing, or null where there is nothing to draw. */
export function rule(trays) {
  const bars = barsOf(trays);
  if (!bars.length) return null;
  const [left, right] = [placeOf(-NEAR_K).x, placeOf(NEAR_K).x];
  return s(
    "svg",
    { class: "rule", viewBox: `0 0 ${WIDE} ${HIGH}`, "aria-hidden": "true", focusable: "false" },
    s("path", { class: "line", d: `M6 ${FOOT}H${WIDE - 6}` }),
    s("path", { class: "bracket", d: `M${left} ${FOOT - 5}V${HIGH - 1}H${right}V${FOOT - 5}` }),
    bars.map(bar),
    namesAt(bars).map(({ x, text }) => s("text", { x, y: 12, "text-anchor": "middle" }, text)),
  );
}

function bar({ x, beyond, outside, offK }) {
  if (!beyond) return s("path", { class: outside ? "bar outside" : "bar", d: `M${x} ${FOOT}V${outside ? 17 : 22}` });
  const tip = x + Math.sign(offK) * 5;
  return s("path", { class: "bar outside", d: `M${x} 18L${tip} 25L${x} 32` });
}
