// What was done at the bench, newest first, and what still waits on this device.

import { send } from "./api.js";
import { openDialog } from "./dialogs.js";
import { byId, h, show } from "./dom.js";
import { whenText } from "./clock.js";
import { drop, waiting } from "./queue.js";
import { eventText, photoAddress } from "./words.js";

const MOST = 12;

/** Show the newest events. */
export function showDiary(events, { nowMs, zone, may }) {
  const newest = [...events].reverse().slice(0, MOST);
  const lines = newest.map((event) =>
    h(
      "li",
      { "data-key": String(event.id) },
      h("time", { datetime: event.at }, whenText(Date.parse(event.at), nowMs, zone)),
      h("span", { class: "text" }, ` ${eventText(event)} `, event.revisions > 1 ? h("span", { class: "aside" }, "corrected") : null),
      photoLink(event),
      may
        ? h("button", { type: "button", class: "quiet", "data-do": "correct", "data-event": String(event.id), "aria-label": `Correct: ${eventText(event)}` }, "correct")
        : null,
    ),
  );
  show(byId("event-list"), lines.length ? lines : [h("li", { class: "under" }, "Nothing is told yet.")]);
}

/** Return a photo in small, which leads to itself; null where there is none to show. */
function photoLink(event) {
  const address = photoAddress(event.photo);
  if (!address) return null;
  const image = h("img", { src: address, alt: `Photo: ${eventText(event)}`, loading: "lazy", width: "64", height: "48" });
  return h("a", { class: "photo", href: address, target: "_blank", rel: "noopener", "data-key": event.photo }, image);
}

/** Show what could not be told yet. */
export function showWaiting({ nowMs, zone }) {
  const entries = waiting();
  const lines = entries.map((one) =>
    h(
      "p",
      { class: one.refused ? "kept refused" : "kept", "data-key": one.id },
      one.refused ? `Not taken: ${one.title}: ${one.refused}. ` : `Waits on this device, and is sent when the bench answers: ${one.title}, ${whenText(one.atMs ?? Date.parse(one.body.at), nowMs, zone)}. `,
      h("button", { type: "button", class: "quiet", "data-do": "drop", "data-id": one.id }, one.refused ? "take it away" : "do not send it"),
    ),
  );
  show(byId("waiting"), lines);
}

/** Ask whether an entry that waits shall be taken away. */
export function askDrop(id, done) {
  const entry = waiting().find((one) => one.id === id);
  if (!entry) return;
  openDialog({
    title: "Take it away?",
    body: [h("p", {}, `${entry.title} is then told to nobody.`)],
    yes: "Take it away",
    no: "keep it",
    act: () => {
      drop(id);
      done();
    },
  });
}

/** Say that an event was told by mistake: it stays to be seen in the log. */
export function withdraw(event) {
  return send("PATCH", event.href, { withdrawn: true });
}
