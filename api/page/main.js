// The page as a whole: what is known, what is shown of it, and what a tap does.

import { get, getLogged, Unheard, whenLoggedOut } from "./api.js";
import { acknowledge, askSilence, showAlarms, unsilence } from "./alarms.js";
import { batchDeeds } from "./batch_deeds.js";
import { fetchBatches, fetchForecast, showClosed } from "./batches.js";
import { StripChart } from "./chart.js";
import { hourText, HOUR_MS, midnight } from "./clock.js";
import { guardDialog, openDialog, sentence } from "./dialogs.js";
import { askDrop, showDiary, showWaiting } from "./diary.js";
import { announce, byId, h, show } from "./dom.js";
import { fetchAdvice, fetchDue, showDue } from "./due.js";
import { askEvent } from "./event_form.js";
import { Live } from "./live.js";
import { askHold, askMat, askSetpoint, showMats } from "./mats.js";
import { drawPlan } from "./plan.js";
import { sendWaiting } from "./queue.js";
import { askLogin, begin, logOut, present } from "./session.js";
import { otherTheme, useTheme } from "./theme.js";
import { showFresh, summary, titleBlock } from "./sheet.js";
import { reachedIn } from "./warming.js";
import { compare, fetchTrials, showTrials, standing } from "./trials.js";
import { probeLines, trayList } from "./trays.js";
import { dayOf, leading, matOf, thermalText } from "./words.js";

const SLOW_MS = 60_000; // records and what is read from the log change slowly
const WARMING_MS = 60_000;
const DUE_MS = 300_000; // what is due changes with the days, and with what is told

const known = {
  session: { name: null, may: "read" },
  batches: [],
  forecast: new Map(),
  due: [],
  advice: new Map(),
  events: [],
  trials: [],
  compared: {},
  kept: {},
  heatToday: {},
  warmAt: {},
  chosen: null,
};

const live = new Live(onBench, onPulse);
const chart = new StripChart(
  byId("chart"),
  { readout: byId("chart-readout"), range: byId("chart-range"), trouble: byId("chart-trouble") },
  () => ({ unit: live.bench.display_unit, zone: live.bench.timezone, nowMs: benchNow() }),
);

function benchNow() {
  return live.nowMs();
}

function context() {
  const { bench } = live;
  return { nowMs: benchNow(), zone: bench.timezone, may: known.session.may === "operate" };
}

// ------------------------------------------------------------------- being shown

function onBench(bench) {
  document.body.classList.remove("empty");
  showFresh(live);
  document.title = titleOf(bench);
  byId("name").textContent = bench.bench;
  draw();
  chart.tick();
}

function titleOf(bench) {
  const pressing = bench.alarms.filter((alarm) => alarm.rings).length;
  return `${pressing ? `(${pressing}) ` : ""}${bench.bench} · bottomheat`;
}

function draw() {
  const { bench } = live;
  if (!bench) return;
  const here = context();
  byId("lead").textContent = summary(bench, known.warmAt);
  drawPlan(byId("plan"), byId("plan-key"), { bench, batches: known.batches, warmAt: known.warmAt, chosen: known.chosen });
  show(byId("block"), titleBlock(bench, here));
  showAlarms(bench, here);
  showMats(bench, known, here);
  showDue(known.due, here);
  showTrials(known.trials, known.compared, { unit: bench.display_unit, zone: here.zone });
  showDiary(known.events, here);
  showWaiting(here);
  show(byId("tray-list"), trayList(bench, known, here));
  drawTray();
  drawDoing(bench, here);
  drawSession();
}

function drawTray() {
  const tray = live.bench.trays.find((one) => one.name === known.chosen);
  byId("tray").hidden = !tray;
  if (!tray) return;
  const unit = live.bench.display_unit;
  byId("tray-h").textContent = tray.title ? `${tray.name} — ${tray.title}` : tray.name;
  byId("tray-lead").textContent = leading(tray, unit, known.kept[tray.name], dayOf(tray, known.batches));
  byId("tray-heat").textContent = thermalText(tray.degree_hours, unit);
  show(byId("tray-probes"), probeLines(tray, unit));
}

function drawDoing(bench, { zone, may }) {
  byId("doing").hidden = !may;
  byId("sticking").hidden = !may;
  const until = bench.mats.map((mat) => mat.hold_until).filter(Boolean).sort().at(-1);
  byId("hold-button").textContent = until
    ? `Held until ${hourText(Date.parse(until), zone)} — end it`
    : "Hold: hands on the bench";
}

function drawSession() {
  const { name, may } = known.session;
  show(
    byId("session"),
    name
      ? [`${name}, who ${may === "operate" ? "may do all that is here" : "may look and change nothing"}. `, h("button", { type: "button", class: "quiet", "data-do": "log-out" }, "log out")]
      : [],
  );
}

function onPulse() {
  showFresh(live);
  if (live.isLive()) return;
  if (live.bench) showWaiting(context());
}

// ---------------------------------------------------------------- what is slower

let slowAt = -Infinity;

async function slow(force = false) {
  if (!live.bench || !live.isLive() || (!force && Date.now() - slowAt < SLOW_MS)) return;
  slowAt = Date.now();
  due(force).catch(() => {}); // nothing waits for it
  const { bench } = live;
  const nowMs = benchNow();
  await Promise.allSettled([
    into("batches", fetchBatches()),
    into("events", get("/v1/events?limit=40").then(({ events }) => events)),
    into("forecast", fetchForecast()),
    into("trials", fetchTrials()),
    ...bench.mats.map((mat) => heatToday(mat, nowMs, bench.timezone)),
  ]);
  draw();
  for (const tray of bench.trays) await keptOf(tray.name).catch(() => {});
}

let dueAt = -Infinity;

/** Ask what is due, each few minutes and after what was told. */
async function due(force) {
  if (!force && Date.now() - dueAt < DUE_MS) return;
  const askedAt = (dueAt = Date.now());
  const [found, advice] = await Promise.all([fetchDue(), fetchAdvice()]);
  if (askedAt !== dueAt) return; // somebody has asked again
  Object.assign(known, { due: found, advice });
  draw();
}

async function into(name, coming) {
  known[name] = await coming;
}

async function heatToday(mat, nowMs, zone) {
  const from = new Date(midnight(nowMs, zone)).toISOString();
  const to = new Date(nowMs).toISOString();
  if (from >= to) return;
  const path = `/v1/mats/${encodeURIComponent(mat.name)}/heat?from=${from}&to=${to}&points=2`;
  known.heatToday[mat.name] = (await getLogged(path)).energy_wh;
}

/** Ask how well a tray was kept, since its oldest batch was stuck. */
async function keptOf(name) {
  if (!name) return;
  const stuck = known.batches
    .filter((one) => one.tray === name && one.batch.stuck_at)
    .map((one) => Date.parse(one.batch.stuck_at));
  const nowMs = benchNow();
  const firstMs = Math.max(Math.min(...stuck, nowMs), nowMs - 199 * 24 * HOUR_MS);
  const from = stuck.length ? `?from=${new Date(Math.min(firstMs, nowMs - HOUR_MS)).toISOString()}` : "";
  known.kept[name] = await getLogged(`/v1/trays/${encodeURIComponent(name)}/kept${from}`);
  draw();
}

/** Guess when trays that are too cool, on a mat that heats, will be as wanted. */
async function warming() {
  if (!live.isLive()) return;
  const { bench } = live;
  const found = {};
  for (const tray of bench.trays) {
    const mat = matOf(bench, tray);
    if (!mat || tray.temp_c === null || mat.mode !== "regulating") continue;
    const wantedC = mat.setpoint.heading_for_c;
    if (wantedC - tray.temp_c <= 1 || (!mat.energised && mat.policy === "on-off")) continue;
    const nowMs = benchNow();
    const from = new Date(nowMs - 40 * 60_000).toISOString();
    const path = `/v1/trays/${encodeURIComponent(tray.name)}/temperatures?from=${from}&to=${new Date(nowMs).toISOString()}&points=21`;
    const { probes, bucket_s } = await getLogged(path);
    const points = (probes[0]?.buckets ?? []).map((one) => [Date.parse(one.start) + bucket_s * 500, one.mean_c]);
    const inMs = reachedIn(points, wantedC - 0.5);
    if (inMs !== null) found[tray.name] = `about ${hourText(nowMs + inMs, bench.timezone)}`;
  }
  known.warmAt = found;
  draw();
}

// --------------------------------------------------------------- what a tap does

const matNamed = (name) => live.bench.mats.find((mat) => mat.name === name);
const ownTime = () => ({ nowMs: benchNow, zone: live.bench.timezone, may: known.session.may === "operate" });
const done = () => {
  if (byId("closed").open) showClosed().catch(() => {});
  live.refresh();
  slow(true);
};

const DEEDS = {
  theme: otherTheme,
  tray: ({ tray }) => choose(tray === known.chosen ? null : tray),
  "close-tray": () => choose(null),
  chart: ({ span, move }) => {
    const moves = {
      earlier: () => chart.pan(-0.5),
      later: () => chart.pan(0.5),
      in: () => chart.zoom(0.5),
      out: () => chart.zoom(2),
      now: () => chart.toNow(),
    };
    if (span) chart.span(span);
    else moves[move]();
  },
  acknowledge: async ({ alarm }) => {
    announce(await acknowledge(alarm));
    live.refresh();
  },
  silence: ({ alarm }) => askSilence(live.bench.alarms.find((one) => one.id === alarm), context(), done),
  unsilence: async ({ alarm }) => {
    announce(await unsilence(alarm));
    live.refresh();
  },
  setpoint: ({ mat }) => askSetpoint(live.bench, matNamed(mat), context(), done),
  hold: () => askHold(live.bench, context(), done),
  event: () => askEvent(live.bench, { nowMs: benchNow, zone: live.bench.timezone, tray: known.chosen }, done),
  correct: ({ event }) => {
    const found = known.events.find((one) => String(one.id) === event);
    askEvent(live.bench, { nowMs: benchNow, zone: live.bench.timezone }, done, found);
  },
  compare: ({ trial }) => {
    const of = standing(known.trials.find(({ id }) => String(id) === trial));
    return compare(trial, (found) => {
      known.compared[trial] = { ...known.compared[trial], of, said: "", ...found };
      draw();
    });
  },
  drop: ({ id }) => askDrop(id, draw),
  "log-out": async () => {
    await logOut();
    location.reload();
  },
};
Object.assign(DEEDS, batchDeeds({ bench: () => live.bench, known, ownTime, done }));
for (const what of ["programme", "reset", "step", "disable", "enable"]) {
  DEEDS[what] = ({ mat }) => askMat(what, live.bench, matNamed(mat), done);
}

async function act(element) {
  const deed = DEEDS[element.dataset.do];
  if (!deed || element.getAttribute("aria-busy") === "true") return;
  if (!live.bench && element.dataset.do !== "theme") return;
  element.setAttribute("aria-busy", "true");
  try {
    await deed(element.dataset);
  } catch (error) {
    const text = error instanceof Unheard ? `The bench cannot be heard, so nothing was asked of it: ${error.message}.` : sentence(error);
    openDialog({ title: "It was not done", body: [h("p", {}, text)], no: "good" });
  } finally {
    element.removeAttribute("aria-busy");
  }
}

function choose(name) {
  known.chosen = name;
  const hash = name ? `#tray=${encodeURIComponent(name)}` : "";
  history.replaceState(null, "", location.pathname + hash);
  draw();
  if (!name) {
    chart.tray = null;
    return;
  }
  chart.open(live.bench.trays.find((tray) => tray.name === name));
  byId("tray").scrollIntoView({ block: "nearest", behavior: still() ? "auto" : "smooth" });
  keptOf(name).catch(() => {});
}

function still() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}

// -------------------------------------------------------------------- the start

document.addEventListener("click", (event) => {
  const element = event.target.closest("[data-do]");
  if (element) act(element);
});
document.addEventListener("keydown", (event) => {
  const element = event.target.closest?.('g[data-do]');
  if (!element || ![" ", "Enter"].includes(event.key)) return;
  event.preventDefault();
  act(element);
});
byId("closed").addEventListener("toggle", () => {
  if (byId("closed").open && live.bench) showClosed().catch(() => {});
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && !live.stopped) live.refresh();
});
for (const change of ["online", "offline"]) {
  window.addEventListener(change, () => live.stopped || live.refresh());
}
new ResizeObserver(() => draw()).observe(byId("plan-frame"));

function fromHash() {
  const name = new URLSearchParams(location.hash.slice(1)).get("tray");
  if (name && live.bench?.trays.some((tray) => tray.name === name)) choose(name);
}

function enter(session) {
  known.session = session;
  live.start();
}

whenLoggedOut(async () => {
  live.stop();
  const session = await present().catch(() => null);
  if (session) enter(session);
  else askLogin(enter, "You are no longer logged in here.");
});

async function start() {
  useTheme();
  guardDialog();
  try {
    const session = await begin();
    if (session) enter(session);
    else askLogin(enter);
  } catch (error) {
    if (error instanceof Unheard) setTimeout(start, 3_000);
    else askLogin(enter, sentence(error));
  }
}

let opened = false;
setInterval(async () => {
  if (!live.isLive()) return;
  if (!opened) {
    opened = true;
    fromHash();
  }
  const { sent, refused } = await sendWaiting();
  if (sent.length || refused.length) {
    announce(`Sent what had waited: ${sent.map((one) => one.title).join("; ")}`);
    done();
  } else slow().catch(() => {});
}, 500);
setInterval(() => warming().catch(() => {}), WARMING_MS / 6);

start();
