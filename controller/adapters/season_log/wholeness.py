"""That nothing is missing from a season log: no row, and no number.

Check numbers tell a row that was altered, not one that is gone. What may live
here: asking SQLite whether its tables hang together, and counting numbers.
"""

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable

from controller.adapters.season_log.memory import newest_id
from controller.adapters.season_log.segments import UnsoundError, sound_rows
from controller.adapters.season_log.tables import EVENTS, READINGS_PER_SCAN

SMALL = ("name", "run", "note", "ending", "clock", "lost", "forgotten", "block")
"""Tables so small that SQLite can look at them each time somebody reads."""

LOOSE = ("scan", "reading", "remark", *EVENTS)
"""Tables of what is not folded."""


def prove_free_pages(db: sqlite3.Connection) -> None:
    """Let SQLite look at its list of free pages: writing takes pages from it.

    A look at the whole file leaves it out where SQLite comes to a view before all
    tables, as in our logs (met with 3.40.1); one of the schema's table does not.
    That a page is called free and holds rows too, neither of them notices.

    Raises:
        UnsoundError: It is not as long as it should be, or tells of pages twice or
            of some that do not exist.
        sqlite3.Error: The file cannot be read.
    """
    prove_tables(db, ["sqlite_schema"])


def prove_indices(db: sqlite3.Connection) -> None:
    """Let SQLite hold its indices against their tables: writing goes by them.

    Raises:
        UnsoundError: An index tells something else than its table.
        sqlite3.Error: The file cannot be read.
    """
    for table in ("meta", "name", "run", "relay_report"):
        (found,) = db.execute(f"PRAGMA integrity_check({table})").fetchone()
        if found != "ok":
            raise UnsoundError(" ".join(str(found).split()))


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


class Holes:
    """The numbers that are no scan's: those of runs, of lost and of forgotten ones."""

    def __init__(self, db: sqlite3.Connection) -> None:
        """Look them up.

        Raises:
            UnsoundError: A row about them is not as it was written.
        """
        found = [(row[0], row[0]) for row in db.execute("SELECT id FROM run")]
        found += sound_rows(db, "lost") + sound_rows(db, "forgotten")
        self._ranges = sorted(found)
        self._begins = [begin for begin, _ in self._ranges]

    def beyond(self, number: int) -> int:
        """Return a number, or where it is no scan's the first behind that is one's."""
        while place := bisect_right(self._begins, number):
            end = self._ranges[place - 1][1]
            if end < number:
                break
            number = end + 1
        return number

    def after_gaps(self, numbers: Iterable[int], expected: int) -> frozenset[int]:
        """Return which of some scans follow one that should be there and is not.

        Args:
            numbers: Of the scans, in order.
            expected: Number of the first that should be there; those below it
                are not looked at.
        """
        found = set()
        for number in numbers:
            if number >= expected:
                if self.beyond(expected) != number:
                    found.add(number)
                expected = number + 1
        return frozenset(found)


def newest_number(db: sqlite3.Connection) -> int:
    """Return the highest number of a scan, run or loss; 0: there is none.

    Raises:
        UnsoundError: Something is told about a higher one.
    """
    newest = newest_id(db)
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
