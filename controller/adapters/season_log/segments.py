"""Everything that a season log tells about some scans, folded or not, proved.

What may live here: fetching whole scans by their numbers, from rows or from
blocks, and holding them to their check numbers.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from controller.adapters.season_log.clock import Stretch, moment
from controller.adapters.season_log.folding import readings_of, record_of, scans_of
from controller.adapters.season_log.rows import FoundRow, FoundRows, Row
from controller.adapters.season_log.sums import row_sum, scan_sum
from controller.adapters.season_log.tables import (
    EVENTS,
    KEPT,
    READINGS_PER_SCAN,
    SERIES_OF_PROBE,
)


class UnsoundError(ValueError):
    """Something in the file is not as it was written, or is missing."""


@dataclass(frozen=True, slots=True)
class BlockRow:
    """A row of the table `block`."""

    first: int
    last: int
    probes: tuple[int, ...]
    news: tuple[str, ...]


@dataclass(slots=True)
class Segment:
    """Neighbouring scans, whole.

    Attributes:
        first: Number of the first.
        last: Number of the last.
        rows: By table: the rows about them, in order; in `scan` without sums.
        unsound: Numbers of scans whose check number does not fit.
    """

    first: int
    last: int
    rows: FoundRows
    unsound: frozenset[int] = frozenset()


# ------------------------------------------------------------------ small tables


def each_sound(
    db: sqlite3.Connection, table: str, where: str = "", cells: Sequence[object] = ()
) -> Iterator[FoundRow]:
    """Yield rows of a table without their check numbers, which must fit.

    One is there at a time: of a season whose scans are often late some tables have
    many thousand rows.

    Args:
        db: The log.
        table: A table of which each row has a sum of its own.
        where: The rest of the statement.
        cells: What it is asked with.

    Raises:
        UnsoundError: A row is not as it was written.
    """
    for row in db.execute(f"SELECT * FROM {table} {where}", cells):  # noqa: S608
        told = row[:-1]
        if row_sum(told) != row[-1]:
            raise UnsoundError(f"a row of {table} does not fit its check number")
        yield told


def sound_rows(
    db: sqlite3.Connection, table: str, where: str = "", cells: Sequence[object] = ()
) -> list[FoundRow]:
    """Return rows of a table as each_sound yields them; raise alike."""
    return list(each_sound(db, table, where, cells))


def prove_rows(db: sqlite3.Connection, table: str) -> None:
    """Hold every row of a table to its check number; raise as each_sound does."""
    for _ in each_sound(db, table):
        pass


def stretches(db: sqlite3.Connection) -> Iterator[Stretch]:
    """Yield all stretches of even time, oldest first."""
    return map(Stretch._make, each_sound(db, "clock", "ORDER BY scan"))


def names(db: sqlite3.Connection) -> dict[int, str]:
    """Return the names of probes and mats by their numbers."""
    return dict(sound_rows(db, "name"))


_BLOCKS = """WHERE first >= coalesce(
        (SELECT max(first) FROM block WHERE first <= ?1), ?1)
    AND last >= ?1 AND first <= ?2 ORDER BY first"""
"""Blocks of two scans and of all between: none begins within another one."""


def blocks(
    db: sqlite3.Connection, first: int, last: int, *, newest_first: bool = False
) -> Iterator[BlockRow]:
    """Yield the blocks that have scans from first to last, oldest first or newest.

    Raises:
        UnsoundError: A row about one is not as it was written.
    """
    where = _BLOCKS + " DESC" if newest_first else _BLOCKS
    for start, end, probes, news in each_sound(db, "block", where, (first, last)):
        yield BlockRow(start, end, _numbers(probes), tuple(news.split()))


def _numbers(text: str) -> tuple[int, ...]:
    return tuple(map(int, text.split()))


def block_row(first: int, last: int, probes: Sequence[int], news: Sequence[str]) -> Row:
    """Return the row of a block, without its check number."""
    return first, last, " ".join(map(str, probes)), " ".join(news)


# -------------------------------------------------------------------- whole scans


def segments(
    db: sqlite3.Connection, first: int, last: int, most: int
) -> Iterator[Segment]:
    """Yield all scans from first to last, in pieces of about so many.

    A block comes whole, whatever of it was asked for.

    Raises:
        UnsoundError: A block is not as it was written.
    """
    at = first
    for block in blocks(db, first, last):
        yield from loose_segments(db, at, block.first - 1, most)
        yield unfolded(db, block)
        at = block.last + 1
    yield from loose_segments(db, at, last, most)


def loose_segments(
    db: sqlite3.Connection, first: int, last: int, most: int = 2_000
) -> Iterator[Segment]:
    """Yield the unfolded scans from first to last, in pieces of so many."""
    while first <= last:
        found = db.execute(
            "SELECT * FROM scan WHERE id >= ? AND id <= ? ORDER BY id LIMIT ?",
            (first, last, most),
        ).fetchall()
        if not found:
            return
        numbers = [first - 1, *(row[0] for row in found)]
        if any(before >= after for before, after in pairwise(numbers)):
            # What goes by such numbers goes on for ever.
            raise UnsoundError(f"scans from {first} on are out of order")
        yield _proved(db, first, found)
        first = found[-1][0] + 1


def _proved(db: sqlite3.Connection, first: int, scans: list[FoundRow]) -> Segment:
    last = scans[-1][0]
    rows = rows_about(db, first, last)
    rows["scan"] = [row[:-1] for row in scans]
    sums = {row[0]: row[-1] for row in scans}
    unsound = frozenset(unsound_scans(rows, sums))
    if not unsound <= sums.keys():
        raise UnsoundError(f"scan {min(unsound - sums.keys())} is missing")
    return Segment(scans[0][0], last, rows, unsound)


def rows_about(db: sqlite3.Connection, first: int, last: int) -> FoundRows:
    """Return all unfolded rows about some scans, but for those of `scan`."""
    rows: FoundRows = defaultdict(list)
    keys = (first * READINGS_PER_SCAN, (last + 1) * READINGS_PER_SCAN)
    for table, key in (("reading", "id"), ("remark", "reading")):
        rows[table] = db.execute(
            f"SELECT * FROM {table} WHERE {key} >= ? AND {key} < ? ORDER BY {key}",  # noqa: S608
            keys,
        ).fetchall()
    for table in EVENTS:
        rows[table] = _events(db, table, first, last)
    return rows


def _events(
    db: sqlite3.Connection, table: str, first: int, last: int
) -> list[FoundRow]:
    return db.execute(
        f"SELECT * FROM {table} WHERE scan >= ? AND scan <= ? ORDER BY scan, n",  # noqa: S608
        (first, last),
    ).fetchall()


def unsound_scans(rows: FoundRows, sums: dict[int, int]) -> Iterator[int]:
    """Yield the numbers of scans whose rows do not fit their check number.

    Rows are taken scan by scan, so that a block of them is never there twice. One
    that is out of order fits no scan.

    Args:
        rows: By table: the rows about some scans, in their order; in `scan` without
            sums.
        sums: The scans' check numbers, by their numbers.
    """
    waiting = {table: _Waiting(table, told) for table, told in rows.items() if told}
    for scan in sorted(sums):
        about: FoundRows = {}
        for table, one in waiting.items():
            yield from one.before(scan)
            if found := one.about(scan):
                about[table] = found
        if scan_sum(about) != sums[scan]:
            yield scan
    for one in waiting.values():  # rows about scans that are not there
        yield from one.before(_NO_SCAN)


_NO_SCAN = 2**62


class _Waiting:
    """Rows of a table that were not yet held to a check number."""

    def __init__(self, table: str, told: Sequence[FoundRow]) -> None:
        self._share = READINGS_PER_SCAN if table in ("reading", "remark") else 1
        self._told, self._at = told, 0

    def before(self, scan: int) -> Iterator[int]:
        """Yield the scans before one that rows which still wait are about."""
        while (found := self._scan()) < scan:
            self._at += 1
            yield found

    def about(self, scan: int) -> list[FoundRow]:
        """Return the rows about a scan, which wait no longer."""
        begin = self._at
        while self._scan() == scan:
            self._at += 1
        return list(self._told[begin : self._at])

    def _scan(self) -> int:
        if self._at == len(self._told):
            return _NO_SCAN
        number: int = self._told[self._at][0]
        return number // self._share


def rows_by_scan(rows: FoundRows) -> dict[int, FoundRows]:
    """Return rows by number of the scan they are about, then by table."""
    found: dict[int, FoundRows] = defaultdict(lambda: defaultdict(list))
    for table, told in rows.items():
        share = READINGS_PER_SCAN if table in ("reading", "remark") else 1
        for row in told:
            found[row[0] // share][table].append(row)
    return found


# ------------------------------------------------------------------------- blocks


def unfolded(db: sqlite3.Connection, block: BlockRow) -> Segment:
    """Return the scans of a block as if they had never been folded.

    Raises:
        UnsoundError: It is not as it was written.
    """
    first, last = block.first, block.last
    off, body = folded_row(db, block)
    record, scans = record_of(first, body), scans_of(first, off)
    bodies = {
        probe: _series_body(db, probe * SERIES_OF_PROBE + first)
        for probe in block.probes
    }
    rows = record.rows
    rows["scan"] = scans
    rows["reading"] = readings_of(stretch_of(db, first), scans, bodies)
    rows.update(_kept(db, block, record.kept))
    return Segment(first, last, rows)


def utc_in(db: sqlite3.Connection, block: BlockRow) -> Callable[[int], int]:
    """Return what gives the wall clock of a block's scans, by their numbers [ms]."""
    scans = scans_of(block.first, folded_row(db, block)[0])
    stretch = stretch_of(db, block.first)
    return lambda scan: moment(stretch, *scans[scan - block.first]).utc_ms


def utc_beside(db: sqlite3.Connection, first: int, last: int) -> int:
    """Return the wall clock of the scan after some numbers, else before [ms]; or 0."""
    for nearest, beyond in (("min", f"> {last}"), ("max", f"< {first}")):
        edge = "first" if nearest == "min" else "last"
        (scan,) = db.execute(
            f"SELECT {nearest}(id) FROM (SELECT id FROM scan UNION ALL"  # noqa: S608
            f" SELECT {edge} FROM block) WHERE id {beyond}"
        ).fetchone()
        if scan is not None:
            return _utc_of(db, scan)
    return 0


def _utc_of(db: sqlite3.Connection, scan: int) -> int:
    block = next(blocks(db, scan, scan), None)
    if block is not None:
        return utc_in(db, block)(scan)
    row = db.execute("SELECT * FROM scan WHERE id = ?", (scan,)).fetchone()
    return moment(stretch_of(db, scan), *row[:-1]).utc_ms


def stretch_of(db: sqlite3.Connection, scan: int) -> Stretch:
    """Return the stretch that a scan lies in."""
    found = sound_rows(
        db, "clock", "WHERE scan <= ? ORDER BY scan DESC LIMIT 1", (scan,)
    )
    if not found:
        raise UnsoundError(f"scan {scan} has no time")
    return Stretch(*found[0])


def prove_kept(db: sqlite3.Connection, block: BlockRow) -> None:
    """Prove what stands as rows about a block's scans.

    Raises:
        UnsoundError: It is not as it was written.
    """
    _, body = folded_row(db, block)
    _kept(db, block, record_of(block.first, body).kept)


def folded_row(db: sqlite3.Connection, block: BlockRow) -> tuple[bytes, bytes]:
    """Return the scans of a block and what happened in them, as they are stored.

    Raises:
        UnsoundError: They are missing or not as they were written.
    """
    found = sound_rows(db, "folded", "WHERE first = ?", (block.first,))
    if not found:
        raise UnsoundError(f"the block of scan {block.first} is missing")
    _, scans, body = found[0]
    return scans, body


def folded_scans(db: sqlite3.Connection, first: int, last: int) -> dict[int, bytes]:
    """Return the scans of blocks as they are stored, by the first scan of each.

    Args:
        db: The log.
        first: First scan of the first block.
        last: First scan of the last block.

    Raises:
        UnsoundError: They are not as they were written.
    """
    where = "WHERE first >= ? AND first <= ?"
    return {
        at: scans for at, scans, _ in each_sound(db, "folded", where, (first, last))
    }


def _series_body(db: sqlite3.Connection, key: int) -> bytes:
    found = sound_rows(db, "series", "WHERE id = ?", (key,))
    if not found:
        raise UnsoundError(f"series {key} is missing")
    body: bytes = found[0][-1]
    return body


def _kept(
    db: sqlite3.Connection, block: BlockRow, expected: frozenset[int]
) -> FoundRows:
    """Return what was never folded of a block's scans, proved."""
    first, last = block.first, block.last
    kept = {table: _events(db, table, first, last) for table in KEPT}
    scans = db.execute(
        "SELECT * FROM scan WHERE id >= ? AND id <= ? ORDER BY id", (first, last)
    ).fetchall()
    sums = {row[0]: row[-1] for row in scans}
    rows = {**kept, "scan": [row[:-1] for row in scans]}
    if frozenset(sums) != expected or any(unsound_scans(rows, sums)):
        raise UnsoundError(f"what is kept about scans {first} to {last} is not whole")
    return kept
