// Mats: in one sentence why each heats or does not, what is wanted of it, and the few
// things that are asked of it from afar, each of them confirmed.

import { Refused, wish } from "./api.js";
import { choices, field, openDialog, STAY, taken } from "./dialogs.js";
import { byId, h, show } from "./dom.js";
import { HOUR_MS, whenText } from "./clock.js";
import { energyText, figure, fromShown, tempText, toShown } from "./units.js";
import { heatText, wireState } from "./plan_mats.js";
import { wantedText } from "./words.js";

const LOWEST_C = 5; // what the bench allows; it has the last word
const BELOW_CUTOUT_K = 3;

/** Show what is said of each mat. */
export function showMats(bench, { heatToday, warmAt }, context) {
  const lines = bench.mats.map((mat) =>
    oneMat(mat, { energyWh: heatToday[mat.name], warm: warmText(mat, warmAt) }, bench, context),
  );
  show(byId("mat-list"), lines);
}

/** Return when a mat's trays will be as wanted: that of the last one. */
function warmText(mat, warmAt) {
  const times = mat.trays.map((name) => warmAt[name]).filter(Boolean).sort();
  return times.length ? `warming, ${times.at(-1)}` : null;
}

function oneMat(mat, { energyWh, warm }, bench, { nowMs, zone, may }) {
  const unit = bench.display_unit;
  const energy = energyWh === undefined ? null : `${energyText(energyWh)} today as printed on the mat`;
  return h(
    "article",
    { class: `note ${wireState(mat)}`, "data-key": mat.name, "aria-label": `Mat ${mat.name}` },
    h("h3", {}, mat.title || `mat ${mat.name}`, " ", h("span", { class: "aside" }, heatText(mat))),
    h("p", { class: "why" }, mat.why),
    mat.trip ? h("p", { class: "trip" }, `It was probe ${mat.trip.probe}, at ${whenText(Date.parse(mat.trip.at), nowMs, zone)}.`) : null,
    h(
      "dl",
      { class: "facts" },
      fact("wanted", [wantedText(mat, unit, nowMs, zone), warm].filter(Boolean).join("; ")),
      fact("heat", [mat.duty_text, energy].filter(Boolean).join("; ")),
      mat.step.of > 1 ? fact("step", stepText(mat.step, nowMs, zone)) : null,
      ...mat.surface.map((probe) =>
        fact("mat surface", probe.temp_c === null ? "no reading" : tempText(probe.temp_c, unit)),
      ),
    ),
    may && !mat.watch_only ? h("div", { class: "row" }, buttons(mat)) : null,
  );
}

function fact(name, text) {
  return [h("dt", {}, name), h("dd", {}, text)];
}

function stepText(step, nowMs, zone) {
  const title = step.title ? ` \u201c${step.title}\u201d` : "";
  const ends = step.ends ? `until ${whenText(Date.parse(step.ends), nowMs, zone)}` : step.ends_how;
  return `${step.number} of ${step.of}${title}, ${ends}`;
}

function buttons(mat) {
  const made = (what, text, kind = "") =>
    h("button", { type: "button", class: kind, "data-do": what, "data-mat": mat.name }, text);
  return [
    made("setpoint", "Change what is wanted"),
    mat.setpoint.override ? made("programme", "Back to its programme") : null,
    mat.mode === "tripped" ? made("reset", "Reset it …", "main") : null,
    mat.step.ends_how === "by hand" && mat.step.number < mat.step.of ? made("step", "Next step …") : null,
    mat.enabled ? made("disable", "switch its heat off …", "quiet") : made("enable", "Let it heat again …"),
  ];
}

const path = (mat) => `/v1/mats/${encodeURIComponent(mat.name)}`;

/** Ask for another setpoint: first the figure, then a word on what it does. */
export function askSetpoint(bench, mat, context, done, asked = {}) {
  const unit = bench.display_unit;
  const [low, high] = [LOWEST_C, mat.limits.cutout_c - BELOW_CUTOUT_K];
  const input = h("input", {
    name: "wanted",
    type: "number",
    inputmode: "decimal",
    step: "0.1",
    min: toShown(low, unit).toFixed(1),
    max: toShown(high, unit).toFixed(1),
    value: asked.shown ?? figure(toShown(mat.setpoint.heading_for_c, unit), 1),
    autofocus: true,
  });
  openDialog({
    title: `What is wanted of ${mat.title || mat.name}`,
    body: [
      h("p", {}, `Now ${wantedText(mat, unit, context.nowMs, context.zone)}.`),
      field(`Root zone, in ${unit}`, input, `from ${tempText(low, unit)} to ${tempText(high, unit)}`),
      choices(
        "For how long",
        "hours",
        [["", "until it is changed back"], ["6", "6 hours"], ["12", "12 hours"], ["24", "a day"], ["72", "3 days"]],
        { checked: [asked.hours ?? ""] },
      ),
    ],
    yes: "Go on",
    act: (form) => {
      const shown = Number(input.value);
      if (!input.value.trim() || Number.isNaN(shown)) throw new Error("A temperature is needed");
      const setpointC = fromShown(shown, unit);
      if (setpointC < low - 0.001 || setpointC > high + 0.001) {
        throw new Error(
          `${figure(shown, 1)} ${unit} is out of bounds: from ${tempText(low, unit)} to ${tempText(high, unit)}, which is 3 K below the cut-out`,
        );
      }
      const chosen = { setpointC, shown: input.value, hours: taken(form, "hours")[0] };
      confirmSetpoint(bench, mat, context, done, chosen);
      return STAY;
    },
  });
}

function confirmSetpoint(bench, mat, context, done, chosen) {
  const unit = bench.display_unit;
  const { setpointC, hours } = chosen;
  const until = hours
    ? `until ${whenText(context.nowMs + Number(hours) * HOUR_MS, context.nowMs, context.zone)}`
    : "until somebody changes it back";
  const trays = mat.trays.join(", ");
  const form = openDialog({
    title: "Is that right?",
    body: [
      h(
        "p",
        { class: "leading" },
        `${mat.title || mat.name}: from ${tempText(mat.setpoint.heading_for_c, unit)} to `,
        h("strong", {}, tempText(setpointC, unit)),
        `, ${until}.`,
      ),
      h("p", {}, `It concerns trays ${trays}. The cut-out stays at ${tempText(mat.limits.cutout_c, unit)}.`),
    ],
    yes: `Keep it at ${tempText(setpointC, unit)}`,
    no: "not like this",
    act: async () => {
      const body = { setpoint_c: Math.round(setpointC * 1000) / 1000 };
      if (hours) body.for_s = Number(hours) * 3600;
      const said = await wish("PUT", `${path(mat)}/setpoint`, body);
      done();
      return said;
    },
  });
  form.querySelector(".main").focus();
}

const QUESTIONS = {
  programme: {
    title: "Back to its programme?",
    text: (mat, temp) => `It then heads for ${temp(mat.setpoint.night_c ?? mat.setpoint.programme_c)} or ${temp(mat.setpoint.programme_c)} again, as its programme says.`,
    yes: "Back to its programme",
    ask: (mat) => wish("DELETE", `${path(mat)}/setpoint`),
  },
  reset: {
    title: "Reset it?",
    text: (mat) => `${mat.trip?.sentence ?? ""} Look at the bench before: what made it too hot, or kept its heat from being felt, must be gone.`,
    yes: "I have looked; reset it",
    ask: (mat) => wish("POST", `${path(mat)}/reset`, {}),
  },
  step: {
    title: "End this step?",
    text: (mat) => `Step ${mat.step.number} of ${mat.step.of} ends, and the next one begins.`,
    yes: "Begin the next step",
    ask: (mat) => wish("POST", `${path(mat)}/step`, {}),
  },
  disable: {
    title: "Switch its heat off?",
    text: (mat) => `Trays ${mat.trays.join(", ")} go cold, until somebody lets it heat again. For hands on the bench there is hold, which ends by itself.`,
    yes: "Switch its heat off",
    ask: (mat) => wish("PUT", `${path(mat)}/enabled`, { enabled: false }),
  },
  enable: {
    title: "Let it heat again?",
    text: (mat) => `It then heats when it is allowed to, for ${mat.trays.join(", ")}.`,
    yes: "Let it heat again",
    ask: (mat) => wish("PUT", `${path(mat)}/enabled`, { enabled: true }),
  },
};

/** Ask whether something shall be done to a mat, and do it. */
export function askMat(what, bench, mat, done) {
  const { title, text, yes, ask } = QUESTIONS[what];
  const temp = (tempC) => tempText(tempC, bench.display_unit);
  openDialog({
    title,
    body: [h("p", { class: "leading" }, mat.title || mat.name), h("p", {}, text(mat, temp))],
    yes,
    act: async () => {
      const said = await ask(mat);
      done();
      return said;
    },
  });
}

/** Ask for a hold of some mats, or end it. */
export function askHold(bench, context, done) {
  const mats = bench.mats.filter((mat) => !mat.watch_only);
  const held = mats.filter((mat) => mat.hold_until !== null);
  if (held.length) {
    endHold(held, context, done);
    return;
  }
  openDialog({
    title: "Hands on the bench",
    body: [
      h("p", {}, "Heat is off for so long and comes back by itself. Nothing is taken for a fault meanwhile."),
      choices("For how long", "minutes", [["5", "5 min"], ["15", "15 min"], ["30", "30 min"], ["60", "1 hour"], ["120", "2 hours"]], { checked: ["15"] }),
      mats.length > 1
        ? choices("Which mats", "mats", mats.map((mat) => [mat.name, mat.title || mat.name]), { many: true, checked: mats.map((mat) => mat.name) })
        : null,
    ],
    yes: "Hold",
    act: async (form) => {
      const names = mats.length > 1 ? taken(form, "mats") : mats.map((mat) => mat.name);
      if (!names.length) throw new Error("No mat is chosen");
      const for_min = Number(taken(form, "minutes")[0]);
      await holdAll(mats.filter((mat) => names.includes(mat.name)), for_min);
      done();
      return `Held for ${for_min} minutes`;
    },
  });
}

function endHold(held, { nowMs, zone }, done) {
  const until = whenText(Date.parse(held[0].hold_until), nowMs, zone);
  openDialog({
    title: "End the hold?",
    body: [h("p", {}, `${held.map((mat) => mat.title || mat.name).join(" and ")}: held until ${until}. Heat comes back with the next good readings.`)],
    yes: "Hands are off; end it",
    act: async () => {
      await holdAll(held, 0);
      done();
      return "The hold has ended";
    },
  });
}

/** Hold each mat; say of which the bench did not do it. */
async function holdAll(mats, for_min) {
  const refused = [];
  for (const mat of mats) {
    try {
      await wish("POST", `${path(mat)}/hold`, { for_min });
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      refused.push(`${mat.title || mat.name}: ${error.message}`);
    }
  }
  if (refused.length) throw new Error(refused.join("; "));
}
