"""An invented season: scans of a bench that nobody ever decided anything on.

Eight trays, each with a probe that speaks every ten seconds or so, a scan
every five; a mat that doses its heat and one that is switched on and off. What
a season log has to hold of it is what matters here: how many readings, how they
come, in which steps they move, and how much is told of switchings and alarms.
The temperatures are made of sines, not of physics, and the decisions are only
shaped like those of the core. The same number of days gives the same season.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count

import numpy as np

from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Answer,
    Cause,
    Command,
    Decisions,
    Doubt,
    Doubted,
)
from controller.core.plan import (
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import (
    Quality,
    Reading,
    Refusal,
    RelayReport,
    Request,
    Scan,
    SetSetpoint,
)
from controller.core.state import State, fresh_state
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.ports import Instant, RunHeader, SeasonLog

UTC_MS = 1_801_440_000_000
"""2027-02-01T00:00:00Z, when the season begins."""

SCAN_MS = 5_000
SCANS_A_DAY = DAY_MS // SCAN_MS
STEPS_PER_K = 16
"""A 12-bit one-wire thermometer counts in steps of 0.0625 °C (data sheet)."""

NOISE_K = 0.03
"""Chosen: half a step, so that a probe between two steps shows now one, now the
other, as real ones do."""

TRAYS = {
    "north": ("N1", "N2", "N3", "N4"),
    "south": ("S1", "S2", "S3", "S4"),
}
PROBES = tuple(name for names in TRAYS.values() for name in names)
SETPOINTS_MC = {"north": 21_000, "south": 26_000}

Taken = tuple[Scan, Decisions, State]


def a_plan() -> Plan:
    """Return the bench: two mats with four trays of one probe each."""
    return Plan(
        bench="lean-to",
        mats=(_mat("north", 100_000, Pid()), _mat("south", 80_000, OnOff())),
    )


def _mat(name: str, power_mw: int, policy: Pid | OnOff) -> MatPlan:
    trays = (
        TrayPlan(name=tray, probes=(ProbePlan(name=tray, offset_mk=125 * (n % 2)),))
        for n, tray in enumerate(TRAYS[name])
    )
    return MatPlan(
        name=name,
        power_mw=power_mw,
        length_mm=1_200,
        width_mm=530,
        policy=policy,
        programme=(StepPlan(SETPOINTS_MC[name]),),
        relay=RelayKind.LEASE,
        trays=tuple(trays),
    )


def a_header(plan: Plan) -> RunHeader:
    """Return the header of the season's one run."""
    return RunHeader(
        run="invented",
        origin="simulate",
        started_run_ms=0,
        started_utc_ms=UTC_MS,
        plan=plan,
        state=fresh_state(plan),
        timezone="UTC",
        decisions_version=1,
        versions={"python": "3.11"},
    )


def write(log: SeasonLog, days: int) -> None:
    """Write a season as a simulation writes it, but for closing the log."""
    plan = a_plan()
    log.begin(a_header(plan))
    for taken in a_season(plan, days):
        log.append(*taken)
    log.end(Instant(days * DAY_MS, UTC_MS + days * DAY_MS, True, 0, 0), "it is over")


def a_season(plan: Plan, days: int, seed: int = 1) -> Iterator[Taken]:
    """Yield the scans of a season with what they decided, in order."""
    dice = random.Random(seed)  # noqa: S311 - no secrets
    noise = np.random.default_rng(seed)
    voices = [_Voice(name, n, dice) for n, name in enumerate(PROBES)]
    state = fresh_state(plan)
    minds = (_Dosing(dice), _Switching(dice))
    waiting: list[Reading] = []
    for day in range(days):
        waiting += sorted(
            (reading for voice in voices for reading in voice.day(day, noise)),
            key=lambda reading: reading.at_ms,
        )
        at = 0
        for seq in range(day * SCANS_A_DAY + 1, (day + 1) * SCANS_A_DAY + 1):
            run_ms = seq * SCAN_MS + dice.randrange(4)
            begin = at
            while at < len(waiting) and waiting[at].at_ms <= run_ms:
                at += 1
            scan = _scan(seq, run_ms, tuple(waiting[begin:at]), dice)
            yield _decided(scan, minds, state, dice)
        del waiting[:at]


def _scan(
    seq: int, run_ms: int, readings: tuple[Reading, ...], dice: random.Random
) -> Scan:
    utc_ms = UTC_MS + run_ms + dice.randrange(-1, 2)
    day, ms_of_day = divmod(utc_ms, DAY_MS)
    return Scan(
        seq, run_ms, utc_ms, True, day, ms_of_day // MINUTE_MS, readings=readings
    )


# ------------------------------------------------------------------ what is read


@dataclass
class _Voice:
    """A probe: its own clock, its own weather."""

    name: str
    number: int
    dice: random.Random

    def __post_init__(self) -> None:
        self.period_ms = 10_000 + self.dice.randint(-5, 5)
        self.next_ms = self.dice.randrange(self.period_ms)
        self.north = self.number < len(TRAYS["north"])
        self.mean_c = (21.0 if self.north else 26.0) + self.dice.uniform(-0.8, 0.8)
        self.swing_s = 600.0 if self.north else 900.0

    def day(self, day: int, noise: np.random.Generator) -> Iterator[Reading]:
        """Yield what it says on a day, some of it lost on the way."""
        n = -((self.next_ms - (day + 1) * DAY_MS) // self.period_ms)
        due_ms = self.next_ms + self.period_ms * np.arange(n)
        self.next_ms += n * self.period_ms
        late_ms = np.rint(noise.normal(3.0, 2.0, n)).clip(0).astype(np.int64)
        steps = np.rint(self._temps_c(due_ms / 1000, noise) * STEPS_PER_K)
        milli = np.rint(steps * (1000 / STEPS_PER_K)).astype(np.int64)
        heard = noise.random(n) > 0.0005
        if noise.random() < 0.2:  # it is silent for a while
            begin = noise.integers(n)
            heard[begin : begin + 120] = False
        for at_ms, value in zip(
            (due_ms + late_ms)[heard].tolist(), milli[heard].tolist(), strict=True
        ):
            yield Reading(self.name, at_ms, value)

    def _temps_c(self, at_s: np.ndarray, noise: np.random.Generator) -> np.ndarray:
        hours = at_s / 3600
        slow = 0.4 * np.sin(2 * math.pi * (hours / 24 + self.number / 16))
        weather = 0.3 * np.sin(2 * math.pi * hours / (24 * 9.7) + self.number)
        swing = (0.08 if self.north else 0.25) * np.sin(
            2 * math.pi * at_s / self.swing_s + self.number
        )
        drawn = noise.normal(0.0, NOISE_K, len(at_s))
        return self.mean_c + slow + weather + swing + drawn


# --------------------------------------------------------------- what is decided


class _Dosing:
    """A mat that doses heat in cycles of ten minutes."""

    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.command = Command("north", False, Cause.DUTY_OFF)
        self.off_at_ms, self.next_ms = 0, 0
        self.integral = 0.3
        self.told: tuple[float, ...] = ()

    def decide(self, scan: Scan) -> Command:
        """Return the command of a scan; the very same while nothing changes."""
        if scan.run_ms >= self.next_ms:
            self.next_ms = scan.run_ms // 600_000 * 600_000 + 600_000
            self.integral += self.dice.gauss(0, 0.003)
            duty = self.integral + self.dice.gauss(0, 0.02)
            on_ms = max(60_000, round(duty * 600_000))
            self.off_at_ms = self.next_ms - 600_000 + on_ms
            self.told = (duty, self.integral, float(on_ms))
            self.command = self._command(on=True, cause=Cause.DUTY_ON)
        elif self.command.energised and scan.run_ms >= self.off_at_ms:
            self.command = self._command(on=False, cause=Cause.DUTY_OFF)
        return self.command

    def _command(self, *, on: bool, cause: Cause) -> Command:
        duty, integral, on_ms = self.told
        root_mc = 21_000.0 + 62.5 * self.dice.randint(-3, 3)
        numbers = (
            ("root_mc", float(math.floor(root_mc))),
            ("setpoint_mc", 21_000.0),
            ("duty", duty),
            ("integral", integral),
            ("on_ms", on_ms),
            ("cycle_ms", 600_000.0),
        )
        return Command("north", on, cause, numbers)


_TURNS = (
    (True, Cause.BELOW_BAND, 25_812.0),
    (True, Cause.WITHIN_BAND, 25_875.0),
    (False, Cause.ABOVE_BAND, 26_187.0),
    (False, Cause.WITHIN_BAND, 26_125.0),
)


class _Switching:
    """A mat that is switched on and off about every quarter of an hour."""

    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.turns = count()
        self.next_ms = 0
        self.command = Command("south", False, Cause.WITHIN_BAND)

    def decide(self, scan: Scan) -> Command:
        """Return the command of a scan; the very same while nothing changes."""
        if scan.run_ms >= self.next_ms:
            self.next_ms = scan.run_ms + round(self.dice.gauss(225_000, 40_000))
            on, cause, root_mc = _TURNS[next(self.turns) % len(_TURNS)]
            numbers = (
                ("root_mc", root_mc),
                ("setpoint_mc", 26_000.0),
                ("low_mc", 25_875.0),
                ("high_mc", 26_125.0),
            )
            self.command = Command("south", on, cause, numbers)
        return self.command


def _decided(
    scan: Scan, minds: tuple[_Dosing, _Switching], state: State, dice: random.Random
) -> Taken:
    before = {mind.command.mat: mind.command.energised for mind in minds}
    commands = tuple(mind.decide(scan) for mind in minds)
    turned = [c for c in commands if c.energised != before[c.mat]]
    if turned:  # what the relays say of the scan before is told in this one
        reports = tuple(
            RelayReport(c.mat, scan.run_ms - 2, c.energised, scan.seq - 1, "command")
            for c in turned
        )
        scan = replace(scan, relay_reports=reports)
    decisions = Decisions(commands, flush=any(c.energised for c in turned))
    if dice.random() < 0.0012:  # some twenty times a day
        scan, decisions = _event(scan, decisions, dice)
    if scan.run_ms % HOUR_MS < SCAN_MS:
        state = replace(state, run_ms=scan.run_ms)
    return scan, decisions, state


def _event(
    scan: Scan, decisions: Decisions, dice: random.Random
) -> tuple[Scan, Decisions]:
    """Return a scan in which something unusual happens."""
    kind = dice.choices(
        ["doubt", "value", "refusal", "request", "alarm"], (6, 4, 6, 1, 1)
    )[0]
    if kind in ("doubt", "value") and scan.readings:
        return _doubted(scan, decisions, valueless=kind == "value")
    if kind == "refusal":
        refusal = Refusal("S2", scan.run_ms - 7, "a number was expected", "warm-ish")
        return replace(scan, refusals=(refusal,)), decisions
    if kind == "request":
        number = scan.seq
        request = Request(number, "gardener", SetSetpoint("south", 25_500, HOUR_MS))
        answer = Answer(number, True, "south: 25.5 °C for 1 h")
        asked = replace(scan, requests=(request,))
        return asked, replace(decisions, answers=(answer,), flush=True)
    turn = dice.choice((AlarmTurn.RAISED, AlarmTurn.CLEARED, AlarmTurn.ACKNOWLEDGED))
    who = "gardener" if turn is AlarmTurn.ACKNOWLEDGED else ""
    change = AlarmChange(
        AlarmKind.PROBE_LOST, dice.choice(PROBES), turn, (("silent_s", 125.0),), who
    )
    return scan, replace(decisions, alarm_changes=(change,), flush=True)


def _doubted(
    scan: Scan, decisions: Decisions, *, valueless: bool
) -> tuple[Scan, Decisions]:
    """Return a scan whose last reading is not taken."""
    *first, last = scan.readings
    quality = Quality.BAD if valueless else Quality.UNCERTAIN
    milli = None if valueless else last.milli
    note = "no value" if valueless else "the first after a reconnect"
    odd = Reading(last.probe, last.at_ms, milli, quality, note)
    offset_mk = 125 * (PROBES.index(last.probe) % 2)
    temp_mc = None if milli is None else milli + offset_mk
    why = Doubted.NO_VALUE if valueless else Doubted.UNCERTAIN
    doubt = Doubt(last.probe, last.at_ms, temp_mc, quality, why)
    return replace(scan, readings=(*first, odd)), replace(decisions, doubts=(doubt,))
