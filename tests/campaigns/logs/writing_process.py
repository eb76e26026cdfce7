"""A process that writes a season log as fast as it can, to be killed.

It goes on in the file it is given, tells on its output each scan that it was told
is on the disk, and folds what is forty scans old.
"""

import asyncio
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3]))  # it is started as a script

from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import Reading, Scan
from controller.core.state import fresh_state
from controller.core.units import MINUTE_MS, Millis, UtcMillis
from controller.ports import RunHeader
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind

SCAN_MS = 240_000
"""So long that 30 scans are a block: then folding is always under way."""

FOLD_AFTER_MS = 40 * SCAN_MS
FLUSH_EVERY = 5
RECORD_EVERY = 7
NEVER_MS = 10**15
"""Its clock races: no commit is late by it."""

PROBES = 8


def a_scan(seq: int, begins_ms: int) -> Scan:
    """Return the scan of a number, the same each time."""
    run_ms = begins_ms + seq * SCAN_MS
    day, minute = divmod(run_ms // MINUTE_MS, 1_440)
    readings = tuple(
        Reading(f"p{n}", Millis(run_ms - n), 20_000 + (seq * 37 + n) % 900)
        for n in range(PROBES)
    )
    return Scan(seq, Millis(run_ms), UtcMillis(run_ms), True, day, minute, readings)


def a_record(number: int) -> Change:
    """Return the record of a number, the same each time."""
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=number, text=f"note {number}")
    return Change(number, number, "a hand", str(number), value)


async def write(path: Path, run: str, begins_ms: int) -> None:
    """Write until somebody ends it."""
    plan = Plan(bench="invented", scan_ms=Millis(SCAN_MS))
    state = fresh_state(plan)
    log = SeasonLogWriter(
        path,
        commit_every_ms=NEVER_MS,
        fold_after_ms=FOLD_AFTER_MS,
        patience_s=30.0,
        tell=_tell,
    )
    header = RunHeader(
        run=run,
        origin="live",
        started_run_ms=begins_ms,
        started_utc_ms=begins_ms,
        plan=plan,
        state=state,
        timezone="UTC",
        decisions_version=1,
        versions={},
    )
    log.begin(header)
    print("ready", flush=True)
    seq, known = 0, len(SeasonLogReader(path).changes()) if log.settle() else 0
    while True:
        seq += 1
        flush = seq % FLUSH_EVERY == 0
        command = Command("north", seq % 2 == 0, Cause.BELOW_BAND)
        log.append(a_scan(seq, begins_ms), Decisions((command,), flush=flush), state)
        if flush and await log.committed(seq):
            print(seq, flush=True)
        if seq % RECORD_EVERY == 0:
            known += 1
            await log.keep([a_record(known)])
            print(f"kept {known}", flush=True)


def _tell(words: str) -> None:
    print(f"told: {words}", flush=True)


if __name__ == "__main__":
    asyncio.run(write(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])))
