// The words on the sheet's edges: how the bench is as a whole, its title block, and
// above all how old that is.

import { byId, h } from "./dom.js";
import { dateText, secondText } from "./clock.js";
import { figure, lastingText, tempText } from "./units.js";
import { standing } from "./words.js";

/** Return one sentence on all trays. */
export function summary(bench, warmAt) {
  const found = bench.trays.map((tray) => ({ name: tray.name, ...standing(bench, tray, warmAt[tray.name]) }));
  const marked = (...marks) => found.filter((one) => marks.includes(one.mark)).map((one) => one.name);
  const wanted = marked("kept", "under", "over", "unknown").length;
  if (!wanted) return "No tray on a mat is measured.";
  const said = [
    [marked("over"), "too warm"],
    [marked("unknown"), "without a reading"],
    [found.filter((one) => one.mark === "under" && !one.warming).map((one) => one.name), "too cool"],
    [found.filter((one) => one.warming).map((one) => one.name), "warming up"],
  ].filter(([names]) => names.length);
  const kept = marked("kept").length;
  if (!said.length) return kept === 1 ? "The one tray is as wanted." : `All ${counted(kept)} trays are as wanted.`;
  const text = said.map(([names, how]) => grouped(names, how, wanted)).join("; ");
  if (!kept) return `${text}.`;
  return `${text}; ${kept === 1 ? "the other one is" : `the other ${counted(kept)} are`} as wanted.`;
}

function grouped(names, how, all) {
  if (names.length === all && all > 2) return `All ${counted(all)} trays are ${how}`;
  const last = names.length > 1 ? `${names.slice(0, -1).join(", ")} and ${names.at(-1)}` : names[0];
  return `${last} ${names.length > 1 ? "are" : "is"} ${how}`;
}

const NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];

function counted(count) {
  return NUMBERS[count] ?? String(count);
}

/** Return the title block, as on a drawing: room, trust in it, and its date. */
export function titleBlock(bench, { nowMs, zone }) {
  const room = bench.room.map((probe) =>
    probe.temp_c === null ? "no reading" : tempText(probe.temp_c, bench.display_unit),
  );
  const witnesses = bench.witnesses
    .filter((one) => one.value !== null)
    .map((one) => [one.name, `${figure(one.value, 0)} ${WITNESS[one.quantity] ?? ""}`]);
  const troubles = [
    bench.link_up ? null : "the broker is out of reach",
    bench.log_health === "ok" ? null : "the season log cannot be written",
    bench.clock_ok ? null : "the clock is not known to be right",
  ].filter(Boolean);
  return [
    room.length ? cell("room", room.join(", ")) : null,
    ...witnesses.map(([name, text]) => cell(name, text)),
    cell("drawn", `${dateText(nowMs, zone)}, all to one scale`),
    troubles.length ? cell("trouble", troubles.join("; ")) : cell("controller", "looks every " + lastingText(bench.scan_s * 1000)),
  ];
}

const WITNESS = { humidity: "% humidity", moisture: "% moisture", light: "lx" };

function cell(name, text) {
  return h("div", {}, h("dt", {}, name), h("dd", {}, text));
}

let wasLive = null;

/** Say how old the sheet is; a sheet that is not of now is grey, and says so. */
export function showFresh(live) {
  const { bench } = live;
  const fresh = byId("fresh");
  const isLive = live.isLive();
  document.body.classList.toggle("stale", bench !== null && !isLive);
  const notice = byId("notlive");
  if (!bench) {
    fresh.textContent = live.failure ? "the bench does not answer" : "no word from the bench yet";
    return;
  }
  const at = secondText(Date.parse(bench.at), bench.timezone);
  fresh.textContent = isLive ? `as of ${at}, ${agoText(live.ageMs())}` : `not live: as of ${at}`;
  notice.hidden = isLive;
  const text = isLive ? "" : lostText(live, at);
  if (notice.textContent !== text) notice.textContent = text;
  if (wasLive === false && isLive) byId("spoken").textContent = "The bench is heard again.";
  wasLive = isLive;
}

function agoText(ageMs) {
  return ageMs < 2_000 ? "just now" : `${lastingText(ageMs)} ago`;
}

/** Return what is said when what is shown is not of now; to the minute, so as not to nag. */
function lostText(live, at) {
  if (live.stalled()) {
    return `Not live. The controller has made no scan since ${at}: what is drawn is how it was then. Look at the bench.`;
  }
  const minutes = Math.floor(live.ageMs() / 60_000);
  const ago = minutes < 1 ? "less than a minute ago" : `${lastingText(minutes * 60_000)} ago`;
  return `Not live. The bench was last heard ${ago}: what is drawn is how it was at ${at}. What you write down waits on this device.`;
}
