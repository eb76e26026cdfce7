// Who looks, and what they may do. The secret of a link stands behind its #, which no
// server is ever sent; it is posted once and taken out of the address.

import { get, Refused, send, useCsrf } from "./api.js";
import { field, openDialog } from "./dialogs.js";
import { h } from "./dom.js";

/** Return the session, logging in by the address where it has a secret; null: log in. */
export async function begin() {
  const token = fromAddress();
  if (token) await logIn(token);
  return present();
}

async function logIn(token) {
  try {
    await send("POST", "/v1/session", { token });
  } catch (error) {
    // A bench that asks for no token lets everybody in.
    if (!(error instanceof Refused && error.status === 409)) throw error;
  }
}

function fromAddress() {
  const found = new URLSearchParams(location.hash.slice(1)).get("token");
  if (found) history.replaceState(null, "", location.pathname);
  return found;
}

/** Return the session as the bench knows it; null: nobody is logged in. */
export async function present() {
  try {
    const session = await get("/v1/session", { quiet: true });
    useCsrf(session.csrf);
    return session;
  } catch (error) {
    if (error instanceof Refused && error.status === 401) return null;
    throw error;
  }
}

const BENCH = {
  title: "Log in to this bench",
  hint: "On the bench\u2019s own machine, bottomheat token add NAME makes one.",
};

/** Ask for a login until it is right; then call on. `place` says where one is. */
export function askLogin(then, trouble = "", place = BENCH) {
  const input = h("input", {
    name: "token",
    type: "password",
    autocomplete: "current-password",
    required: true,
    autofocus: true,
  });
  const form = openDialog({
    title: place.title,
    body: [
      h("p", {}, `Open the link or the code that was made for you, or type the token here. ${place.hint}`),
      field("Token", input),
    ],
    yes: "Log in",
    no: null,
    act: async () => {
      const token = input.value.trim();
      if (!token) throw new Error("There is no token in the field");
      await logIn(token);
      const session = await present();
      if (!session) throw new Error("the login was taken, but this browser did not keep it");
      then(session);
    },
  });
  form.querySelector(".trouble").textContent = trouble;
}

export function logOut() {
  return send("DELETE", "/v1/session");
}
