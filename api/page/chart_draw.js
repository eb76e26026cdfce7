// The strip chart on its paper: temperatures above the time axis, heat as a hatched
// row below it, so that neither is taken for the other. From data to elements.

import { whenText } from "./clock.js";
import { s } from "./dom.js";
import { tempAxis, timeTicks } from "./chart_scale.js";
import { figure, toShown } from "./units.js";
import { eventText } from "./words.js";

export const EDGE = { left: 46, right: 10, top: 30, axis: 26, heat: 26, bottom: 6 };

/** Return the sizes of a chart's parts [px]. */
export function frameOf(width, height) {
  const plot = {
    x: EDGE.left,
    y: EDGE.top,
    w: width - EDGE.left - EDGE.right,
    h: height - EDGE.top - EDGE.axis - EDGE.heat - EDGE.bottom,
  };
  return { width, height, plot, heatY: plot.y + plot.h + EDGE.axis };
}

/** Return the elements of a chart. */
export function drawn({ frame, window, data, unit, zone, nowMs }) {
  const { plot } = frame;
  const x = (atMs) => plot.x + ((atMs - window.fromMs) / (window.toMs - window.fromMs)) * plot.w;
  const axis = axisOf(data, unit);
  const y = (tempC) =>
    plot.y + plot.h - ((toShown(tempC, unit) - axis.from) / (axis.to - axis.from)) * plot.h;
  return [
    grid(frame, axis, unit),
    times(frame, x, timeTicks(window, plot.w, zone)),
    s(
      "g",
      { "clip-path": "url(#strip)", "data-key": "curves" },
      data.temps ? curves(data.temps, x, y) : null,
      data.temps ? data.temps.gaps.map((gap) => drawGap(gap, frame, x)) : null,
      data.heat ? setpoints(data.heat, x, y) : null,
    ),
    heatRow(data.heat, frame, x),
    events(data.events ?? [], frame, x, { nowMs, zone }),
    clip(frame),
  ];
}

function clip({ plot }) {
  return s(
    "clipPath",
    { id: "strip", "data-key": "clip" },
    s("rect", { x: plot.x, y: 0, width: plot.w, height: plot.y + plot.h + 90 }),
  );
}

function axisOf({ temps, heat }, unit) {
  const found = [];
  for (const one of temps?.buckets ?? []) found.push(one.least, one.most);
  for (const one of heat?.buckets ?? []) if (one.low !== null) found.push(one.low, one.high);
  if (!found.length) return tempAxis(toShown(15, unit), toShown(25, unit));
  let [least, most] = [Infinity, -Infinity];
  for (const one of found) {
    least = Math.min(least, one);
    most = Math.max(most, one);
  }
  return tempAxis(toShown(least, unit), toShown(most, unit));
}

function grid({ plot }, axis, unit) {
  const span = axis.to - axis.from;
  const lines = axis.ticks.map((tick) => {
    const y = round(plot.y + plot.h - ((tick - axis.from) / span) * plot.h);
    return [
      s("path", { class: "rule", d: `M${plot.x} ${y}h${plot.w}` }),
      s("text", { x: plot.x - 6, y: y + 4, "text-anchor": "end" }, figure(tick, axis.decimals)),
    ];
  });
  const name = s("text", { class: "unit", x: plot.x - 6, y: plot.y - 12, "text-anchor": "end" }, unit);
  return s("g", { class: "grid", "data-key": "grid" }, lines, name);
}

function times({ plot }, x, ticks) {
  const y = plot.y + plot.h;
  return s(
    "g",
    { class: "times", "data-key": "times" },
    s("path", { class: "axis", d: `M${plot.x} ${y}h${plot.w}` }),
    ticks.map(([atMs, text, begins]) => {
      const at = round(x(atMs));
      const tick = begins ? `M${at} ${plot.y}V${y + 8}` : `M${at} ${y}v5`;
      return [
        s("path", { class: begins ? "day" : "tick", d: tick }),
        s("text", { class: begins ? "day" : "", x: at + (begins ? 4 : 0), y: y + 18, "text-anchor": begins ? "start" : "middle" }, text),
      ];
    }),
  );
}

/** Draw least to greatest as a band, the mean as a line; both end where readings end. */
function curves({ buckets, widthMs }, x, y) {
  let band = "";
  let line = "";
  for (const run of runsOf(buckets)) {
    const middle = (one) => round(x(one.atMs + widthMs / 2));
    const upper = run.map((one) => `${middle(one)} ${round(y(one.most))}`);
    const lower = run.map((one) => `${middle(one)} ${round(y(one.least))}`).reverse();
    band += `M${upper.join("L")}L${lower.join("L")}Z`;
    const means = run.map((one) => `${middle(one)} ${round(y(one.mean))}`);
    line += `M${means.join("L")}${run.length === 1 ? "h1" : ""}`;
  }
  return [s("path", { class: "band", d: band }), s("path", { class: "mean", d: line })];
}

/** Return buckets in runs between gaps. */
function runsOf(buckets) {
  const runs = [];
  let run = null;
  for (const one of buckets) {
    if (!run || one.afterGap) runs.push((run = []));
    run.push(one);
  }
  return runs;
}

function drawGap([fromMs, toMs], { plot }, x) {
  const left = round(x(fromMs));
  const right = round(x(toMs));
  const y = plot.y + plot.h - 7;
  const wide = right - left;
  return s(
    "g",
    { class: "gap" },
    s("path", { d: `M${left} ${y - 5}v10M${right} ${y - 5}v10M${left} ${y}H${right}` }),
    wide > 84
      ? s("text", { x: (left + right) / 2, y: y - 8, "text-anchor": "middle" }, "no readings")
      : null,
  );
}

function setpoints({ buckets, widthMs }, x, y) {
  return ["low", "high"].map((which) => {
    let d = "";
    let lastMs = null;
    for (const one of buckets) {
      if (one[which] === null) continue;
      const goesOn = lastMs !== null && one.atMs - lastMs <= widthMs * 1.01;
      d += goesOn ? `V${round(y(one[which]))}` : `M${round(x(one.atMs))} ${round(y(one[which]))}`;
      d += `H${round(x(one.atMs + widthMs))}`;
      lastMs = one.atMs;
    }
    return s("path", { class: "wanted", d });
  });
}

/** Draw heat: hatched as high as it was on for a share of the time. */
function heatRow(heat, { plot, heatY }, x) {
  const bottom = heatY + EDGE.heat - 4;
  const tall = EDGE.heat - 8;
  let on = "";
  let known = "";
  for (const one of heat?.buckets ?? []) {
    const left = Math.max(plot.x, x(one.atMs));
    const right = Math.min(plot.x + plot.w, x(one.atMs + heat.widthMs));
    if (right <= left) continue;
    known += `M${round(left)} ${bottom}H${round(right)}`;
    if (one.share > 0) {
      const h = round(Math.max(1.5, tall * one.share));
      on += `M${round(left)} ${bottom}v${-h}H${round(right)}v${h}Z`;
    }
  }
  return s(
    "g",
    { class: "heat", "data-key": "heat" },
    s("text", { x: plot.x - 6, y: bottom - 3, "text-anchor": "end" }, "heat"),
    s("path", { class: "known", d: known }),
    s("path", { class: "on", d: on }),
  );
}

const LETTERS = {
  watered: "W",
  misted: "m",
  turned: "t",
  swapped: "x",
  moved: "→",
  "probe-moved": "p",
  "cover-on": "C",
  "cover-off": "c",
  "medium-topped-up": "+",
  "mould-removed": "M",
  photo: "f",
  note: "n",
};

function events(found, { plot }, x, { nowMs, zone }) {
  const placed = [];
  for (const event of found) {
    const at = x(Date.parse(event.at));
    const last = placed.at(-1);
    if (last && at - last.at < 13) last.events.push(event);
    else placed.push({ at, events: [event] });
  }
  const marks = placed.map(({ at, events: here }) => {
    const told = here.map((one) => `${whenText(Date.parse(one.at), nowMs, zone)} ${eventText(one)}`);
    const letter = here.length > 1 ? String(here.length) : (LETTERS[here[0].kind] ?? "·");
    const px = round(at);
    return s(
      "g",
      { class: "event" },
      s("title", {}, told.join("\n")),
      s("path", { d: `M${px} ${plot.y - 4}V${plot.y + plot.h}` }),
      s("circle", { cx: px, cy: plot.y - 12, r: 8 }),
      s("text", { x: px, y: plot.y - 8, "text-anchor": "middle" }, letter),
    );
  });
  return s("g", { class: "events", "data-key": "events", "clip-path": "url(#strip)" }, marks);
}

function round(value) {
  return Math.round(value * 10) / 10;
}
