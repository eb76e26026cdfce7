"""Runs that are taken out of a season log, and the room they took.

What may live here: which rows belong to a run, and how the file is made
smaller. Which runs go is decided elsewhere, by a person.
"""

import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.season_log.logfile import connect
from controller.adapters.season_log.schema import (
    LogError,
    check_file,
    check_schema,
    damaged,
)
from controller.adapters.season_log.sums import with_sum
from controller.adapters.season_log.tables import (
    EVENTS,
    READINGS_PER_SCAN,
    SERIES_OF_PROBE,
)

_BY_SCAN = ("note", "ending", "clock", "snapshot", *EVENTS)
"""Tables whose column `scan` is the number of a scan, or of its run."""

_BY_READING = (("reading", "id"), ("remark", "reading"))
"""Tables and their columns that hold the number of a reading."""

_BY_NUMBER = (
    ("lost", "first"),
    ("scan", "id"),
    ("run", "id"),
    ("block", "first"),
    ("folded", "first"),
    ("series", f"id % {SERIES_OF_PROBE}"),
)
"""Tables and their columns that hold such a number by another name."""

_COPIES = 3
"""VACUUM writes the log once more beside it, and once more into it (sqlite.org,
"VACUUM": as much as twice the size), and something should be left."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What became of the file.

    Attributes:
        before: Bytes before.
        after: Bytes after.
        why_not: Why it was not made smaller; empty: it was.
    """

    before: int
    after: int
    why_not: str


def delete_run(db: sqlite3.Connection, first_id: int, last_id: int) -> None:
    """Delete every row whose scan, run or reading has a number of a run; note that.

    Args:
        db: The log, in a transaction.
        first_id: Number of the run.
        last_id: The last number before the next run's.
    """
    span = (first_id, last_id)
    for table in _BY_SCAN:
        db.execute(f"DELETE FROM {table} WHERE scan BETWEEN ? AND ?", span)  # noqa: S608
    places = (first_id * READINGS_PER_SCAN, (last_id + 1) * READINGS_PER_SCAN - 1)
    for table, column in _BY_READING:
        db.execute(f"DELETE FROM {table} WHERE {column} BETWEEN ? AND ?", places)  # noqa: S608
    for table, column in _BY_NUMBER:
        db.execute(f"DELETE FROM {table} WHERE {column} BETWEEN ? AND ?", span)  # noqa: S608
    db.execute("INSERT INTO forgotten VALUES (?, ?, ?)", with_sum(span))


def forget_runs(log: Path, runs: Sequence[str]) -> Forgotten:
    """Delete runs, all of them or none, and give their room back to the disk.

    Whoever calls holds the log's lock.

    Args:
        log: The log.
        runs: Identities of the runs; the newest is none of them.

    Raises:
        LogError: The log has no such run, is none, or the disk does not take
            it: then nothing is deleted.
    """
    try:
        check_file(log)
        before = log.stat().st_size
        with closing(connect(log)) as db:
            check_schema(log, db)
            db.execute("PRAGMA synchronous = FULL")
            _delete(log, db, runs)
            why_not = _made_smaller(log, db)
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return Forgotten(before, log.stat().st_size, why_not)
    except sqlite3.OperationalError as error:
        raise LogError(f"{log} cannot be written: {error}") from error
    except sqlite3.DatabaseError as error:
        raise damaged(log, error) from error
    except OSError as error:
        raise LogError(f"{log} cannot be written: {error.strerror}") from error


def _delete(log: Path, db: sqlite3.Connection, runs: Sequence[str]) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        for run in runs:
            delete_run(db, *_numbers(log, db, run))
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _numbers(log: Path, db: sqlite3.Connection, run: str) -> tuple[int, int]:
    """Return a run's number and the last one before the next run's."""
    found = db.execute(
        "SELECT id, (SELECT min(id) FROM run WHERE id > r.id) FROM run r WHERE run = ?",
        (run,),
    ).fetchone()
    if found is None or found[1] is None:
        raise LogError(f"{log}: run {run} is not there, or is the newest one")
    return found[0], found[1] - 1


def _made_smaller(log: Path, db: sqlite3.Connection) -> str:
    """Give free pages back to the disk; return why not, where that cannot be."""
    (size,) = db.execute("PRAGMA page_size").fetchone()
    (pages,) = db.execute("PRAGMA page_count").fetchone()
    (unused,) = db.execute("PRAGMA freelist_count").fetchone()
    wanted = _COPIES * (pages - unused) * size
    free = shutil.disk_usage(log.parent).free
    if free < wanted:
        return (
            f"that takes {wanted / 1e6:.0f} MB for a while, and {free / 1e6:.0f} MB are"
            f" free in {log.parent.resolve()}; what is written next goes into the room"
            " within the file"
        )
    try:
        db.execute("VACUUM")
    except sqlite3.OperationalError as error:
        return f"the disk refused ({error}); what is written next goes into the room"
    return ""
