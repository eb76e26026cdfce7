"""Changes of records as rows of the season log, written and read back, proved.

Their numbers count from 1 without holes, and `meta` says how many there are:
one that is missing is noticed, the last one too. What may live here: those rows.
"""

import sqlite3
from collections.abc import Sequence

from controller.adapters.season_log.rows import FoundRow, Row
from controller.adapters.season_log.segments import UnsoundError, sound_rows
from controller.adapters.season_log.sums import row_sum, with_sum
from controller.ports import MovedOnError
from controller.record_wire import decode_value, encode_value
from controller.records.changes import Change
from controller.wire import from_text, to_text

_INSERT = "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)"
_COUNT = "SELECT value FROM meta WHERE key = 'records'"


def change_row(change: Change) -> Row:
    """Return the row of a change, with its check number."""
    body = to_text(encode_value(change.value))
    told = change.id, change.utc_ms, change.who, change.kind.value, change.subject
    return with_sum((*told, body))


def add_rows(db: sqlite3.Connection, rows: Sequence[Row]) -> None:
    """Write changes behind those that are there, in a transaction.

    Raises:
        MovedOnError: They do not follow the last one that is there.
        UnsoundError: How many there are cannot be told.
        sqlite3.Error: The disk does not take them.
    """
    newest = count(db)
    for n, row in enumerate(rows, newest + 1):
        if row[0] != n:
            raise MovedOnError(f"change {row[0]!r} does not follow change {n - 1}")
    db.executemany(_INSERT, rows)
    total = str(newest + len(rows))
    db.execute("UPDATE meta SET value = ? WHERE key = 'records'", (total,))


def count(db: sqlite3.Connection) -> int:
    """Return how many changes there are; raise UnsoundError if that is not told."""
    found = db.execute(_COUNT).fetchone()
    if found is None or not str(found[0]).isdecimal():
        raise UnsoundError("meta does not say how many records there are")
    return int(found[0])


def changes_after(db: sqlite3.Connection, after: int) -> list[Change]:
    """Return the changes with a number above after, in order, proved.

    Raises:
        UnsoundError: One is not as it was written, or is missing.
        ValueError: One cannot be understood.
    """
    rows = sound_rows(db, "record", "WHERE id > ? ORDER BY id", (after,))
    if [row[0] for row in rows] != list(range(after + 1, count(db) + 1)):
        raise UnsoundError("a record is missing, or there is one too many")
    return [change_of(row) for row in rows]


def change_of(row: FoundRow) -> Change:
    """Return the change of a row without its check number."""
    number, utc_ms, who, kind, subject, body = row
    value = decode_value(kind, from_text(body))
    return Change(number, utc_ms, who, subject, value)


def sound_beginning(db: sqlite3.Connection) -> list[Row]:
    """Return the rows from the first on, up to the first that is no longer sound.

    For a log that is damaged elsewhere: what is returned follows without holes.
    """
    kept: list[Row] = []
    try:
        for row in db.execute("SELECT * FROM record ORDER BY id"):
            if row[0] != len(kept) + 1 or row_sum(row[:-1]) != row[-1]:
                break
            change_of(row[:-1])
            kept.append(tuple(row))
    except (sqlite3.Error, ValueError, LookupError, TypeError):
        pass  # what came before the damage is sound all the same
    return kept
