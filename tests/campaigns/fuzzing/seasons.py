"""A small real season log to spoil: two runs with something in every table."""

import tempfile
from functools import cache
from pathlib import Path

from controller.adapters.season_log import LogFile
from controller.adapters.season_log.rows import header_row
from controller.core.decisions import Cause, Decisions
from controller.core.plan import Plan
from controller.core.scan import (
    Hold,
    LogHealth,
    PowerReport,
    Quality,
    Reading,
    Refusal,
    RelayReport,
    Request,
    Reset,
    Scan,
    SetSetpoint,
)
from controller.core.state import State, Trip, fresh_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import MilliC, Millis, UtcMillis
from controller.ports import RunHeader
from tests.builders import UTC_MS, a_mat, a_plan, surface_probe

SCANS = 120
TRIPS = {
    "north": Trip(
        Cause.OVER_CUTOUT,
        "n1",
        MilliC(33_100),
        MilliC(33_000),
        Millis(5_000),
        UtcMillis(UTC_MS),
    )
}

Taken = tuple[Scan, Decisions, State]


@cache
def plan() -> Plan:
    """Return the bench."""
    return a_plan(a_mat(surface=surface_probe()))


def header(run: str) -> RunHeader:
    """Return the header of a run."""
    return RunHeader(
        run=run,
        origin="live",
        started_run_ms=0,
        started_utc_ms=UTC_MS,
        plan=plan(),
        state=fresh_state(plan()),
        timezone="UTC",
        decisions_version=DECISIONS_VERSION,
        versions={"python": "3.11"},
    )


@cache
def taken() -> tuple[Taken, ...]:
    """Return the scans of a run, decided."""
    state, made = fresh_state(plan()), []
    for seq in range(1, SCANS + 1):
        scan = _scan(seq)
        state, decisions = step(plan(), state, scan)
        made.append((scan, decisions, state))
    return tuple(made)


def _scan(seq: int) -> Scan:
    """Return a scan: cool, then so warm that the mat trips, then cool again."""
    run_ms = Millis(seq * 5_000 + (seq > SCANS // 2) * 60_000)
    warmth_mc = 20_000 + 300 * min(seq, 60)
    readings = [Reading("n1", Millis(run_ms - 900), warmth_mc)] * (seq % 7 > 0)
    if seq % 3 == 0:
        doubtful = Quality.UNCERTAIN if seq % 2 else Quality.GOOD
        note = "retained by the broker" if seq % 2 else ""
        readings.append(Reading("n2", run_ms, 85_000 if seq == 33 else 20_500))
        readings.append(Reading("s1", run_ms, 25_000, doubtful, note))
    wishes = {
        20: SetSetpoint("north", MilliC(22_000), Millis(600_000)),
        70: Hold("north", Millis(60_000)),
        80: Reset("north"),
        81: Hold("nowhere", Millis(1)),
    }
    odd = seq % 10 == 0
    return Scan(
        seq=seq,
        run_ms=run_ms,
        utc_ms=UtcMillis(UTC_MS + run_ms + (seq > 100) * 3_600_000),
        clock_ok=seq > 5,
        local_day=20_370,
        local_minute=seq,
        readings=tuple(readings),
        refusals=(Refusal("n9", run_ms, "empty; a number", "\\x00"),) if odd else (),
        relay_reports=(RelayReport("north", run_ms, odd, seq, "lost"),) if odd else (),
        power_reports=(PowerReport("north", run_ms, 99_000),) if odd else (),
        link_up=not 40 < seq < 50,
        log_health=LogHealth.OK if seq != 90 else LogHealth.FAILED,
        requests=(Request(seq, "Ada", wishes[seq]),) if seq in wishes else (),
    )


@cache
def written(season: str) -> dict[str, bytes]:
    """Return the files of a season log, by what is added to its name.

    Args:
        season: "closed": closed in good order. "crashed": its writer was killed,
            and half of it is still in the journal beside it.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        log = LogFile(path)
        for run in ("run-1", "run-2"):
            log.begin(header_row(header(run)))
            log.write(list(taken()[: SCANS // 2]))
            log.commit()
            log.write(list(taken()[SCANS // 2 :]))
            log.note_lost(SCANS + 1, SCANS + 3)
            log.commit()
        if season == "closed":
            log.close()
        found = {
            file.name.removeprefix("season.db"): file.read_bytes()
            for file in sorted(path.parent.glob("season.db*"))
            if not file.name.endswith((".lock", "-shm"))
        }
        log.abandon()
    return found
