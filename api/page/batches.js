// Batches of a tray: how long they stand there, when they may have rooted, and looks
// at them. One tap says that a container was looked at; exceptions follow by code.

import { get, getLogged, Refused, send } from "./api.js";
import { choices, field, openDialog, taken } from "./dialogs.js";
import { byId, h, s, show } from "./dom.js";
import { adviceLines } from "./due.js";
import { DAY_MS, dayText, plainDay } from "./clock.js";
import { photoField, photoOf, sendPhoto } from "./photos.js";
import { write } from "./queue.js";
import { shareText } from "./units.js";
import { batchName } from "./words.js";

export const NO_DATE = "no date yet: no source and no own batches";

/** Return the open batches, and the forecast where the bench makes one. */
export async function fetchBatches() {
  const { batches } = await get("/v1/batches?open=true");
  return batches;
}

export async function fetchForecast() {
  try {
    const found = await getLogged("/v1/forecast");
    return new Map(found.batches.map((one) => [one.code, one]));
  } catch (error) {
    if (error instanceof Refused) return new Map();
    throw error;
  }
}

/** Return the batches that stand in a tray, each with its days. */
export function batchLines(tray, batches, { forecast, advice }, context) {
  const here = batches.filter((one) => one.tray === tray.name);
  return here.length
    ? h("ul", { class: "batches" }, here.map((one) => oneBatch(one, forecast.get(one.code), advice.get(one.code), context)))
    : h("p", { class: "under" }, "no batch is told of it");
}

/** Return the open batches that stand in no tray of the bench, those not stuck yet apart. */
export function elsewhere(bench, batches, { forecast, advice }, context) {
  const there = batches.filter((one) => !bench.trays.some(({ name }) => name === one.tray));
  const grouped = (key, title, some) => {
    if (!some.length) return null;
    const id = `${key.replaceAll(" ", "-")}-h`;
    const lines = some.map((one) => oneBatch(one, forecast.get(one.code), advice.get(one.code), context));
    return h("article", { class: "told", "data-key": key, "aria-labelledby": id }, h("h3", { id }, title), h("ul", { class: "batches" }, lines));
  };
  return [
    grouped("not in a tray", "In no tray of the bench", there.filter((one) => one.state !== "not stuck")),
    grouped("not stuck", "Has its label, not stuck yet", there.filter((one) => one.state === "not stuck")),
  ];
}

/** Show the batches that are closed, the newest first, when somebody unfolds them. */
export async function showClosed() {
  const { batches } = await get("/v1/batches");
  const closed = batches.filter(({ state }) => state === "closed").reverse();
  const lines = closed.map((one) => h("li", { "data-key": one.code }, batchHead(one), batchDeeds(one, false)));
  show(byId("closed-list"), lines.length ? lines : [h("li", { class: "under" }, "None is closed.")]);
}

function batchHead({ code, batch }, aside = null) {
  const count = batch.count === null ? "" : `${batch.count} `;
  return h("p", { class: "batch-name" }, h("code", {}, code), ` ${count}${batchName(batch)}`, aside ? h("span", { class: "aside" }, aside) : null);
}

/** Return the one tap that says a tray was looked at. */
export function lookButton(tray, batches, may) {
  const here = batches.filter((one) => one.tray === tray.name && one.state === "stuck");
  if (!may || !here.length) return null;
  const text = `Looked at ${tray.name}: tops fine`;
  return h("button", { type: "button", "data-do": "look", "data-tray": tray.name }, text);
}

function oneBatch(one, foretold, advice, { nowMs, zone, may }) {
  const { batch, code, days_since_stuck: days } = one;
  const stuck = days === null ? batch.storage || "not stuck yet" : `stuck ${dayText(Date.parse(batch.stuck_at), zone)}, day ${Math.floor(days) + 1}`;
  return h(
    "li",
    { "data-key": code },
    batchHead(one, stuck),
    days === null ? null : dateBar(one, foretold, nowMs, zone),
    days === null ? null : h("p", { class: "under" }, dateText(foretold)),
    adviceLines(advice),
    batchDeeds(one, may),
  );
}

function batchDeeds({ code, state, batch }, may) {
  const deed = (what, word, kind = "quiet") => h("button", { type: "button", class: kind, "data-do": what, "data-batch": code, "aria-label": `${word} ${code} ${batchName(batch)}` }, word);
  const stuck = may && state === "stuck";
  return h(
    "p",
    { class: "deeds" },
    stuck ? deed("look-closely", "look closely") : null,
    may && state === "not stuck" ? deed("stick-labelled", "stick it", "") : null,
    stuck ? deed("move", "move") : null,
    stuck ? deed("plants", "potted, given …") : null,
    may ? deed("correct-batch", "correct") : null,
    may ? deed("close", "close") : null,
    deed("record", "record"),
  );
}

/** Return in words when half of those that will root have rooted. */
export function dateText(foretold) {
  const dates = foretold?.half_rooted;
  if (!dates) return foretold?.why_none || NO_DATE;
  const to = dates.to_90 ? plainDay(dates.to_90) : "later than can be told";
  const share = foretold.share_rooted;
  const roots = share ? `; ${shareText(share.expected)} are expected to root` : "";
  return `half of those that will root have rooted between ${plainDay(dates.from_90)} and ${to} (nine times in ten), most likely about ${plainDay(dates.median)}${roots}`;
}

const BAR = { w: 300, h: 34, y: 14 };

/** Draw a batch's days: a line up to now, and a bracket about the days in question. */
function dateBar(one, foretold, nowMs, zone) {
  const stuckMs = Date.parse(one.batch.stuck_at);
  const dates = foretold?.half_rooted;
  const day = (text) => Date.parse(`${text}T12:00:00Z`);
  const latestMs = dates ? day(dates.to_90 ?? dates.to_50 ?? dates.median) : 0;
  const endMs = Math.max(nowMs, latestMs, stuckMs + 7 * DAY_MS) + 2 * DAY_MS;
  const x = (atMs) => Math.round(((atMs - stuckMs) / (endMs - stuckMs)) * (BAR.w - 8) * 10) / 10 + 4;
  const { y } = BAR;
  const parts = [
    s("path", { class: "way", d: `M4 ${y}H${BAR.w - 4}` }),
    s("path", { class: "gone", d: `M4 ${y - 5}v10M4 ${y}H${x(nowMs)}m0 -6v12` }),
    s("text", { x: Math.min(x(nowMs), BAR.w - 26), y: y + 18, "text-anchor": "middle" }, "today"),
  ];
  if (dates) {
    const [from, to] = [x(day(dates.from_90)), dates.to_90 ? x(day(dates.to_90)) : BAR.w - 2];
    const close = dates.to_90 ? `M${to - 5} ${y - 9}h5v18h-5` : "";
    parts.push(s("path", { class: "bracket", d: `M${from + 5} ${y - 9}h-5v18h5${close}` }));
    if (dates.to_50) {
      const inner = x(day(dates.from_50));
      parts.push(s("rect", { class: "likely", x: inner, y: y - 5, width: Math.max(2, x(day(dates.to_50)) - inner), height: 10 }));
    }
    parts.push(s("path", { class: "median", d: `M${x(day(dates.median))} ${y - 9}v18` }));
  }
  return s("svg", { class: "bar", viewBox: `0 0 ${BAR.w} ${BAR.h}`, role: "img", "aria-label": `Days of ${one.code}: ${dateText(foretold)}` }, parts);
}

// --------------------------------------------------------------------- looks

/**
 * Write that all batches of a tray were looked at and their tops are fine; then ask
 * for exceptions.
 */
export async function lookAt(tray, batches, { at, who }, done) {
  const here = batches.filter((one) => one.tray === tray.name && one.state === "stuck");
  if (!here.length) throw new Error("no batch that is stuck stands in this tray");
  const looks = [];
  for (const one of here) {
    const body = { how: "tops-only", looked_at: one.batch.count ?? 0, fine: true, at, who };
    const path = `/v1/batches/${one.code}/looks`;
    const written = await write(path, body, `look at ${one.code}`);
    looks.push({ one, written, body });
  }
  done();
  askExceptions(tray, looks, done);
}

const SEEN = [
  ["tops.leafed", "in leaf"],
  ["tops.swelling", "buds swell"],
  ["tops.wilted", "wilted"],
  ["dead.mould", "dead: mould"],
  ["dead.rotted_base", "dead: base rotted"],
  ["dead.shrivelled", "dead: shrivelled"],
  ["dead.missing", "missing"],
];

const UNWELL = /wilted|^dead/; // what is fine has none of it

function askExceptions(tray, looks, done) {
  const codes = looks.filter(({ written }) => written !== null);
  if (!codes.length) {
    openDialog({
      title: "Kept, and sent later",
      body: [h("p", {}, "The bench cannot be heard just now. The look waits on this device; tell exceptions when it has been sent.")],
      no: "good",
    });
    return;
  }
  const count = h("input", { name: "count", type: "number", inputmode: "numeric", min: "1", step: "1", value: "1" });
  const note = h("input", { name: "note", type: "text", maxlength: "200", autocomplete: "off" });
  openDialog({
    title: `${tray.name}: written, tops fine`,
    body: [
      h("p", {}, "Was one of them not? Say which label, what, and on how many. Otherwise close this."),
      choices("Label", "code", codes.map(({ one }) => [one.code, `${one.code} ${batchName(one.batch)}`]), { checked: codes.length === 1 ? [codes[0].one.code] : [] }),
      choices("What", "seen", SEEN),
      field("On how many", count),
      field("In words", note),
      photoField("Of what was seen; it may be left out."),
    ],
    yes: "Write the exception",
    no: "all fine",
    act: async (form) => {
      const [code] = taken(form, "code");
      const [seen] = taken(form, "seen");
      if (!code) throw new Error("Which label is it?");
      const photo = await photoOf(form);
      if (!seen && !note.value.trim() && !photo) throw new Error("What was seen?");
      const look = looks.find(({ one }) => one.code === code);
      await correctLook(look, seen, Number(count.value), note.value.trim(), photo);
      done();
      return `Written of ${code}`;
    },
  });
}

/** Put right what was just written of one batch: an exception, added to those before. */
async function correctLook(look, seen, count, note, photo) {
  if (seen && !(Number.isInteger(count) && count >= 1)) throw new Error("On how many must be a whole number from 1");
  const present = look.present ?? {};
  const body = note ? { text: note } : {};
  if (seen) {
    const [track, what] = seen.split(".");
    body[track] = { ...present[track], [what]: count };
    if (UNWELL.test(seen)) body.fine = false;
  }
  if (look.one.batch.count === null) body.looked_at = Math.max(look.body.looked_at, count || 0);
  if (photo) body.photo = await sendPhoto(photo);
  const atMs = Date.parse(look.body.at);
  const own = look.written.looks.find((found) => Date.parse(found.look.at) === atMs);
  look.written = await send("PATCH", own.href, body);
  look.present = { ...present, ...body };
}

