"""Folding: old scans of a season log into blocks, proved before they go.

What may live here: which scans are next, and the one transaction that puts a
block in their place.
"""

import sqlite3
from dataclasses import dataclass

from controller.adapters.season_log.clock import Stretch
from controller.adapters.season_log.folding import Block, folded, scans_kept
from controller.adapters.season_log.rows import FoundRows, offsets_of, plan_of
from controller.adapters.season_log.segments import (
    BlockRow,
    Segment,
    UnsoundError,
    block_row,
    rows_by_scan,
    segments,
    stretch_of,
    unfolded,
)
from controller.adapters.season_log.sums import row_sum, scan_sum
from controller.adapters.season_log.tables import (
    FOLDED,
    KEPT,
    READINGS_PER_SCAN,
    SERIES_OF_PROBE,
)
from controller.core.units import DAY_MS, HOUR_MS

BLOCK_MS = 4 * HOUR_MS
"""Chosen: folded in an instant, yet long enough to be folded small."""

_END = 2**62

MOST_SCANS = 4_000
"""Of a block, however short its scans."""


@dataclass(frozen=True, slots=True)
class Horizon:
    """What is old enough to be folded.

    Attributes:
        run: Number of the present run.
        started_run_ms: Bench clock at its start [ms].
        before_run_ms: Bench clock: what is older may be folded [ms].
    """

    run: int
    started_run_ms: int
    before_run_ms: int

    def is_old(self, scan: int, run_ms: int) -> bool:
        """Whether a scan is old enough.

        Runs whose clock is not this run's, such as imported ones, are.
        """
        foreign = scan < self.run and run_ms > self.started_run_ms
        return foreign or run_ms < self.before_run_ms


@dataclass(frozen=True, slots=True)
class Ready:
    """Scans that can be folded.

    Attributes:
        stretch: Their stretch.
        first: Number of the first.
        last: Number of the last.
    """

    stretch: Stretch
    first: int
    last: int


def next_ready(db: sqlite3.Connection, after: int, horizon: Horizon) -> Ready | None:
    """Return the next scans that are old enough to be folded.

    Args:
        db: The log.
        after: Number of the scan after which to look.
        horizon: What is old enough.
    """
    row = db.execute(
        "SELECT min(id) FROM scan WHERE id > max(?,"
        " coalesce((SELECT max(last) FROM block), 0))",
        (after,),
    ).fetchone()
    if row[0] is None:
        return None
    first: int = row[0]
    stretch = stretch_of(db, first)
    (end,) = db.execute(
        "SELECT coalesce(min(scan), ?) FROM clock WHERE scan > ?", (_END, first)
    ).fetchone()
    most = max(1, min(MOST_SCANS, BLOCK_MS // stretch.every_ms))
    last = _last_in_a_row(db, first, min(first + most, end) - 1)
    whole = last == first + most - 1 or last + 1 == end or _follows(db, last)
    due_ms = stretch.run_ms + (last - stretch.scan) * stretch.every_ms
    old = horizon.is_old(first, due_ms)
    return Ready(stretch, first, last) if whole and old else None


def _last_in_a_row(db: sqlite3.Connection, first: int, last: int) -> int:
    """Return the last of the scans that follow first without a hole."""
    found = db.execute(
        "SELECT id FROM scan WHERE id >= ? AND id <= ? ORDER BY id", (first, last)
    )
    at = first - 1
    for (scan,) in found:
        if scan != at + 1:
            break
        at = scan
    return at


def _follows(db: sqlite3.Connection, scan: int) -> bool:
    (found,) = db.execute(
        "SELECT EXISTS (SELECT 1 FROM scan WHERE id > ?1)"
        " OR EXISTS (SELECT 1 FROM run WHERE id > ?1)",
        (scan,),
    ).fetchone()
    return bool(found)


def fold(db: sqlite3.Connection, ready: Ready) -> None:
    """Put a block in the place of scans, in a transaction of the caller's.

    Raises:
        UnsoundError: What stands there is not as it was written, or did not
            come back from the block: then nothing may be folded.
        sqlite3.Error: The disk does not take it.
    """
    whole = list(segments(db, ready.first, ready.last, MOST_SCANS))
    if len(whole) != 1 or whole[0].last != ready.last or whole[0].unsound:
        raise UnsoundError(
            f"scans {ready.first} to {ready.last} do not fit their check numbers"
        )
    rows = whole[0].rows
    block = folded(ready.stretch, rows, _offsets(db, ready.first))
    _insert(db, block)
    kept = scans_kept(rows)
    _delete(db, ready.first, ready.last)
    _keep(db, rows, kept)
    _thin_out(db, ready)
    told = BlockRow(block.first, block.last, tuple(sorted(block.series)), block.news)
    if _filled(unfolded(db, told)) != _filled(whole[0]):
        raise UnsoundError(f"scans {ready.first} to {ready.last} do not fold exactly")


def _filled(segment: Segment) -> FoundRows:
    return {table: list(rows) for table, rows in segment.rows.items() if rows}


def _offsets(db: sqlite3.Connection, scan: int) -> dict[int, int]:
    """Return what is added to readings in a scan, by number of the probe [mK]."""
    (plan,) = db.execute(
        "SELECT plan FROM run WHERE id < ? ORDER BY id DESC LIMIT 1", (scan,)
    ).fetchone()
    offsets = offsets_of(plan_of(plan))
    return {
        key: offsets.get(name, 0)
        for key, name in db.execute("SELECT id, name FROM name")
    }


def _insert(db: sqlite3.Connection, block: Block) -> None:
    row = block_row(block.first, block.last, sorted(block.series), block.news)
    db.execute("INSERT INTO block VALUES (?, ?, ?, ?, ?)", (*row, row_sum(row)))
    body = (block.first, block.scans, block.body)
    db.execute("INSERT INTO folded VALUES (?, ?, ?, ?)", (*body, row_sum(body)))
    for probe, series in sorted(block.series.items()):
        cells = (probe * SERIES_OF_PROBE + block.first, *series)
        db.execute(
            "INSERT INTO series VALUES (?, ?, ?, ?, ?)", (*cells, row_sum(cells))
        )


def _delete(db: sqlite3.Connection, first: int, last: int) -> None:
    keys = (first * READINGS_PER_SCAN, (last + 1) * READINGS_PER_SCAN)
    db.execute("DELETE FROM reading WHERE id >= ? AND id < ?", keys)
    db.execute("DELETE FROM remark WHERE reading >= ? AND reading < ?", keys)
    db.execute("DELETE FROM scan WHERE id >= ? AND id <= ?", (first, last))
    for table in FOLDED:
        db.execute(
            f"DELETE FROM {table} WHERE scan >= ? AND scan <= ?",  # noqa: S608
            (first, last),
        )


def _keep(db: sqlite3.Connection, rows: FoundRows, kept: set[int]) -> None:
    """Write the scans again about which something stays, with sums of just that."""
    stays = {table: rows[table] for table in ("scan", *KEPT)}
    about = rows_by_scan(stays)
    for scan in sorted(kept):
        cells = about[scan]["scan"][0]
        total = scan_sum(about[scan])
        db.execute("INSERT INTO scan VALUES (?, ?, ?, ?)", (*cells, total))


def _thin_out(db: sqlite3.Connection, ready: Ready) -> None:
    """Leave a state a day: those between come back by deciding again.

    The last one of a run stays, since the next run may begin from it.
    """
    (newest,) = db.execute(
        "SELECT max(scan) FROM snapshot WHERE scan < coalesce("
        "(SELECT min(id) FROM run WHERE id > ?), ?)",
        (ready.first, _END),
    ).fetchone()
    found = db.execute(
        "SELECT scan, (SELECT max(scan) FROM snapshot WHERE scan < ?1"
        " AND scan > (SELECT max(id) FROM run WHERE id < ?1)) FROM snapshot"
        " WHERE scan >= ?1 AND scan <= ?2 ORDER BY scan",
        (ready.first, ready.last),
    ).fetchall()
    kept = found[0][1] if found else None
    for scan, _ in found:
        passed_ms = None if kept is None else (scan - kept) * ready.stretch.every_ms
        if passed_ms is None or passed_ms >= DAY_MS or scan == newest:
            kept = scan
        else:
            db.execute("DELETE FROM snapshot WHERE scan = ?", (scan,))
