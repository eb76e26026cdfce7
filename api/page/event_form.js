// Telling what was done at the bench: what, where, when. The same form corrects what
// was told before. Without a connection it waits on this device.

import { choices, closeDialog, field, openDialog, taken } from "./dialogs.js";
import { announce, h } from "./dom.js";
import { fieldOf, ofField } from "./clock.js";
import { withdraw } from "./diary.js";
import { photoField, photoOf } from "./photos.js";
import { change, write } from "./queue.js";
import { EVENTS, eventText } from "./words.js";

const MINUTE_MS = 60_000;
const WITH_WATER = ["watered", "misted"];
const WITHOUT_PLACE = ["note", "photo"];
const WHO = "bottomheat.who";

/** Return who used this device last, as they called themselves. */
export function lastWho() {
  try {
    return localStorage.getItem(WHO) ?? "";
  } catch {
    return "";
  }
}

/** Keep who uses this device, to be offered the next time. */
export function keepWho(who) {
  try {
    localStorage.setItem(WHO, who);
  } catch {
    // It is asked for again the next time.
  }
}

/** Open the form; event: one to be corrected. */
export function askEvent(bench, { nowMs, zone, tray }, done, event = null) {
  const parts = partsOf(bench, event, { nowMs, zone, tray });
  const form = openDialog({
    title: event ? "Put it right" : "What was done?",
    body: Object.values(parts),
    yes: event ? "Correct it" : "Write it down",
    act: async () => {
      const photo = shown(form, "photo") ? await photoOf(form) : null;
      const body = bodyOf(form, zone, nowMs, { photo, before: event?.photo ?? "" });
      keepWho(body.who);
      const said = event ? await correct(event, body, photo, nowMs) : await tell(body, photo);
      done();
      return said;
    },
  });
  if (event) form.querySelector(".ends").before(mistake(event, done));
  const adapt = () => adaptTo(form, taken(form, "kind")[0]);
  form.addEventListener("change", adapt);
  adapt();
}

function partsOf(bench, event, { nowMs, zone, tray }) {
  const trays = bench.trays.map((one) => [one.name, one.name]);
  const mats = bench.mats.map((one) => [one.name, `all on ${one.name}`]);
  const probes = bench.trays.flatMap((one) => one.probes.map((probe) => [probe.name, `${probe.name} (in ${one.name})`]));
  const value = (name) => event?.[name] ?? "";
  const number = (name, unit) =>
    h("input", { name, type: "number", inputmode: "decimal", min: "0", step: "any", value: value(name), "data-unit": unit });
  return {
    kind: choices("What", "kind", Object.entries(EVENTS), { checked: [event?.kind ?? "watered"] }),
    trays: choices("Which trays", "trays", trays, { many: true, checked: event?.trays ?? (tray ? [tray] : []) }),
    mats: choices("Or the whole mat", "mats", mats, { many: true, checked: event?.mats ?? [] }),
    probes: choices("Which probes", "probes", probes, { many: true, checked: event?.probes ?? [] }),
    water: h(
      "div",
      { class: "pair", "data-name": "water" },
      field("Water, all in all [ml]", number("water_ml", "ml")),
      field("or weight before [g]", number("weight_before_g", "g")),
      field("and after [g]", number("weight_after_g", "g")),
    ),
    photo: h("div", { "data-name": "photo" }, photoField(event?.photo ? "Another one takes the place of the one before." : "It is sent to the bench, smaller, and without the place where it was taken.")),
    text: field("In words", h("textarea", { name: "text", rows: "2" }, value("text"))),
    when: event ? null : choices("When", "ago", [["0", "just now"], ["10", "10 min ago"], ["60", "an hour ago"], ["at", "at …"]], { checked: ["0"] }),
    at: h("div", { "data-name": "at" }, field(`At (the bench\u2019s time, ${zone})`, h("input", { name: "at", type: "datetime-local", value: fieldOf(event ? Date.parse(event.at) : nowMs(), zone) }))),
    who: field("Who", h("input", { name: "who", type: "text", maxlength: "60", value: event ? event.who : lastWho(), autocomplete: "nickname" })),
  };
}

/** Show the fields that belong to a kind. */
function adaptTo(form, kind) {
  const part = (name) => form.querySelector(`[data-name="${name}"]`);
  part("water").hidden = !WITH_WATER.includes(kind);
  part("photo").hidden = kind !== "photo";
  part("probes").hidden = !["probe-moved", "swapped"].includes(kind);
  part("trays").hidden = kind === "probe-moved";
  part("mats").hidden = ["probe-moved", "swapped"].includes(kind);
  const ago = taken(form, "ago")[0];
  part("at").hidden = ago !== undefined && ago !== "at";
}

function shown(form, name) {
  return !form.querySelector(`[data-name="${name}"]`).hidden;
}

/** Return what was told; photo: the one that goes with it, before: the name of the one it has. */
function bodyOf(form, zone, nowMs, { photo, before }) {
  const kind = taken(form, "kind")[0];
  const has = (name) => shown(form, name);
  const number = (name) => {
    const text = form.elements[name].value.trim();
    return has("water") && text ? Number(text) : null;
  };
  const body = {
    kind,
    at: new Date(whenOf(form, zone, nowMs)).toISOString(),
    who: form.elements.who.value.trim(),
    trays: has("trays") ? taken(form, "trays") : [],
    mats: has("mats") ? taken(form, "mats") : [],
    probes: has("probes") ? taken(form, "probes") : [],
    water_ml: number("water_ml"),
    weight_before_g: number("weight_before_g"),
    weight_after_g: number("weight_after_g"),
    photo: before,
    text: form.elements.text.value.trim(),
  };
  check(body, photo !== null || before !== "");
  return body;
}

function whenOf(form, zone, nowMs) {
  const ago = taken(form, "ago")[0];
  if (ago !== undefined && ago !== "at") return nowMs() - Number(ago) * MINUTE_MS;
  const atMs = ofField(form.elements.at.value, zone);
  if (Number.isNaN(atMs)) throw new Error("When was it? A day and a time are needed");
  return atMs;
}

/** Hold it to the rules that can be told here: it may have to wait for the bench. */
function check(body, hasPhoto) {
  const { kind, trays, mats, probes } = body;
  const named = trays.length + mats.length > 0;
  if (kind === "swapped" && trays.length !== 2 && probes.length !== 2) {
    throw new Error("Which two trays, or which two probes, were swapped?");
  }
  if (kind === "probe-moved" && !probes.length) throw new Error("Which probe was moved?");
  if (kind === "note" && !body.text) throw new Error("What is to be noted?");
  if (kind === "photo" && !hasPhoto) throw new Error("Which photo is it? Take one, or choose a file");
  if (!named && !["swapped", "probe-moved", ...WITHOUT_PLACE].includes(kind)) {
    throw new Error("Which trays, or which mat?");
  }
  const { water_ml: water, weight_before_g: before, weight_after_g: after } = body;
  if (water !== null && (before !== null || after !== null)) {
    throw new Error("Give the water, or the weight before and after, not both");
  }
  if ((before === null) !== (after === null)) throw new Error("Both weights are needed");
  if (before !== null && after < before) throw new Error("It weighs less after the water than before");
}

async function tell(body, photo) {
  const title = eventText({ ...body, given_ml: body.water_ml });
  const written = await write("/v1/events", body, title, photo);
  return written ? `Written: ${title}` : `Kept on this device until the bench answers: ${title}`;
}

/** Tell only what is no longer as it was: a minute is all that the field can show. */
async function correct(event, body, photo, nowMs) {
  const changes = Object.fromEntries(
    Object.entries(body).filter(([name, now]) => String(now ?? "") !== String(event[name] ?? "")),
  );
  if (Math.abs(Date.parse(body.at) - Date.parse(event.at)) < MINUTE_MS) delete changes.at;
  if (!Object.keys(changes).length && !photo) return "Nothing was told otherwise";
  const title = `put right: ${eventText({ ...body, given_ml: body.water_ml })}`;
  const written = await change(event.href, changes, title, nowMs(), photo);
  return written ? "It is put right; what was told before stays in the log" : `Kept on this device until the bench answers: ${title}`;
}

function mistake(event, done) {
  const button = h("button", { type: "button", class: "quiet" }, "It was told by mistake");
  button.addEventListener("click", async () => {
    await withdraw(event);
    closeDialog();
    announce("It counts no longer, and stays in the log");
    done();
  });
  return h("p", {}, button);
}
