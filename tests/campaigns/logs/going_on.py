"""What a daemon's start, and a writer, make of a damaged season log."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from controller.adapters.season_log import (
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
    TripFile,
    trips_beside,
)
from controller.adapters.settings import Settings, load
from controller.cli.beginning import run_header
from controller.cli.opening import opened
from controller.cli.paths import config_dir
from controller.core.plan import Plan
from controller.core.scan import LogHealth, Reading, Scan
from controller.core.state import State, fresh_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import HOUR_MS, MINUTE_MS, Millis, UtcMillis
from controller.ports import Instant, RunHeader
from tests.builders import UTC_MS
from tests.campaigns.logs.season import PROBES, SCAN_MS

LATER_MS = 100 * HOUR_MS
"""When the bench is started again, after it first began [ms]."""

WAIT_S = 30.0
"""A writer that is silent for longer than this hangs."""


@dataclass
class Start:
    """What became of a start: in a word, and what was said."""

    outcome: str
    said: str = ""
    wrong: list[str] = field(default_factory=list)


def lay(folder: Path, files: Mapping[str, bytes]) -> Path:
    """Put the files of a log into a folder of its own; return the log's path."""
    folder.mkdir()
    path = folder / "season.db"
    for name, content in files.items():
        path.with_name(path.name + name).write_bytes(content)
    TripFile(trips_beside(path)).save({})
    return path


def settings_for(path: Path, plan: Plan) -> Settings:
    """Return what a daemon is started with."""
    told = load(config_dir() / "bench.toml", {})
    log = replace(told.log, path=path, fold_after_ms=HOUR_MS)
    return replace(told, plan=plan, log=log)


def started(path: Path, plan: Plan, hour: int) -> Start:
    """Start as `bottomheat run` does, scan three times, and end in good order."""
    before = {file.name: file.read_bytes() for file in path.parent.glob("season.db*")}
    told: list[str] = []
    utc_ms = UTC_MS + LATER_MS + hour * HOUR_MS
    now = Instant(0, utc_ms, True, *divmod(utc_ms // MINUTE_MS, 1_440))
    try:
        opening = opened(settings_for(path, plan), now, {}, told.append)
    except LogError as error:
        wrong = [] if str(path) in str(error) else [f"names no file: {error}"]
        return Start("refused", str(error), wrong)
    begun = opening.begun
    at = replace(now, run_ms=begun.run_ms)
    header = run_header("live", plan, begun.state, at, "UTC", opening.notes)
    start = Start("went on", "; ".join((*opening.notes, *told)))
    try:
        opening.log.begin(header)
        _scanned(opening.log, plan, begun.state, at, 3)
        if not opening.log.settle():
            start.wrong.append("the writer hangs")
        if opening.log.health() is not LogHealth.OK:
            start.outcome, start.said = "log fails", opening.log.trouble
        opening.log.end(at, "stopped by SIGTERM")
    finally:
        opening.log.close()
    aside = list(path.parent.glob("season.db.damaged-*"))
    if any("set aside as" in note for note in opening.notes):
        start.outcome = "set aside"
        start.wrong += _not_kept(before, {f.name: f.read_bytes() for f in aside})
    return start


def _not_kept(before: Mapping[str, bytes], aside: Mapping[str, bytes]) -> list[str]:
    """Return what of a log that was set aside is no more as it was."""
    return [
        f"{name} was set aside, and is not as it was"
        for name, content in before.items()
        if name in {"season.db", "season.db-wal"} and content not in aside.values()
    ]


def _scanned(
    log: SeasonLogWriter, plan: Plan, state: State, at: Instant, scans: int
) -> None:
    for seq in range(1, scans + 1):
        scan = a_scan(seq, at.run_ms + seq * SCAN_MS, at.utc_ms + seq * SCAN_MS)
        state, decisions = step(plan, state, scan)
        log.append(scan, replace(decisions, flush=True), state)


def a_scan(seq: int, run_ms: int, utc_ms: int) -> Scan:
    """Return a plain scan."""
    day, minute = divmod(utc_ms // MINUTE_MS, 1_440)
    return Scan(
        seq=seq,
        run_ms=Millis(run_ms),
        utc_ms=UtcMillis(utc_ms),
        clock_ok=True,
        local_day=day,
        local_minute=minute,
        readings=tuple(Reading(p, Millis(run_ms - 9), 20_500) for p in PROBES),
    )


def written_on(path: Path, plan: Plan, begins_ms: int, passes: int) -> Start:
    """Let a writer go on in a log, without any look at it before, and fold it.

    Args:
        path: The log.
        plan: The bench.
        begins_ms: Bench clock at which it goes on [ms].
        passes: How often it is asked to commit, and may fold.
    """
    told: list[str] = []
    try:
        log = SeasonLogWriter(
            path,
            fold_after_ms=HOUR_MS,
            retry_s=WAIT_S,
            patience_s=WAIT_S,
            tell=told.append,
        )
    except LogError as error:
        return Start("refused", str(error))
    start = Start("went on")
    try:
        log.begin(_header(plan, begins_ms))
        for seq in range(1, passes + 1):
            now_ms = begins_ms + seq * SCAN_MS
            scan = a_scan(seq, now_ms, UTC_MS + now_ms)
            _, decisions = step(plan, fresh_state(plan), scan)
            log.append(scan, replace(decisions, flush=True), fresh_state(plan))
            if not log.settle():
                start.wrong.append("the writer hangs")
                break
        committed = asyncio.run(asyncio.wait_for(log.committed(passes), WAIT_S))
        if not committed:
            start.outcome, start.said = "log fails", log.trouble
        elif any("not as it was written" in text for text in told):
            start.outcome, start.said = "went on, told", told[-1]
        if "has ended" in log.trouble:
            start.wrong.append(log.trouble)
        if committed and SeasonLogReader(path).last_seq("again") != passes:
            start.wrong.append("what it called committed is not there")
    except LogError as error:
        start.said = str(error)  # of the reader: it cannot know, and says so
    finally:
        log.close()
    return start


def _header(plan: Plan, begins_ms: int) -> RunHeader:
    return RunHeader(
        run="again",
        origin="live",
        started_run_ms=begins_ms,
        started_utc_ms=UTC_MS + begins_ms,
        plan=plan,
        state=fresh_state(plan),
        timezone="UTC",
        decisions_version=DECISIONS_VERSION,
        versions={},
    )
