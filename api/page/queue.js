// Records that could not be told yet. They wait on this device and are sent, in
// order, when the bench answers again. Each has its own time to the millisecond:
// where an answer got lost, the bench is asked first whether it has the record
// already, so that nothing is written twice.

import { get, Refused, send, Unheard } from "./api.js";

const KEY = "bottomheat.waiting.";
const LOCK = "bottomheat.sending";
const BUSY_MS = 20_000; // longer than any answer is waited for

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
  stored(KEY + id, null);
}

/**
 * Write a record, now or as soon as the bench answers.
 * @param path Where it is posted.
 * @param body The record; it has its time in `at`.
 * @param title What it is, for people.
 * @returns {Promise<object|null>} The bench's answer; null: it waits.
 * @throws {Refused} The bench will not have it.
 */
export async function write(path, body, title) {
  const entry = { id: newId(), path, body, title, tried: false };
  try {
    return await attempt(entry);
  } catch (error) {
    if (!(error instanceof Later)) throw error;
    return null;
  }
}

function newId() {
  return `${Date.now().toString(36)}-${Math.random().toString(36).slice(2, 10)}`;
}

/** It waits on: nobody answered, or the bench could not just now. */
class Later extends Error {}

/** Send an entry, which is kept until the bench has it or will never have it. */
async function attempt(entry) {
  // Kept first: a page that is closed now has it still.
  keep({ ...entry, tried: true, busyUntil: Date.now() + BUSY_MS });
  let answer;
  try {
    answer = await send("POST", entry.path, entry.body);
  } catch (error) {
    if (waitsOn(error)) {
      const tried = entry.tried || !(error instanceof Refused);
      keep({ ...entry, tried, busyUntil: 0 });
      throw new Later(error.message);
    }
    drop(entry.id);
    throw error;
  }
  drop(entry.id);
  return answer;
}

function waitsOn(error) {
  if (error instanceof Unheard) return true;
  return error instanceof Refused && [401, 408, 429, 502, 503, 504].includes(error.status);
}

/** Send what waits; return the entries that went, and those that were refused. */
export async function sendWaiting() {
  const done = { sent: [], refused: [] };
  if (!due().length || Number(read(LOCK)) > Date.now()) return done;
  stored(LOCK, String(Date.now() + BUSY_MS)); // for other windows of this page
  try {
    for (const entry of due()) await sendOne(entry, done);
  } catch (error) {
    if (!(error instanceof Later)) throw error;
  } finally {
    stored(LOCK, null);
  }
  return done;
}

function due() {
  return waiting().filter((one) => !one.refused && !(one.busyUntil > Date.now()));
}

async function sendOne(entry, done) {
  try {
    if (entry.tried && (await isThere(entry))) drop(entry.id);
    else await attempt(entry);
    done.sent.push(entry);
  } catch (error) {
    if (error instanceof Later) throw error;
    if (waitsOn(error)) throw new Later(error.message);
    const refused = { ...entry, refused: error.message };
    keep(refused); // it stays to be seen until a person takes it away
    done.refused.push(refused);
  }
}

async function isThere({ path, body }) {
  if (path === "/v1/events") {
    const to = new Date(Date.parse(body.at) + 1).toISOString();
    const span = `from=${encodeURIComponent(body.at)}&to=${to}`;
    const { events } = await get(`/v1/events?${span}&withdrawn=true`);
    return events.some((one) => sameEvent(one, body));
  }
  const looks = /^(\/v1\/batches\/[^/]+)\/looks$/.exec(path);
  if (!looks) return false;
  const file = await get(looks[1]);
  return file.looks.some(({ look }) => Date.parse(look.at) === Date.parse(body.at));
}

function sameEvent(found, body) {
  return (
    found.kind === body.kind &&
    Date.parse(found.at) === Date.parse(body.at) &&
    found.trays.join() === (body.trays ?? []).join() &&
    found.text === (body.text ?? "")
  );
}
