"""That nothing is missing from a season log: no row, and no number.

Check numbers tell a row that was altered, not one that is gone. What may live
here: asking SQLite whether its tables hang together, and counting numbers.
"""

import sqlite3
from collections.abc import Iterable, Mapping

from controller.adapters.season_log.segments import (
    UnsoundError,
    blocks,
    sound_rows,
)
from controller.adapters.season_log.tables import EVENTS, READINGS_PER_SCAN

SMALL = ("name", "run", "note", "ending", "clock", "lost", "forgotten", "block")
"""Tables so small that SQLite can look at them each time somebody reads."""

LOOSE = ("scan", "reading", "remark", *EVENTS)
"""Tables of what is not folded."""


def prove_tables(db: sqlite3.Connection, tables: Iterable[str] = SMALL) -> None:
    """Let SQLite look whether tables hang together: a row that is gone is noticed.

    It does not look into rows; their check numbers do (sqlite.org, "PRAGMA
    quick_check", of one table).

    Raises:
        UnsoundError: One of them does not.
        sqlite3.Error: The file cannot be read.
    """
    for table in tables:
        (found,) = db.execute(f"PRAGMA quick_check({table})").fetchone()
        if found != "ok":
            raise UnsoundError(" ".join(str(found).split()))


def holes(db: sqlite3.Connection) -> dict[int, int]:
    """Return the numbers that are no scan's, as ranges: first to last."""
    runs = {row[0]: row[0] for row in db.execute("SELECT id FROM run")}
    return runs | dict(sound_rows(db, "lost")) | dict(sound_rows(db, "forgotten"))


def newest_number(db: sqlite3.Connection) -> int:
    """Return the highest number of a scan, run or loss; 0: there is none.

    Raises:
        UnsoundError: Something is told about a higher one.
    """
    (found,) = db.execute(
        "SELECT max(coalesce((SELECT max(id) FROM scan), 0),"
        " coalesce((SELECT max(last) FROM block), 0),"
        " coalesce((SELECT max(id) FROM run), 0),"
        " coalesce((SELECT max(last) FROM forgotten), 0),"
        " coalesce((SELECT max(last) FROM lost), 0))"
    ).fetchone()
    newest = int(found)
    for table in ("clock", "snapshot", "ending", *EVENTS):
        _nothing_above(db, table, "scan", newest)
    above = (newest + 1) * READINGS_PER_SCAN - 1
    _nothing_above(db, "reading", "id", above)
    _nothing_above(db, "remark", "reading", above)
    return newest


def _nothing_above(db: sqlite3.Connection, table: str, key: str, newest: int) -> None:
    row = db.execute(
        f"SELECT {key} FROM {table} WHERE {key} > ? LIMIT 1",  # noqa: S608
        (newest,),
    ).fetchone()
    if row is not None:
        raise UnsoundError(f"{table} tells about scan {row[0]}, which is missing")


def prove_numbers(db: sqlite3.Connection, first: int, last: int) -> None:
    """Prove that every number from first to last is a scan's, or no scan's.

    Raises:
        UnsoundError: One is missing.
    """
    known, at = holes(db), first
    for block in blocks(db, first, last):
        _prove_loose(db, known, at, block.first - 1)
        at = block.last + 1
    _prove_loose(db, known, at, last)


def _prove_loose(
    db: sqlite3.Connection, known: Mapping[int, int], first: int, last: int
) -> None:
    if first > last:
        return
    (found,) = db.execute(
        "SELECT count(*) FROM scan WHERE id >= ? AND id <= ?", (first, last)
    ).fetchone()
    told = sum(
        max(0, min(last, end) - max(first, begin) + 1) for begin, end in known.items()
    )
    if found + told != last - first + 1:
        raise UnsoundError(
            f"of numbers {first} to {last}, {found} are scans and {told} are none"
        )
