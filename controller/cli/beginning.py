"""How a run begins: from what the season log remembers, or from nothing."""

import platform
import sys
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from controller.adapters.season_log import SeasonLogReader
from controller.core.plan import Plan
from controller.core.scan import Scan
from controller.core.state import State, Trip, fresh_state, resumed_state, with_trips
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import Millis
from controller.ports import IMPORTED, Instant, RunHeader


@dataclass(frozen=True, slots=True)
class Beginning:
    """Where a run begins.

    Attributes:
        run_ms: Bench clock [ms].
        state: The state before the first scan.
    """

    run_ms: int
    state: State


def beginning(
    log: Path, plan: Plan, now: Instant, trips: Mapping[str, Trip]
) -> Beginning:
    """Return where a new run begins.

    The last kept state is carried to the end of the last run by deciding the
    scans after it once more. The bench clock goes on from there, with the time
    in between where both wall clocks are known to be right.

    Args:
        log: The season log; may be missing.
        plan: The new run's plan.
        now: The present instant; its run clock is not used.
        trips: What the side file of trips remembers.

    Raises:
        LogError: The log cannot be read.
    """
    last = _end_of_last_run(log) if log.exists() else None
    if last is None:
        run_ms = Millis(_after_imports(log, now) if log.exists() else 0)
        return Beginning(run_ms, with_trips(fresh_state(plan, run_ms), trips))
    state, scan = last
    away_ms = now.utc_ms - scan.utc_ms
    known = scan.clock_ok and now.clock_ok and away_ms >= 0
    run_ms = Millis(state.run_ms + (away_ms if known else 0))
    resumed = resumed_state(plan, state, run_ms, outage_known=known)
    return Beginning(run_ms, with_trips(resumed, trips))


def _end_of_last_run(log: Path) -> tuple[State, Scan] | None:
    reader = SeasonLogReader(log)
    for header in reversed(reader.runs()):
        if header.origin == IMPORTED:
            continue  # it knows nothing of mats, trips or degree-hours
        last_seq = reader.last_seq(header.run)
        if not last_seq:
            continue  # it ended before its first scan was written
        kept_seq, state = reader.last_state(header.run)
        scan: Scan | None = None
        for recorded in reader.scans(header.run, min(kept_seq, last_seq - 1)):
            if not recorded.sound:
                break  # what is known up to here is better than what was altered
            scan = recorded.scan
            if scan.seq > kept_seq:
                state, _ = step(header.plan, state, scan)
        if scan is not None:
            return state, scan
    return None


def _after_imports(log: Path, now: Instant) -> int:
    """Return where the bench clock begins in a log with imported runs only [ms].

    It goes on from theirs, so that no time on it comes twice.
    """
    reader = SeasonLogReader(log)
    run_ms = 0
    for header in reader.runs():
        ending = reader.ending(header.run)
        away_ms = now.utc_ms - header.started_utc_ms if now.clock_ok else 0
        ended_ms = ending.run_ms if ending else header.started_run_ms
        run_ms = max(run_ms, ended_ms, header.started_run_ms + away_ms)
    return run_ms


def run_header(
    origin: str,
    plan: Plan,
    state: State,
    started: Instant,
    timezone: str,
    notes: tuple[str, ...] = (),
) -> RunHeader:
    """Return the header of a new run.

    Args:
        origin: "live", "simulate" or IMPORTED.
        plan: The plan.
        state: The state before the first scan.
        started: The instant at which it begins.
        timezone: The bench's time zone (IANA name).
        notes: Sentences about how it begins.
    """
    return RunHeader(
        run=uuid.uuid4().hex[:12],
        origin=origin,
        started_run_ms=started.run_ms,
        started_utc_ms=started.utc_ms,
        plan=plan,
        state=state,
        timezone=timezone,
        decisions_version=DECISIONS_VERSION,
        versions=versions(),
        notes=notes,
    )


def versions() -> dict[str, str]:
    """Return the versions that numbers may depend on."""
    found = {"python": platform.python_version(), "machine": platform.machine()}
    for name in ("simple-pid", "bottomheat"):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            print(f"the version of {name} is not known", file=sys.stderr)
            found[name] = "unknown"
    return found
