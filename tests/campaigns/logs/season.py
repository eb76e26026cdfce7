"""A season log to ill-treat: three runs of an invented bench, something in every table.

The first run ends in good order, the second is killed, the third loses scans to
a full disk; what is older than six hours is folded. Whoever ill-treats it knows
from here what was written, not from the log.
"""

import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.season_log import LogFile
from controller.adapters.season_log.record_rows import change_row
from controller.adapters.season_log.rows import Ending, header_row
from controller.core.decisions import Decisions
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
from controller.core.state import State, fresh_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import HOUR_MS, MINUTE_MS, MilliC, Millis, UtcMillis
from controller.ports import RunHeader
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind
from tests.builders import UTC_MS, a_mat, a_plan, a_tray, surface_probe

SCAN_MS = 20_000
FOLD_AFTER_MS = 6 * HOUR_MS
LOST_SCANS = 7
AFTER_LOSS = 20
ENDED = "stopped by SIGTERM"
SEASONS = ("closed", "crashed", "just copied")
"""How it was left: in good order; with a "-wal" that began anew; with one that had
just been copied into the log, all of it."""

_BATCH = 60
_SHARES = (0.4, 0.35, 0.25)

RECORDS = [
    Change(
        number,
        UTC_MS + number,
        "a hand",
        str(number),
        BenchEvent(
            kind=EventKind.WATERED,
            utc_ms=UTC_MS + number * MINUTE_MS,
            trays=("N1", "S2"),
            water_ml=100.0 + number,
            text=f"can number {number} of the invented rain barrel",
        ),
    )
    for number in range(1, 61)
]
"""What people saw and did: twenty in each run."""

Taken = tuple[Scan, Decisions, State]


@dataclass(frozen=True)
class Season:
    """A season log, and what was put in.

    Attributes:
        plan: The bench.
        headers: Of its runs.
        taken: By run: its scans, with what they decided and the state after them.
        records: What people saw and did.
        files: By how it was left, then by what is added to its name: its files.
    """

    plan: Plan
    headers: Mapping[str, RunHeader]
    taken: Mapping[str, list[Taken]]
    records: tuple[Change, ...]
    files: Mapping[str, Mapping[str, bytes]]


def a_bench() -> Plan:
    """Return a bench with nine probes on two mats."""
    north = a_mat(
        trays=(a_tray("N1", "n1", "n2"), a_tray("N2", "n3"), a_tray("N3", "n4")),
        surface=surface_probe("s1"),
    )
    south = a_mat(
        "south",
        trays=(a_tray("S1", "p1", "p2"), a_tray("S2", "p3")),
        surface=surface_probe("s2"),
    )
    return a_plan(north, south, scan_ms=Millis(SCAN_MS))


PROBES = ("n1", "n2", "n3", "n4", "s1", "p1", "p2", "p3", "s2")


def written(hours: float, fold_after_ms: int = FOLD_AFTER_MS) -> Season:
    """Write a season of so many hours, anew, the same each time."""
    plan = a_bench()
    headers: dict[str, RunHeader] = {}
    taken: dict[str, list[Taken]] = {}
    state, begins_ms = fresh_state(plan), 0
    for number, share in enumerate(_SHARES, 1):
        run = f"run-{number}"
        headers[run] = _header(run, plan, state, begins_ms)
        scans = round(share * hours * HOUR_MS / SCAN_MS)
        taken[run] = list(_decided(plan, state, begins_ms, scans))
        state = taken[run][-1][2]
        if number == len(_SHARES):
            del taken[run][-AFTER_LOSS - LOST_SCANS : -AFTER_LOSS]
        begins_ms = state.run_ms + 10 * MINUTE_MS
    files = {how: _files(headers, taken, how, fold_after_ms) for how in SEASONS}
    return Season(plan, headers, taken, tuple(RECORDS), files)


def _header(run: str, plan: Plan, state: State, run_ms: int) -> RunHeader:
    return RunHeader(
        run=run,
        origin="live",
        started_run_ms=run_ms,
        started_utc_ms=UTC_MS + run_ms,
        plan=plan,
        state=state,
        timezone="UTC",
        decisions_version=DECISIONS_VERSION,
        versions={"python": "3.11"},
        notes=("an invented bench",),
    )


def _decided(plan: Plan, state: State, begins_ms: int, scans: int) -> Iterator[Taken]:
    for seq in range(1, scans + 1):
        scan = _scan(seq, begins_ms + seq * SCAN_MS)
        state, decisions = step(plan, state, scan)
        yield scan, decisions, state


def _scan(seq: int, due_ms: int) -> Scan:
    run_ms = Millis(due_ms + seq * 7 % 40)
    utc_ms = UtcMillis(UTC_MS + run_ms + (seq > 900) * 5_000 + seq * 3 % 11)
    day, minute = divmod(utc_ms // MINUTE_MS, 1_440)
    return Scan(
        seq=seq,
        run_ms=run_ms,
        utc_ms=utc_ms,
        clock_ok=seq > 3,
        local_day=day,
        local_minute=minute,
        readings=tuple(_readings(seq, run_ms)),
        refusals=(Refusal("n9", run_ms, "empty; a number", "\\x00"),)
        if seq % 211 == 0
        else (),
        relay_reports=tuple(_reports(seq, run_ms)),
        power_reports=(PowerReport("north", run_ms, 99_000),) if seq % 30 == 0 else (),
        link_up=seq % 500 not in range(40, 44),
        log_health=LogHealth.FAILED if seq in {333, 334} else LogHealth.OK,
        requests=tuple(_requests(seq)),
    )


def _readings(seq: int, run_ms: int) -> Iterator[Reading]:
    for n, probe in enumerate(PROBES):
        if (seq + n) % 2:
            continue
        swing_mc = abs((seq * 3 + 90 * n) % 3_000 - 1_500)
        at_ms = Millis(run_ms - 800 - 13 * n)
        if (seq, probe) == (290, "n1"):
            yield Reading(
                probe, at_ms, 85_000
            )  # what a probe says that did not measure
        elif (seq + n) % 97 == 0:
            note = "retained by the broker"
            yield Reading(probe, at_ms, 20_000, Quality.UNCERTAIN, note)
        elif (seq + n) % 101 == 0:
            yield Reading(probe, at_ms, None, Quality.BAD, "no number")
        else:
            yield Reading(probe, at_ms, 20_300 + swing_mc + 50 * n)


def _reports(seq: int, run_ms: Millis) -> Iterator[RelayReport]:
    if seq % 15 == 0:
        reason = "lost" if seq % 450 == 0 else "command"
        yield RelayReport("north", run_ms, seq % 30 == 0, seq, reason)


def _requests(seq: int) -> Iterator[Request]:
    wishes = {
        200: SetSetpoint("north", MilliC(22_000), Millis(6 * HOUR_MS)),
        270: Hold("south", Millis(10 * MINUTE_MS)),
        350: Reset("north"),
        351: Hold("nowhere", Millis(1)),
    }
    if seq % 400 in wishes:
        yield Request(seq, "Ada", wishes[seq % 400])


def _files(
    headers: Mapping[str, RunHeader],
    taken: Mapping[str, list[Taken]],
    how: str,
    fold_after_ms: int,
) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        log = LogFile(path)
        for run in ("run-1", "run-2"):
            log.begin(header_row(headers[run]))
            _put(log, taken[run], fold_after_ms)
            _tell(log, run)
            if run == "run-1":
                _end(log, taken[run][-1][0])
        _put_last_run(log, path, headers["run-3"], taken["run-3"], fold_after_ms, how)
        if how == "closed":
            _end(log, taken["run-3"][-1][0])
            log.close()
        found = {
            file.name.removeprefix("season.db"): file.read_bytes()
            for file in sorted(path.parent.glob("season.db*"))
            if not file.name.endswith((".lock", "-shm"))
        }
        log.abandon()
    return found


def _put_last_run(
    log: LogFile,
    path: Path,
    header: RunHeader,
    scans: list[Taken],
    fold_after_ms: int,
    how: str,
) -> None:
    log.begin(header_row(header))
    half = len(scans) // 2
    _put(log, scans[:half], fold_after_ms)
    if how == "crashed":
        _copied(path)
    _tell(log, header.run)
    _put(log, scans[half:-AFTER_LOSS], fold_after_ms)
    first = scans[-AFTER_LOSS - 1][0].seq + 1
    log.note_lost(first, first + LOST_SCANS - 1)
    _put(log, scans[-AFTER_LOSS:], fold_after_ms)
    if how == "just copied":
        _copied(path)


def _put(log: LogFile, scans: list[Taken], fold_after_ms: int) -> None:
    for first in range(0, len(scans), _BATCH):
        batch = scans[first : first + _BATCH]
        log.write(batch)
        log.commit()
        while log.fold_some(fold_after_ms, batch[-1][0].run_ms):
            pass


def _tell(log: LogFile, run: str) -> None:
    """Write a run's share of the records, one by one as people do."""
    first = 20 * (int(run[-1]) - 1)
    for change in RECORDS[first : first + 20]:
        log.add_records([change_row(change)])


def _end(log: LogFile, at: Scan) -> None:
    log.end(Ending(at.run_ms, at.utc_ms, ENDED))
    log.commit()


def _copied(path: Path) -> None:
    """Copy the "-wal" into the log: the next commit begins it anew."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        assert db.execute("PRAGMA wal_checkpoint(RESTART)").fetchone()[0] == 0
