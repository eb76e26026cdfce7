// The one dialog of the page: a title, a form, and what becomes of it. Other modules
// give it fields; it keeps the reader's focus where it belongs.

import { Refused, Unheard } from "./api.js";
import { announce, byId, h } from "./dom.js";

/** Return the parts of a form: a field with its name above it. */
export function field(label, input, hint) {
  const id = input.id || `f-${input.name}`;
  input.id = id;
  if (hint) input.setAttribute("aria-describedby", `${id}-hint`);
  return h(
    "div",
    { class: "field" },
    h("label", { for: id }, label),
    input,
    hint ? h("p", { class: "hint", id: `${id}-hint` }, hint) : null,
  );
}

/** Return choices of which one, or some, are taken. */
export function choices(legend, name, options, { many = false, checked = [] } = {}) {
  const inputs = options.map(([value, text]) => {
    const type = many ? "checkbox" : "radio";
    const input = h("input", { type, name, value, checked: checked.includes(value) });
    return h("label", { class: "choice" }, input, h("span", {}, text));
  });
  return h(
    "fieldset",
    { class: "choices", "data-name": name },
    h("legend", {}, legend),
    h("div", { class: "row" }, inputs),
  );
}

/** Return the values of the choices that are taken. */
export function taken(form, name) {
  return [...form.querySelectorAll(`input[name="${name}"]:checked`)].map((one) => one.value);
}

/**
 * Open the dialog.
 * @param title Its heading.
 * @param body What is in the form.
 * @param yes The word on the button that does it.
 * @param act Called with the form; what it throws is shown, and the dialog stays.
 */
export function openDialog({ title, body, yes, act, no = "not now" }) {
  const dialog = byId("dialog");
  const trouble = h("p", { class: "trouble", role: "alert" });
  const form = h(
    "form",
    { method: "dialog", novalidate: true },
    h("h2", { id: "dialog-h", tabindex: "-1", autofocus: !yes }, title),
    body,
    trouble,
    h(
      "div",
      { class: "row ends" },
      no ? h("button", { type: "button", class: "quiet", "data-close": true }, no) : null,
      yes ? h("button", { type: "submit", class: "main" }, yes) : null,
    ),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    submit(dialog, form, trouble, act);
  });
  form.querySelector("[data-close]")?.addEventListener("click", () => dialog.close());
  dialog.replaceChildren(form);
  dialog.toggleAttribute("data-must", !no);
  // One that takes another's place begins at its top, with the focus in it.
  if (dialog.open) dialog.close();
  dialog.showModal();
  return form;
}

async function submit(dialog, form, trouble, act) {
  const button = form.querySelector("button.main");
  if (button.disabled) return;
  button.disabled = true;
  trouble.textContent = "";
  unmark(form);
  try {
    const said = await act(form);
    if (said === STAY) return;
    if (form.isConnected) dialog.close(); // else another one has taken its place
    if (said) announce(said);
  } catch (error) {
    trouble.textContent = mark(form, error) ? "It was not written: see what is marked." : sentence(error);
  } finally {
    button.disabled = false;
  }
}

/** Say at each field what the bench found wrong in it; tell whether all is said there. */
function mark(form, error) {
  const faults = error instanceof Refused ? error.faults : [];
  const said = faults.map(({ pointer = "", detail, allowed }) => {
    const name = pointer.replace(/^#\//, "").replaceAll("/", ".");
    const input = name && form.querySelector(`[name="${CSS.escape(name)}"]`);
    if (!input || input.closest("[hidden]")) return null;
    markField(input, name, allowed ? `${detail}: ${allowed}` : detail);
    return input;
  });
  said.find(Boolean)?.focus();
  return faults.length > 0 && said.every(Boolean);
}

function markField(input, name, text) {
  const id = `fault-${name}`;
  input.setAttribute("aria-invalid", "true");
  input.setAttribute("aria-errormessage", id);
  input.closest(".field, fieldset").append(h("p", { class: "trouble fault", id, role: "alert" }, upper(text)));
  input.closest("details")?.setAttribute("open", "");
}

function unmark(form) {
  for (const one of form.querySelectorAll(".fault")) one.remove();
  for (const one of form.querySelectorAll("[aria-invalid]")) {
    one.removeAttribute("aria-invalid");
    one.removeAttribute("aria-errormessage");
  }
}

/** What an act returns when it has opened another dialog in place of its own. */
export const STAY = Symbol("stay");

/** Return what to say of something that did not come about. */
export function sentence(error) {
  if (error instanceof Unheard) return `Nothing was changed as far as is known: ${error.message}.`;
  if (error instanceof Refused) return upper(error.message);
  return upper(error.message || String(error));
}

function upper(text) {
  const first = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?]$/.test(first) ? first : `${first}.`;
}

export function closeDialog() {
  byId("dialog").close();
}

/** A dialog that must be answered is not closed by the Escape key. */
export function guardDialog() {
  byId("dialog").addEventListener("cancel", (event) => {
    if (event.target.hasAttribute("data-must")) event.preventDefault();
  });
}
