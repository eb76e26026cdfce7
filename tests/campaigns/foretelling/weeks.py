"""A case gone through: the log as a reader of it has it, and the week that came."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from controller.core.decisions import Cause
from controller.core.plan import Plan, ProbePlan
from controller.core.scan import Reading, Request, Scan, SetSetpoint
from controller.core.state import fresh_state, resumed_state
from controller.core.step import step
from controller.core.units import DAY_MS, HOUR_MS, MilliC, Millis, UtcMillis
from controller.ports import Columns
from controller.review.mat_history import ClockStretch, MatHistory
from sim.fitting.gridded import record_of
from sim.fitting.record import Record
from sim.probes import Probe, follow, shown
from sim.watering import moments
from sim.world import World
from tests.campaigns.foretelling.benches import (
    FIRST_HOUR,
    SCAN_MS,
    SETBACK_HOUR,
    SETBACK_HOURS,
    SETBACK_MK,
    TRAYS,
    WEEK_DAYS,
    Case,
)

UTC_MS = 1_801_440_000_000 + FIRST_HOUR * HOUR_MS
"""2027-02-01 at that hour, UTC; the run clock begins there."""

DAY_MIN = 1_440


@dataclass
class Course:
    """What went on, scan by scan.

    Attributes:
        true_c: True temperatures of the trays, in the order of TRAYS.
        room_c: The room's temperature.
        on: Whether the mat was switched on.
        causes: Why heat was refused or given, scans by cause.
        readings: By probe, moment and value [ms, m°C].
    """

    true_c: list[tuple[float, ...]]
    room_c: list[float]
    on: list[bool]
    causes: Counter[Cause]
    readings: dict[str, list[tuple[int, int]]]


class Bench:
    """A case on its way.

    Args:
        case: The case.
    """

    def __init__(self, case: Case) -> None:
        self._case = case
        self._world = World(_silent(case.before), case.options)
        self._probes = [_probe(case, number) for number in range(len(TRAYS) + 1)]
        self._state = fresh_state(case.before)

    def logged(self) -> Course:
        """Go through the days of the log."""
        case = self._case
        setback_ms = case.setback_day * DAY_MS
        setback_ms += (SETBACK_HOUR - FIRST_HOUR) * HOUR_MS
        return self._through(case.before, case.log_days, setback_ms)

    def week(self) -> Course:
        """Go through the week after it, under the other plan."""
        plan, now_ms = self._case.after, Millis(self._world.now_ms)
        state = resumed_state(plan, self._state, now_ms, outage_known=True)
        self._state = state
        return self._through(plan, WEEK_DAYS, None)

    def _through(self, plan: Plan, days: int, setback_ms: int | None) -> Course:
        course = Course([], [], [], Counter(), {})
        world, mat = self._world, plan.mats[0]
        for number in range(days * DAY_MS // SCAN_MS):
            # What begins a step, as the log's grid and the model's loop have it.
            course.true_c.append(tuple(world.truth(tray) for tray in TRAYS))
            course.room_c.append(world.room_c())
            requests: tuple[Request, ...] = ()
            if setback_ms == world.now_ms:
                low_mc = MilliC(mat.programme[0].setpoint_mc - SETBACK_MK)
                wish = SetSetpoint(mat.name, low_mc, Millis(SETBACK_HOURS * HOUR_MS))
                requests = (Request(1, "person", wish),)
            readings = self._read()
            for reading in readings:
                row = course.readings.setdefault(reading.probe, [])
                row.append((reading.at_ms, reading.milli))
            scan = _scan(number + 1, world.now_ms, readings, requests)
            self._state, decisions = step(plan, self._state, scan)
            command = decisions.commands[0]
            course.on.append(command.energised)
            course.causes[command.cause] += 1
            world.advance(world.now_ms + SCAN_MS, {mat.name: command.energised})
        return course

    def _read(self) -> tuple[Reading, ...]:
        """Return what all probes say: they speak in every scan, as it begins."""
        world = self._world
        seen_c = *(world.truth(tray) for tray in TRAYS), world.room_c()
        for probe, temp_c in zip(self._probes, seen_c, strict=True):
            follow(probe, temp_c, world.now_ms, self._case.options.lag_s)
        noise_k = self._case.options.noise_k
        return tuple(shown(probe, noise_k) for probe in self._probes)


def _silent(plan: Plan) -> Plan:
    """Return a bench whose probes never speak by themselves, which takes time."""
    mat = plan.mats[0]

    def quiet(probe: ProbePlan) -> ProbePlan:
        return replace(probe, every_ms=Millis(10**15))

    trays = tuple(
        replace(tray, probes=tuple(quiet(probe) for probe in tray.probes))
        for tray in mat.trays
    )
    return replace(plan, mats=(replace(mat, trays=trays),), room=())


def _probe(case: Case, number: int) -> Probe:
    plans = [tray.probes[0] for tray in case.before.mats[0].trays]
    plan = [*plans, *case.before.room][number]
    noise = np.random.default_rng([case.seed, 2, number])
    return Probe(plan, 0, noise, 0, case.options.start_temp_c)


def _scan(number, now_ms, readings, requests) -> Scan:
    utc_ms = UTC_MS + now_ms
    minutes = utc_ms // 60_000
    return Scan(
        number,
        Millis(now_ms),
        UtcMillis(utc_ms),
        clock_ok=True,
        local_day=minutes // DAY_MIN,
        local_minute=minutes % DAY_MIN,
        readings=readings,
        requests=requests,
    )


def record_of_log(case: Case, course: Course) -> Record:
    """Return what a log would tell of a course that began with the world."""
    probes = {name: _columns(rows) for name, rows in course.readings.items()}
    minutes = case.log_days * DAY_MIN
    times = moments(case.options.waterings, minutes, FIRST_HOUR * 60)
    history = MatHistory(
        mat=case.before.mats[0].name,
        from_run_ms=0,
        to_run_ms=minutes * 60_000,
        switchings=tuple(_switchings(course.on)),
        clock=(ClockStretch(0, UTC_MS, 0),),
        happenings=(),
        trays=tuple((name, (probes[name],)) for name in TRAYS),
        surface=(),
        room=(probes["room"],),
    )
    watered = [UTC_MS + minute * 60_000 for minute, _ in times if minute > 0]
    return record_of(history, watered_utc_ms=watered)


def _switchings(on: list[bool]):
    was = False
    for number, now in enumerate(on):
        if now != was:
            yield number * SCAN_MS, now
        was = now


def _columns(rows: list[tuple[int, int]]) -> Columns:
    at_ms, values = zip(*rows, strict=True)
    utc_ms = [UTC_MS + ms for ms in at_ms]
    return Columns(range(len(rows)), at_ms, utc_ms, values)
