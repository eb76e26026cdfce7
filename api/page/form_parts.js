// Parts that larger forms are made of, and reading them again: words, numbers, counts
// with buttons for wet fingers, days, times, and who. No record is known here.

import { choices, field, openDialog, taken } from "./dialogs.js";
import { fieldOf, ofField } from "./clock.js";
import { h } from "./dom.js";
import { lastWho } from "./event_form.js";

const MINUTE_MS = 60_000;

export function words(label, name, { hint, value = "" } = {}) {
  return field(label, h("input", { name, type: "text", maxlength: "120", autocomplete: "off", value }), hint);
}

export function longWords(label, name, { hint, value = "" } = {}) {
  return field(label, h("textarea", { name, rows: "2", maxlength: "2000" }, value), hint);
}

export function number(label, name, { hint, value = "", least = "0" } = {}) {
  return field(label, h("input", { name, type: "number", inputmode: "decimal", min: least, step: "any", value }), hint);
}

export function day(label, name, { hint, value = "" } = {}) {
  return field(label, h("input", { name, type: "date", value }), hint);
}

export function who(value = lastWho()) {
  return field("Who", h("input", { name: "who", type: "text", maxlength: "60", value, autocomplete: "nickname" }));
}

/** Return parts side by side. */
export function pair(...parts) {
  return h("div", { class: "pair" }, parts);
}

/** Return parts that belong together under a name, and are folded until they are wanted. */
export function folded(title, said, parts, { open = false } = {}) {
  return h("details", { class: "fold", open }, h("summary", {}, title, said ? h("span", { class: "aside" }, said) : null), parts);
}

/** Return a count, with a button below and above it. Keys need them not: arrows count, too. */
export function count(label, name, { hint, value = "" } = {}) {
  const id = `f-${name}`;
  const described = hint ? `${id}-hint` : null;
  const input = h("input", { id, name, type: "number", inputmode: "numeric", min: "0", step: "1", value, "aria-describedby": described });
  const by = (step, sign, word) => {
    const button = h("button", { type: "button", tabindex: "-1", "aria-label": `${word}: ${label}` }, sign);
    button.addEventListener("click", () => {
      input.value = String(Math.max(0, (Number(input.value) || 0) + step));
      input.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return button;
  };
  return h(
    "div",
    { class: "field" },
    h("label", { for: id }, label),
    h("div", { class: "count" }, by(-1, "\u2212", "one less"), input, by(1, "+", "one more")),
    hint ? h("p", { class: "hint", id: described }, hint) : null,
  );
}

/** Return a button that takes a record back, after a second word. */
export function takeBack(text, { title, words, yes = "It was a mistake", act }) {
  const button = h("button", { type: "button", class: "quiet" }, text);
  button.addEventListener("click", () => openDialog({ title, body: [h("p", {}, words)], yes, no: "keep it", act }));
  return h("p", {}, button);
}

// -------------------------------------------------------------------- times

/** Return the question when something was: just now, or at a time. */
export function when(legend, { nowMs, zone, atMs = null }) {
  const at = h("input", { name: "at", type: "datetime-local", value: fieldOf(atMs ?? nowMs(), zone) });
  return [
    atMs === null ? choices(legend, "when", [["now", "just now"], ["at", "at …"]], { checked: ["now"] }) : null,
    h("div", { "data-name": "at", hidden: atMs === null }, field(`${atMs === null ? "At" : legend} (the bench\u2019s time, ${zone})`, at)),
  ];
}

/** Show the field for a time where "just now" is not meant. */
export function adaptWhen(form) {
  form.addEventListener("change", () => {
    if (taken(form, "when").length) form.querySelector('[data-name="at"]').hidden = taken(form, "when")[0] !== "at";
  });
}

/** Return when it was, in UTC; beforeMs: as it was told before, which the field shows to the minute. */
export function whenOf(form, openedMs, zone, beforeMs = null) {
  const justNow = taken(form, "when")[0] === "now";
  const told = form.elements.at.value;
  if (beforeMs !== null && told === fieldOf(beforeMs, zone)) return new Date(beforeMs).toISOString();
  const atMs = justNow ? openedMs : ofField(told, zone);
  if (Number.isNaN(atMs)) throw new Error("When was it? A day and a time are needed");
  if (beforeMs === null || Math.abs(atMs - beforeMs) >= MINUTE_MS) return new Date(atMs).toISOString();
  return new Date(beforeMs).toISOString();
}

// ------------------------------------------------------------------- reading

/** Return a field of a form; null: it has none, or it is not shown. */
export function fieldIn(form, name) {
  const input = form.querySelector(`[name="${CSS.escape(name)}"]`);
  return input && !input.closest("[hidden]") ? input : null;
}

export function one(form, name, question) {
  const [value] = taken(form, name);
  if (value === undefined) throw new Error(question);
  return value;
}

export function textIn(form, name) {
  return fieldIn(form, name)?.value.trim() ?? "";
}

export function numberIn(form, name) {
  const input = fieldIn(form, name);
  if (!input) return null;
  if (input.validity.badInput) throw new Error(`${input.labels[0].textContent}: a number is needed`);
  return input.value.trim() ? Number(input.value) : null;
}

/** Return a count; empty: 0. */
export function countIn(form, name) {
  const found = numberIn(form, name) ?? 0;
  if (Number.isInteger(found) && found >= 0) return found;
  throw new Error(`${fieldIn(form, name).labels[0].textContent}: a whole number from 0 is needed`);
}
