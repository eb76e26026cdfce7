// Records that could not be told yet. They wait on this device and are sent, in
// order, when the bench answers again. Each has its own time to the millisecond:
// where an answer got lost, the bench is asked first whether it has the record
// already, so that nothing is written twice. A photo goes before the record that
// names it, and waits with it.

import { get, Refused, send, Unheard } from "./api.js";
import { forgetPhoto, keepPhoto, keptPhoto, sendPhoto } from "./photos.js";

const KEY = "bottomheat.waiting.";
const LOCK = "bottomheat.sending";
const BUSY_MS = 20_000; // longer than any answer is waited for
const BUSY_WITH_PHOTO_MS = 150_000;
const FULL = 507; // no room for photos
const FULL_MS = 600_000; // chosen: so long until it is tried again
const NO_ROOM_HERE = "The bench does not answer, and this device cannot keep the photo: keep it in the camera, and tell it again when the bench answers";

const memory = new Map(); // where a browser keeps nothing for us

function stored(key, text) {
  try {
    if (text === null) localStorage.removeItem(key);
    else localStorage.setItem(key, text);
  } catch {
    if (text === null) memory.delete(key);
    else memory.set(key, text);
  }
}

function read(key) {
  try {
    return localStorage.getItem(key) ?? memory.get(key) ?? null;
  } catch {
    return memory.get(key) ?? null;
  }
}

function keys() {
  try {
    return [...new Set([...Object.keys(localStorage), ...memory.keys()])];
  } catch {
    return [...memory.keys()];
  }
}

/** Return what waits, oldest first. */
export function waiting() {
  return keys()
    .filter((key) => key.startsWith(KEY))
    .sort()
    .map((key) => JSON.parse(read(key) ?? "null"))
    .filter((entry) => entry !== null);
}

function keep(entry) {
  stored(KEY + entry.id, JSON.stringify(entry));
}

/** Take back an entry that the bench will not have, or that is no longer wanted. */
export function drop(id) {
  remove(id);
  forgetPhoto(id);
}

function remove(id) {
  stored(KEY + id, null);
}

/**
 * Write a record, now or as soon as the bench answers.
 * @param path Where it is posted.
 * @param body The record; it has its time in `at`.
 * @param title What it is, for people.
 * @param photo A picture that belongs to it, or null.
 * @returns {Promise<object|null>} The bench's answer; null: it waits.
 * @throws {Refused} The bench will not have it.
 */
export function write(path, body, title, photo = null) {
  return told({ method: "POST", path, body, title, atMs: Date.parse(body.at) }, photo);
}

/**
 * Put a record right, now or as soon as the bench answers. Told twice it is as if told
 * once: what was so before stays in the log.
 * @param path The record's own.
 * @param body What is otherwise than it was told.
 * @param title What it is, for people.
 * @param atMs When it is told, on the bench's clock.
 * @param photo A picture that belongs to it, or null.
 * @returns {Promise<object|null>} The bench's answer; null: it waits.
 * @throws {Refused} The bench will not have it.
 */
export function change(path, body, title, atMs, photo = null) {
  return told({ method: "PATCH", path, body, title, atMs }, photo);
}

async function told(record, photo) {
  const entry = { ...record, id: newId(), tried: false, photo: photo !== null };
  const unkept = photo && (await kept(entry.id, photo)) ? null : photo;
  try {
    return await attempt(entry, unkept);
  } catch (error) {
    if (error instanceof Later) return null;
    if (photo) await forgetPhoto(entry.id); // it is in the form still
    throw error;
  }
}

/** Keep a photo on this device before it is sent; tell whether that was done. */
async function kept(id, photo) {
  try {
    await keepPhoto(id, photo);
    return true;
  } catch {
    return false;
  }
}

const going = new Set(); // entries that this page sends just now
let ordered = false; // whether it sends them in order, so that no other window does

addEventListener("pagehide", ({ persisted }) => {
  if (persisted) return; // a page that may come back goes on
  // A photo that went half the way harms nothing; a record that did may be there.
  for (const entry of waiting()) {
    if (going.has(entry.id) && !entry.tried) keep({ ...entry, busyUntil: 0 });
  }
  if (ordered) stored(LOCK, null);
});

function newId() {
  return `${Date.now().toString(36)}-${Math.random().toString(36).slice(2, 10)}`;
}

/** It waits on: nobody answered, or the bench could not just now. */
class Later extends Error {}

/** Send an entry, which is kept until the bench has it or will never have it. */
async function attempt(entry, unkept = null) {
  let answer;
  going.add(entry.id);
  try {
    if (entry.photo) entry = await withPhotoSent(entry, unkept);
    // Kept first: a page that is closed now has it still.
    keep({ ...entry, tried: true, busyUntil: Date.now() + BUSY_MS });
    answer = await send(entry.method ?? "POST", entry.path, entry.body);
  } catch (error) {
    if (waitsOn(error)) {
      // While its photo is not there, the record was not tried.
      const tried = !entry.photo && (entry.tried || !(error instanceof Refused));
      keep({ ...entry, tried, busyUntil: 0 });
      throw new Later(error.message);
    }
    remove(entry.id);
    throw error;
  } finally {
    going.delete(entry.id);
  }
  remove(entry.id);
  return answer;
}

/** Send an entry's photo; return the entry with its name. Unheard, both wait. */
async function withPhotoSent(entry, unkept) {
  const photo = unkept ?? (await keptPhoto(entry.id));
  if (!photo) throw new Error("its photo is no longer on this device: tell it again, with the photo");
  if (!unkept) keep({ ...entry, busyUntil: Date.now() + BUSY_WITH_PHOTO_MS });
  let name;
  try {
    name = await sendPhoto(photo);
  } catch (error) {
    if (unkept && waitsOn(error)) throw new Error(NO_ROOM_HERE);
    throw error;
  }
  const sent = { ...entry, photo: false, body: { ...entry.body, photo: name } };
  // Busy still: whoever sends what waits must not send it a second time now.
  keep({ ...sent, busyUntil: Date.now() + BUSY_MS });
  await forgetPhoto(entry.id);
  return sent;
}

function waitsOn(error) {
  if (error instanceof Unheard) return true;
  return error instanceof Refused && [401, 408, 429, 502, 503, 504].includes(error.status);
}

/** Send what waits; return the entries that went, and those that were refused. */
export async function sendWaiting() {
  const done = { sent: [], refused: [] };
  if (!due().length || Number(read(LOCK)) > Date.now()) return done;
  ordered = true;
  try {
    for (const entry of due()) {
      const busyMs = entry.photo ? BUSY_WITH_PHOTO_MS : BUSY_MS;
      stored(LOCK, String(Date.now() + busyMs)); // for other windows of this page
      await sendOne(entry, done);
    }
  } catch (error) {
    if (!(error instanceof Later)) throw error;
  } finally {
    ordered = false;
    stored(LOCK, null);
  }
  return done;
}

function due() {
  return waiting().filter((one) => !one.refused && !(one.busyUntil > Date.now()));
}

async function sendOne(entry, done) {
  try {
    if (entry.tried && (await isThere(entry))) remove(entry.id);
    else await attempt(entry);
    done.sent.push(entry);
  } catch (error) {
    if (error instanceof Later) throw error;
    if (waitsOn(error)) throw new Later(error.message);
    if (error.status === FULL) {
      keep({ ...entry, busyUntil: Date.now() + FULL_MS }); // a person makes room for it
      return;
    }
    const refused = { ...entry, refused: error.message };
    keep(refused); // it stays to be seen until a person takes it away
    done.refused.push(refused);
  }
}

async function isThere({ method, path, body }) {
  if (method === "PATCH") return false; // it may be told again
  if (path === "/v1/events") {
    const to = new Date(Date.parse(body.at) + 1).toISOString();
    const span = `from=${encodeURIComponent(body.at)}&to=${to}`;
    const { events } = await get(`/v1/events?${span}&withdrawn=true`);
    return events.some((one) => sameEvent(one, body));
  }
  const told = /^(\/v1\/batches\/[^/]+)\/(looks|move|close|stages)$/.exec(path);
  if (!told) return false;
  const { looks, moves, stages, closing } = await get(told[1]);
  if (told[2] === "close") return sameEnd(closing, body);
  // Of one moment there may be several stages: some potted, some dead.
  if (told[2] === "stages") return stages.some(({ stage }) => sameStage(stage, body));
  const of = told[2] === "looks" ? looks.map(({ look }) => look) : moves.map(({ move }) => move);
  return of.some((one) => sameTime(one, body));
}

function sameTime(found, body) {
  return Date.parse(found.at) === Date.parse(body.at);
}

function sameStage(found, body) {
  return sameTime(found, body) && ["stage", "count", "reason"].every((name) => found[name] === body[name]);
}

/** An end that is put right may have the time of the one before. */
function sameEnd(closing, body) {
  if (body.withdrawn) return closing === null;
  return closing !== null && sameTime(closing, body) && ["outcome", "rooted", "text"].every((name) => closing[name] === body[name]);
}

function sameEvent(found, body) {
  return (
    found.kind === body.kind &&
    sameTime(found, body) &&
    found.trays.join() === (body.trays ?? []).join() &&
    found.text === (body.text ?? "")
  );
}
