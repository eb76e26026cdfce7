// Asking the bench. Every answer that is no success becomes a Refused with the
// sentence that the bench said; no answer at all becomes an Unheard.

const ANSWER_WITHIN_MS = 12_000;
const PHOTO_WITHIN_MS = 125_000; // longer than the bench waits for one
const LOG_READERS = 2; // the bench reads its log for few at once

let csrf = null;
let onLoggedOut = () => {};

/** The bench answered, and did not do it. */
export class Refused extends Error {
  constructor(status, sentence, faults = []) {
    super(sentence);
    this.status = status;
    this.faults = faults;
  }
}

/** No answer came: nobody knows whether the bench heard. */
export class Unheard extends Error {}

export function useCsrf(word) {
  csrf = word;
}

export function whenLoggedOut(told) {
  onLoggedOut = told;
}

/** Ask for something; return its JSON. */
export function get(path, options = {}) {
  return asked("GET", path, undefined, options);
}

/** Ask the bench to do or write something; return its JSON, or null. */
export function send(method, path, body) {
  return asked(method, path, body, {});
}

/** Send a picture; return the bench's JSON. */
export function sendPicture(path, picture) {
  return asked("POST", path, picture, {});
}

async function asked(method, path, body, { signal, quiet = false }) {
  const answer = await heard(method, path, body, signal);
  if (answer.ok) return answer.status === 204 ? null : whole(answer, signal);
  if (answer.status === 401 && !quiet && path !== "/v1/session") onLoggedOut();
  const problem = await problemOf(answer);
  throw new Refused(answer.status, problem.detail || problem.title, problem.errors);
}

async function heard(method, path, body, signal) {
  const headers = {};
  if (method !== "GET" && csrf) headers["X-CSRF-Token"] = csrf;
  const picture = body instanceof Blob;
  if (method !== "GET" && method !== "DELETE") headers["Content-Type"] = picture ? body.type : "application/json";
  const waiting = AbortSignal.timeout(picture ? PHOTO_WITHIN_MS : ANSWER_WITHIN_MS);
  try {
    return await fetch(path, {
      method,
      headers,
      body: body === undefined || picture ? body : JSON.stringify(body),
      signal: signal ? AbortSignal.any([signal, waiting]) : waiting,
      cache: "no-store",
    });
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Unheard("the bench does not answer");
  }
}

/** Return what an answer says. One that breaks off tells nothing: it may have been done. */
async function whole(answer, signal) {
  try {
    return await answer.json();
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Unheard("the answer of the bench broke off");
  }
}

async function problemOf(answer) {
  const none = { title: `the bench answered ${answer.status}` };
  try {
    return (await answer.json()) ?? none;
  } catch {
    return none;
  }
}

// ------------------------------------------------------------------- the log

const waiting = [];
let reading = 0;

/**
 * Ask for something that is read from the season log: few at once, in order.
 * @param options first: before what else waits, since somebody looks at it now.
 */
export async function getLogged(path, options = {}) {
  if (reading >= LOG_READERS) {
    await new Promise((go) => (options.first ? waiting.unshift(go) : waiting.push(go)));
  }
  reading += 1;
  try {
    return await get(path, options);
  } finally {
    reading -= 1;
    waiting.shift()?.();
  }
}

// -------------------------------------------------------------------- wishes

const DECIDED_WITHIN_MS = 30_000;

/**
 * Ask for something that the next scan decides; return its sentence.
 * @throws {Refused} The bench did not do it.
 */
export async function wish(method, path, body) {
  const { href } = await send(method, path, body);
  const until = performance.now() + DECIDED_WITHIN_MS;
  while (performance.now() < until) {
    const { status, sentence } = await get(href);
    if (status === "accepted") return sentence;
    if (status === "refused") throw new Refused(409, sentence);
    await new Promise((go) => setTimeout(go, 300));
  }
  throw new Unheard("the bench took the wish and has not said yet what became of it");
}
