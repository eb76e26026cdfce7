// The page of many benches as a whole: what is known, what is shown of it.

import { whenLoggedOut, Unheard } from "./api.js";
import { guardDialog, openDialog, sentence } from "./dialogs.js";
import { byId, h, show } from "./dom.js";
import { secondText } from "./clock.js";
import { Far } from "./far.js";
import { leadText, sections } from "./ledger.js";
import { askLogin, begin, logOut, present } from "./session.js";
import { otherTheme, useTheme } from "./theme.js";
import { lastingText } from "./units.js";

const HERE = {
  title: "Log in to these benches",
  hint: "On the machine that serves them, bottomheat token add NAME --may read --list FILE makes one.",
};
const ZONE = Intl.DateTimeFormat().resolvedOptions().timeZone;

const far = new Far(onTold, onPulse);
let session = null;

function onTold(told) {
  document.body.classList.remove("empty");
  document.title = `${told.needed ? `(${told.needed}) ` : ""}benches · bottomheat`;
  const lead = leadText(told);
  if (byId("lead").textContent !== lead) {
    if (byId("lead").textContent) byId("spoken").textContent = lead;
    byId("lead").textContent = lead;
  }
  byId("legend").hidden = !told.benches.some((one) => one.trays.length);
  draw();
}

function draw() {
  show(byId("sheet"), sections(far.told, far.isLive() ? 0 : far.ageMs()));
}

function onPulse() {
  const live = far.isLive();
  document.body.classList.toggle("stale", far.told !== null && !live);
  const fresh = byId("fresh");
  if (!far.told) {
    fresh.textContent = far.failure ? `no word yet: ${far.failure.message}` : "no word yet";
    return;
  }
  const at = secondText(far.heardAt, ZONE);
  const ago = far.ageMs() < 2_000 ? "just now" : `${lastingText(far.ageMs())} ago`;
  fresh.textContent = live ? `as of ${at}, ${ago}` : `not live: as of ${at}`;
  const notice = byId("notlive");
  notice.hidden = live;
  const text = live ? "" : `Not live. This page was last told anything at ${at}: what stands here is how it was then. Ask the benches themselves.`;
  if (notice.textContent !== text) notice.textContent = text;
  if (!live) draw();
}

function enter(found) {
  session = found;
  const { name } = session;
  show(
    byId("session"),
    name ? [`${name}, who may look. `, h("button", { type: "button", class: "quiet", "data-do": "log-out" }, "log out")] : [],
  );
  far.start();
}

whenLoggedOut(async () => {
  far.stop();
  const found = await present().catch(() => null);
  if (found) enter(found);
  else askLogin(enter, "You are no longer logged in here.", HERE);
});

const DEEDS = {
  theme: otherTheme,
  "log-out": async () => {
    try {
      await logOut();
      location.reload();
    } catch (error) {
      openDialog({ title: "It was not done", body: [h("p", {}, sentence(error))], no: "good" });
    }
  },
};

document.addEventListener("click", (event) => {
  DEEDS[event.target.closest("[data-do]")?.dataset.do]?.();
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) far.poll();
});
for (const change of ["online", "offline"]) window.addEventListener(change, () => far.poll());

async function start() {
  useTheme();
  guardDialog();
  try {
    const found = await begin();
    if (found) enter(found);
    else askLogin(enter, "", HERE);
  } catch (error) {
    if (error instanceof Unheard) setTimeout(start, 3_000);
    else askLogin(enter, sentence(error), HERE);
  }
}

start();
