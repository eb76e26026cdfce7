"""What the writer must know of a run from scan to scan, and how it is regained.

All of it stands in the file. After any trouble the writer forgets everything
and reads it again, so that what it believes and what is on the disk cannot
drift apart.
"""

import sqlite3
from collections import defaultdict
from dataclasses import dataclass, field

from controller.adapters.season_log.clock import Stretch, deviation, stretch_from
from controller.adapters.season_log.rows import (
    FoundRow,
    HeaderRow,
    NameBook,
    Offsets,
    Rows,
    add_doubts,
    add_findings,
    add_other_inputs,
    add_readings,
    offsets_of,
    packed_state,
    plan_of,
)
from controller.adapters.season_log.segments import (
    blocks,
    names,
    rows_about,
    unfolded,
)
from controller.adapters.season_log.sums import scan_sum, with_sum
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import Scan
from controller.core.state import State
from controller.core.units import HOUR_MS
from controller.wire import encode_numbers, take_news, to_text

Taken = tuple[Scan, Decisions, State]
"""A scan, what it decided and the state after it."""

SNAPSHOT_EVERY_MS = HOUR_MS


@dataclass(slots=True)
class RunMemory:
    """A run that is being written.

    Attributes:
        run_id: Its number; scan seq has the number run_id + seq.
        started_run_ms: Bench clock at its start [ms].
        every_ms: From scan to scan [ms].
        offsets: What is added to the readings of each probe [mK].
        last_id: Number of the last scan written; at first the run's.
        stretch: The present stretch of even time; None: a scan begins one.
        said: The last command recorded of each mat.
        snapshot_ms: Run clock of the last snapshot [ms]; None: none yet.
        unsaved: The last state, where no snapshot holds it.
    """

    run_id: int
    started_run_ms: int
    every_ms: int
    offsets: Offsets
    last_id: int
    stretch: Stretch | None = None
    said: dict[str, Command] = field(default_factory=dict)
    snapshot_ms: int | None = None
    unsaved: State | None = None


def new_run(run_id: int, header: HeaderRow) -> RunMemory:
    """Return the memory of a run that has no scan yet."""
    return _memory(run_id, header.started_run_ms, header.plan)


def _memory(run_id: int, started_run_ms: int, plan: Plan) -> RunMemory:
    every_ms = max(1, plan.scan_ms)
    return RunMemory(run_id, started_run_ms, every_ms, offsets_of(plan), run_id)


def regained(connection: sqlite3.Connection, run: str) -> RunMemory | None:
    """Return the memory of a run as the file has it; None: it has no such run.

    Only the newest run of a file can be written on. It goes on in a stretch of
    even time of its own, with a snapshot.
    """
    found = connection.execute(
        "SELECT id, started_run_ms, plan FROM run"
        " WHERE run = ? AND id = (SELECT max(id) FROM run)",
        (run,),
    ).fetchone()
    if found is None:
        return None
    memory = _memory(found[0], found[1], plan_of(found[2]))
    memory.last_id = max(memory.run_id, newest_id(connection))
    memory.said = _said(connection, memory.run_id, plan_of(found[2]))
    return memory


def newest_id(connection: sqlite3.Connection) -> int:
    """Return the highest number that a scan, a run or a loss has; 0: none."""
    (newest,) = connection.execute(
        "SELECT max(coalesce((SELECT max(id) FROM scan), 0),"
        " coalesce((SELECT max(last) FROM block), 0),"
        " coalesce((SELECT max(id) FROM run), 0),"
        " coalesce((SELECT max(last) FROM forgotten), 0),"
        " coalesce((SELECT max(last) FROM lost), 0))"
    ).fetchone()
    return int(newest)


def _said(db: sqlite3.Connection, run_id: int, plan: Plan) -> dict[str, Command]:
    """Return the last command recorded of each mat; folded ones where need be."""
    said: dict[str, Command] = {}
    known = names(db)
    _add_said(said, known, rows_about(db, run_id + 1, newest_id(db))["command"])
    for block in blocks(db, run_id + 1, newest_id(db), newest_first=True):
        if len(said) == len(plan.mats):
            break
        if "command" in block.news:
            earlier: dict[str, Command] = {}
            _add_said(earlier, known, unfolded(db, block).rows["command"])
            said = earlier | said
    return said


def _add_said(
    said: dict[str, Command], known: dict[int, str], rows: list[FoundRow]
) -> None:
    for _, _, mat, on, cause, _ in rows:
        said[known[mat]] = Command(known[mat], bool(on), Cause(cause))


def rows_of(memory: RunMemory, names: NameBook, batch: list[Taken]) -> Rows:
    """Return the rows of scans, and remember them.

    A scan that was written already is left out: whether a commit that failed
    took place after all, only the file knows.
    """
    rows: Rows = defaultdict(list)
    for scan, decisions, state in batch:
        scan_id = memory.run_id + scan.seq
        if scan_id > memory.last_id:
            if scan_id > memory.last_id + 1:  # numbers have no holes
                rows["lost"].append(with_sum((memory.last_id + 1, scan_id - 1)))
            about: Rows = defaultdict(list)
            _add_inputs(about, memory, names, scan_id, scan)
            _add_outputs(about, memory, names, scan_id, scan, decisions)
            about["scan"] = [(*about["scan"][0], scan_sum(about))]
            _add_snapshot(about, memory, scan_id, scan, state)
            for table, told in about.items():
                rows[table] += told
            memory.last_id = scan_id
    return rows


def _add_inputs(
    rows: Rows, memory: RunMemory, names: NameBook, scan_id: int, scan: Scan
) -> None:
    stretch = memory.stretch
    off = stretch and deviation(stretch, scan_id, scan)
    if off is None:
        memory.stretch = stretch_from(scan_id, scan, memory.every_ms)
        rows["clock"].append(with_sum(memory.stretch))
        off = (0, 0)
    rows["scan"].append((scan_id, *off))
    if scan.readings:
        add_readings(rows, scan_id, scan, names)
    if scan.refusals or scan.relay_reports or scan.power_reports or scan.requests:
        add_other_inputs(rows, scan_id, scan, names)


def _add_outputs(
    rows: Rows,
    memory: RunMemory,
    names: NameBook,
    scan_id: int,
    scan: Scan,
    decisions: Decisions,
) -> None:
    for n, command in enumerate(take_news(memory.said, decisions.commands)):
        mat, on = names[command.mat], int(command.energised)
        numbers = to_text(encode_numbers(command.numbers))
        rows["command"].append((scan_id, n, mat, on, command.cause.value, numbers))
    if decisions.doubts:
        add_doubts(rows, scan_id, scan, decisions.doubts, names, memory.offsets)
    if decisions.alarm_changes or decisions.answers:
        add_findings(rows, scan_id, decisions)


def _add_snapshot(
    rows: Rows, memory: RunMemory, scan_id: int, scan: Scan, state: State
) -> None:
    last_ms = memory.snapshot_ms
    if last_ms is None or scan.run_ms - last_ms >= SNAPSHOT_EVERY_MS:
        rows["snapshot"].append(with_sum((scan_id, packed_state(state))))
        memory.snapshot_ms, memory.unsaved = scan.run_ms, None
    else:
        memory.unsaved = state
