"""Healthy seasons: waterings, open doors, trays lifted and put back, no fault.

Nothing in them may lock a mat off or hold heat back for want of a response.
"""

import gc
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from controller.core.decisions import AlarmKind, AlarmTurn, Cause
from sim.faults import Fault
from sim.kinds import Kind
from tests.campaigns.benches import BENCHES, Bench
from tests.campaigns.scenarios import DAY, HOUR, MINUTE
from tests.campaigns.watch import FIRST_HOUR, a_loop

SCAN_MS = 30_000
"""As often as probes speak: the coarsest scan that a plan may have, so that a
season of 120 days is done in minutes."""

RESPONSE = {Cause.HEAT_NOT_FELT, Cause.RISES_TOO_FAST}
BUDGET = {Cause.HEATED_TOO_LONG, Cause.DAILY_HEAT_SPENT}
"""The guards of response must hold nothing back. A budget of heat may, where a
mat is too weak for cold water in a cold week: it is counted, and no failure."""

SEASONS = (0, 1, 2, 5, 7, 9, 10, 12, 14, 15)
"""Ten of the benches: each of the eight plans, both policies alike often."""


@dataclass
class Season:
    """What came of a healthy season.

    Attributes:
        bench: On which bench.
        days: How long.
        events: What people and weather did, by kind.
        trips: Times that a mat was locked off.
        inhibits: Times that a guard of response held heat back, by cause.
        budgets: Times that a budget of heat did, by cause.
        alarms: Alarms raised, by kind.
        hottest_c: The hottest true root zone [°C].
    """

    bench: str
    days: float
    events: Counter[str] = field(default_factory=Counter)
    trips: int = 0
    inhibits: Counter[str] = field(default_factory=Counter)
    budgets: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    hottest_c: float = -99.0


def season(number: int, days: float) -> Season:
    """Run one healthy season."""
    bench = _gentle_nights(BENCHES[SEASONS[number]], nights=number % 2 == 1)
    loop = a_loop(bench)
    events = list(_events(bench, days))
    loop.bench.befall(events)
    result = Season(bench.name, days, Counter(event.kind.value for event in events))
    trays = [tray.name for mat in bench.plan.mats for tray in mat.trays]
    held: dict[str, Cause] = {}
    gc.disable()
    for _ in range(round(days * DAY / SCAN_MS)):
        turn = loop.turn()
        if turn is None:
            continue
        for change in turn.decisions.alarm_changes:
            if change.turn is AlarmTurn.RAISED:
                result.alarms[f"{change.kind.value} {change.subject}".strip()] += 1
                result.trips += change.kind is AlarmKind.TRIP
        for command in turn.decisions.commands:
            if held.get(command.mat) is not command.cause:
                result.inhibits[command.cause.value] += command.cause in RESPONSE
                result.budgets[command.cause.value] += command.cause in BUDGET
            held[command.mat] = command.cause
        if loop.now_ms % (10 * MINUTE) == 0:
            warm_c = max(loop.bench.world.truth(tray) for tray in trays)
            result.hottest_c = max(result.hottest_c, warm_c)
    gc.enable()
    result.inhibits, result.budgets = +result.inhibits, +result.budgets
    return result


def _gentle_nights(bench: Bench, *, nights: bool) -> Bench:
    """Return a bench that is scanned less often, half of them with cooler nights."""
    mats = bench.plan.mats
    if nights:
        mats = tuple(
            replace(
                mat,
                programme=(
                    replace(
                        mat.programme[0], night_mc=mat.programme[0].setpoint_mc - 3_000
                    ),
                ),
            )
            for mat in mats
        )
    return replace(bench, plan=replace(bench.plan, scan_ms=SCAN_MS, mats=mats))


def _events(bench: Bench, days: float) -> Iterator[Fault]:
    """Yield a season's work: by day, each tray every two or three days."""
    noise = np.random.default_rng([bench.seed, 11])
    for day in range(1, int(days)):
        if noise.random() < 0.3:
            at_ms = _daytime(day, noise)
            yield Fault(
                kind=Kind.ROOM_SHIFTS,
                at_ms=at_ms,
                lasts_ms=20 * MINUTE,
                sizes={"by": -8_000},
            )
        for mat in bench.plan.mats:
            for tray in mat.trays:
                if noise.random() < 0.4:
                    yield from _watering(mat.name, tray.name, day, noise)


def _daytime(day: int, noise: np.random.Generator) -> int:
    """Return a moment between 8 and 18 o'clock."""
    hour = 8 - FIRST_HOUR + 10 * noise.random()
    return day * DAY + round(hour * 60) * MINUTE


def _watering(
    mat: str, tray: str, day: int, noise: np.random.Generator
) -> Iterator[Fault]:
    at_ms = _daytime(day, noise)
    lasts_ms = int(noise.integers(5, 31)) * MINUTE
    lifted = noise.random() < 0.5
    if lifted and noise.random() < 0.5:
        yield Fault(kind=Kind.HOLD, at_ms=at_ms - MINUTE, lasts_ms=HOUR, subject=mat)
    if lifted:
        yield Fault(kind=Kind.TRAY_LIFTED, at_ms=at_ms, lasts_ms=lasts_ms, subject=tray)
    water = {
        "water": int(noise.integers(4_000, 12_000)),
        "temperature": int(noise.integers(6_000, 18_000)),
    }
    yield Fault(
        kind=Kind.TRAY_WATERED, at_ms=at_ms + 2 * MINUTE, subject=tray, sizes=water
    )
