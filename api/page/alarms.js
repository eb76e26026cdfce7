// What a person should act on, and the two answers to it: seen, and silenced.

import { wish } from "./api.js";
import { choices, openDialog, taken } from "./dialogs.js";
import { byId, h, show } from "./dom.js";
import { HOUR_MS, whenText } from "./clock.js";
import { alarmState, priorityText } from "./words.js";

const RANK = { high: 0, medium: 1, low: 2 };

/** Show the alarms, the most pressing first; without one nothing is shown. */
export function showAlarms(bench, context) {
  const found = [...bench.alarms].sort(
    (a, b) =>
      Number(b.rings) - Number(a.rings) ||
      RANK[a.priority] - RANK[b.priority] ||
      a.since.localeCompare(b.since),
  );
  const [ringing, rest] = [true, false].map((rings) => found.filter((one) => one.rings === rings));
  byId("alarms").hidden = found.length === 0;
  show(byId("alarm-list"), ringing.map((alarm) => oneAlarm(alarm, context)));
  byId("alarm-rest").hidden = rest.length === 0;
  byId("alarm-count").textContent = restText(rest);
  show(byId("alarm-others"), rest.map((alarm) => oneAlarm(alarm, context)));
}

/** Return what there is besides alarms that ring. */
function restText(alarms) {
  const over = alarms.filter((alarm) => alarm.state === "cleared").length;
  const going = alarms.length - over;
  const said = [
    going ? `${going} that go on and are seen, silenced or explained` : null,
    over ? `${over} that ${over === 1 ? "is" : "are"} over and not seen yet` : null,
  ];
  return said.filter(Boolean).join("; ");
}

function oneAlarm(alarm, { nowMs, zone, may }) {
  const silent = alarm.shelved_until !== null;
  return h(
    "li",
    { class: `alarm ${alarm.priority}${alarm.rings ? " rings" : ""}`, "data-key": alarm.id },
    h(
      "div",
      { class: "said" },
      h("p", {}, h("strong", {}, alarm.state === "active" ? priorityText(alarm.priority) : "over"), " ", alarm.sentence),
      h("p", { class: "under" }, alarmState(alarm, nowMs, zone)),
    ),
    may
      ? h(
          "div",
          { class: "row" },
          alarm.acknowledged
            ? null
            : h("button", { type: "button", "data-do": "acknowledge", "data-alarm": alarm.id }, "I have seen it"),
          alarm.state === "active" && !silent
            ? h("button", { type: "button", "data-do": "silence", "data-alarm": alarm.id }, "Silence it until …")
            : null,
          silent
            ? h("button", { type: "button", "data-do": "unsilence", "data-alarm": alarm.id }, "Let it ring again")
            : null,
        )
      : null,
  );
}

const path = (id) => `/v1/alarms/${encodeURIComponent(id)}`;

export function acknowledge(id) {
  return wish("POST", `${path(id)}/acknowledge`, {});
}

export function unsilence(id) {
  return wish("POST", `${path(id)}/shelve`, { for_min: 0 });
}

/** Ask until when an alarm shall be silent. */
export function askSilence(alarm, { nowMs, zone }, done) {
  const options = [0.5, 1, 3, 8, 24].map((hours) => [
    String(hours * 60),
    whenText(nowMs + hours * HOUR_MS, nowMs, zone),
  ]);
  openDialog({
    title: "Silence it until when?",
    body: [
      h("p", {}, alarm.sentence),
      choices("Silent until", "minutes", options, { checked: ["60"] }),
      h("p", { class: "hint" }, "It goes on being shown here, and nothing about heat changes."),
    ],
    yes: "Silence it",
    act: async (form) => {
      const said = await wish("POST", `${path(alarm.id)}/shelve`, {
        for_min: Number(taken(form, "minutes")[0]),
      });
      done();
      return said;
    },
  });
}
