"""Readings of another recorder as a run of the season log.

What may live here: the plan, the clock and the scans of such a run. Nothing in
it was decided: its scans carry readings and no commands. No command.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from controller.adapters.exchange import ExchangeError
from controller.adapters.season_log.rows import Ending
from controller.cli.beginning import run_header
from controller.cli.local_time import LocalTime
from controller.core.decisions import Decisions
from controller.core.plan import Plan, ProbePlan, TrayPlan, all_trays
from controller.core.plan_rules import problems
from controller.core.scan import Reading, Scan
from controller.core.state import State, fresh_state
from controller.core.units import DAY_MS, SECOND_MS, Millis, UtcMillis
from controller.ports import IMPORTED, RunHeader
from controller.review.other_recorders import longest_ms

_SHORTEST_MS = 100

ROOM = "room"
"""Says, in the place of a tray, that a probe hangs in the room."""


@dataclass(frozen=True, slots=True)
class Target:
    """What a column becomes.

    Attributes:
        column: Its name in the file.
        probe: Name of the probe.
        tray: Name of its tray; ROOM: it hangs in the room.
        known: Whether the log has had that probe before.
    """

    column: str
    probe: str
    tray: str
    known: bool


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading to be imported, in whole thousandths [m°C] and ms of UTC."""

    utc_ms: int
    probe: str
    milli: int


def target_of(said: str, headers: Sequence[RunHeader]) -> Target:
    """Return what "COLUMN=PROBE", "COLUMN=TRAY" or "COLUMN=TRAY/PROBE" means.

    Raises:
        ExchangeError: It means nothing, or more than one thing.
    """
    column, found, name = said.rpartition("=")
    if not found or not column.strip() or not name.strip():
        raise ExchangeError(
            f"--column {said!r}: write the column's name, =, and the probe or tray"
            ' that it is of, such as "Temp 1=N1", "Temp 1=N1/N1-deep" or "Air=room/air"'
        )
    tray, slash, probe = name.strip().rpartition("/")
    places = _places(headers)
    if probe in _others(headers):
        raise ExchangeError(
            f"--column {said!r}: {probe} is a probe of a mat's surface, or of another"
            " quantity, in this log: give the probe in a tray a name of its own"
        )
    if slash:
        return Target(column.strip(), probe, tray, places.get(probe) == tray)
    if probe in places:
        return Target(column.strip(), probe, places[probe], known=True)
    inside = [name for name, place in places.items() if place == probe]
    if len(inside) > 1:
        raise ExchangeError(
            f"--column {said!r}: tray {probe} has the probes {', '.join(inside)}; write"
            f" one of them, or {probe}/ and a new name"
        )
    return Target(column.strip(), inside[0] if inside else probe, probe, bool(inside))


def _places(headers: Sequence[RunHeader]) -> dict[str, str]:
    """Return in which tray each known probe is, as the newest run has it."""
    places: dict[str, str] = {}
    for header in headers:
        plan = header.plan
        for tray in all_trays(plan):
            places |= {probe.name: tray.name for probe in tray.probes}
        places |= {probe.name: ROOM for probe in plan.room}
    return places


def _others(headers: Sequence[RunHeader]) -> set[str]:
    """Return the names of probes that measure neither a tray nor the room."""
    return {
        probe.name
        for one in headers
        for probe in (
            *one.plan.witnesses,
            *(probe for mat in one.plan.mats for probe in mat.surface),
        )
    }


def plan_for(
    targets: Sequence[Target],
    every_ms: Mapping[str, int],
    headers: Sequence[RunHeader],
    bench: str,
) -> Plan:
    """Return a plan of trays and room, without mats.

    Trays that the log knows keep their medium, depth, base and upper.

    Args:
        targets: What the columns become.
        every_ms: By probe: its usual interval [ms].
        headers: Runs that the log has.
        bench: Name of the bench, where the log has no run.

    Raises:
        ExchangeError: A name, or an interval, is none that a plan may have.
    """
    known = {tray.name: tray for one in headers for tray in all_trays(one.plan)}
    named = [target.tray for target in targets if target.tray != ROOM]
    trays = tuple(
        replace(
            known.get(name, TrayPlan(name=name)),
            probes=tuple(_probes(targets, every_ms, name)),
        )
        for name in dict.fromkeys(named)
    )
    plan = Plan(
        bench=headers[-1].plan.bench if headers else bench,
        # So many ms from row to row: the log then keeps their times in few bytes.
        scan_ms=Millis(min(every_ms.values())),
        trays=trays,
        room=tuple(_probes(targets, every_ms, ROOM)),
    )
    broken = problems(replace(plan, scan_ms=Millis(5 * SECOND_MS)))
    if broken:
        raise ExchangeError("; ".join(map(str, broken)))
    return plan


def _probes(
    targets: Sequence[Target], every_ms: Mapping[str, int], tray: str
) -> Iterator[ProbePlan]:
    for target in targets:
        if target.tray == tray:
            every = min(max(_SHORTEST_MS, every_ms[target.probe]), DAY_MS)
            stale = Millis(longest_ms(every))
            yield ProbePlan(
                name=target.probe,
                every_ms=Millis(every),
                stale_after_ms=stale,
                one_wire=False,
            )


def bench_ms_at(utc_ms: int, headers: Sequence[RunHeader]) -> int:
    """Return what the bench clock showed, or would have shown, at a time [ms].

    It is the clock of the last run that began before, or of the first one; a log
    without a run begins its clock at that time.
    """
    if not headers:
        return 0
    before = [one for one in headers if one.started_utc_ms <= utc_ms]
    last = max(before, key=lambda one: one.started_utc_ms) if before else headers[0]
    return last.started_run_ms + utc_ms - last.started_utc_ms


def header_for(
    plan: Plan, utc_ms: int, headers: Sequence[RunHeader], timezone: str, note: str
) -> RunHeader:
    """Return the header of a run whose first reading is of that time [ms]."""
    run_ms = bench_ms_at(utc_ms, headers)
    started = LocalTime(timezone).instant(run_ms, utc_ms)
    state = fresh_state(plan, Millis(run_ms))
    return run_header(IMPORTED, plan, state, started, timezone, (note,))


def scans_of(
    header: RunHeader, samples: Iterable[Sample]
) -> Iterator[tuple[Scan, Decisions, State]]:
    """Yield one scan for each time of samples in order, as a log takes them."""
    calendar = LocalTime(header.timezone)
    nothing = Decisions(commands=())
    ahead_ms = header.started_utc_ms - header.started_run_ms
    at_once = groupby(samples, key=lambda sample: sample.utc_ms)
    for seq, (utc_ms, group) in enumerate(at_once, 1):
        run_ms = Millis(utc_ms - ahead_ms)
        day, minute = calendar.at(utc_ms)
        scan = Scan(
            seq=seq,
            run_ms=run_ms,
            utc_ms=UtcMillis(utc_ms),
            clock_ok=True,
            local_day=day,
            local_minute=minute,
            readings=tuple(Reading(one.probe, run_ms, one.milli) for one in group),
        )
        yield scan, nothing, replace(header.state, run_ms=run_ms)


def ending_of(header: RunHeader, utc_ms: int) -> Ending:
    """Return the ending of a run whose last reading is of that time [ms]."""
    run_ms = utc_ms - header.started_utc_ms + header.started_run_ms
    return Ending(run_ms, utc_ms, "imported: nothing was controlled")
