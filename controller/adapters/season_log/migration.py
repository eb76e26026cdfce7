"""An older season log brought up to the present schema, the old file kept.

Where rows change, the new file is built beside the old one, row by row, looked
at, and only then put in its place; the old one stays under another name. Where
only tables come in, the old one is copied first, and they come in by one
transaction. A power cut leaves one or the other, whole. What may live here: what
differs from schema to schema.

=======  ================================================================
2 to 3   check numbers; blocks; holes in the numbers are told of in `lost`
3 to 4   the table `record`, and how many rows it has
=======  ================================================================
"""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from controller.adapters.season_log.files import clear_strays, sync_directory
from controller.adapters.season_log.logfile import connect
from controller.adapters.season_log.reader import SeasonLogReader, read_only
from controller.adapters.season_log.rows import FoundRow
from controller.adapters.season_log.schema import (
    FORMER_VERSIONS,
    FormerLogError,
    LogError,
    check_file,
    check_schema,
    create,
    damaged,
    version_of,
)
from controller.adapters.season_log.segments import rows_about, rows_by_scan
from controller.adapters.season_log.sums import scan_sum, with_sum
from controller.adapters.season_log.tables import (
    EVENTS,
    RECORD_TABLE,
    SCHEMA_VERSION,
)

_SMALL = ("name", "run", "note", "ending", "clock", "lost", "snapshot")
_AT_ONCE = 2_000
_WITHOUT_RECORDS = (3,)
"""Schemas that lack nothing but the table of records."""


def is_former(path: Path) -> bool:
    """Whether a file is a season log that could be brought up.

    What else may be wrong with it is for others to say.
    """
    try:
        check_file(path)
        with closing(read_only(path)) as db:
            check_schema(path, db)
    except FormerLogError:
        return True
    except (LogError, OSError, sqlite3.Error):
        return False
    return False


def migrated(path: Path) -> Path:
    """Bring a log up to the present schema; return where the old one is kept.

    Whoever calls holds its lock.

    Raises:
        LogError: It is none, is damaged, or there is no room: the old file
            stands as it was.
    """
    building = path.with_name(path.name + ".migrating")
    try:
        check_file(path)
        version = _version(path)
        kept = _kept_name(path, version)
        _one_file(path)
        if version in _WITHOUT_RECORDS:
            _copy(path, building, kept)
            _add_records(path)
        else:
            _build(path, building)
            _prove(building)
            _swap(path, building, kept)
    except sqlite3.OperationalError as error:
        raise LogError(f"{path} cannot be brought up: {error}") from error
    except (sqlite3.DatabaseError, ValueError, LookupError, TypeError) as error:
        if isinstance(error, LogError):
            raise
        raise damaged(path, error) from error
    except OSError as error:
        raise LogError(f"{path} cannot be brought up: {error.strerror}") from error
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            building.with_name(building.name + end).unlink(missing_ok=True)
    return kept


def _version(path: Path) -> int:
    with closing(read_only(path)) as db:
        version = version_of(db)
    if version not in FORMER_VERSIONS:
        raise LogError(f"{path} has schema {version}: there is nothing to bring up")
    return version


def _kept_name(path: Path, version: int) -> Path:
    kept = path.with_name(f"{path.name}.schema-{version}")
    again = 1
    while kept.exists():
        again += 1
        kept = path.with_name(f"{path.name}.schema-{version}-{again}")
    return kept


def _one_file(path: Path) -> None:
    """Bring into the file what a killed writer left beside it."""
    with closing(connect(path)) as db:
        db.execute("PRAGMA busy_timeout = 5000")
        db.execute("PRAGMA journal_mode = DELETE")
    clear_strays(path)


def _copy(path: Path, building: Path, kept: Path) -> None:
    """Copy the old file as it is, complete or not at all."""
    shutil.copy2(path, building)
    _sync(building)
    building.rename(kept)
    sync_directory(path.parent)


def _add_records(path: Path) -> None:
    """Add what schema 4 has more than schema 3, in one transaction."""
    with closing(connect(path)) as db:
        db.execute("PRAGMA synchronous = FULL")
        db.execute("BEGIN IMMEDIATE")
        db.execute(RECORD_TABLE)
        db.execute("INSERT INTO meta VALUES ('records', '0')")
        db.execute(
            "UPDATE meta SET value = ? WHERE key = 'schema_version'",
            (str(SCHEMA_VERSION),),
        )
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        check_schema(path, db)
        db.execute("COMMIT")


def _build(path: Path, building: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        building.with_name(building.name + end).unlink(missing_ok=True)
    create(building)
    with closing(read_only(path)) as old, closing(connect(building)) as new:
        new.execute("PRAGMA synchronous = FULL")
        old.execute("BEGIN")
        new.execute("BEGIN")
        for table in _SMALL:
            _insert(new, table, map(with_sum, old.execute(f"SELECT * FROM {table}")))  # noqa: S608
        for table in ("reading", "remark", *EVENTS):
            _insert(new, table, old.execute(f"SELECT * FROM {table}"))  # noqa: S608
        _insert(new, "scan", _summed(old))
        _insert(new, "lost", map(with_sum, _holes(old)))
        new.execute("COMMIT")


def _insert(db: sqlite3.Connection, table: str, rows: Iterator[FoundRow]) -> None:
    first = next(iter(rows), None)
    if first is None:
        return
    marks = ", ".join("?" * len(first))
    statement = f"INSERT INTO {table} VALUES ({marks})"  # noqa: S608
    db.execute(statement, first)
    db.executemany(statement, rows)


def _summed(old: sqlite3.Connection) -> Iterator[FoundRow]:
    """Yield the scans of an old log with check numbers of what it tells of them."""
    at = 0
    while scans := old.execute(
        "SELECT id, late_ms, skew_ms FROM scan WHERE id > ? ORDER BY id LIMIT ?",
        (at, _AT_ONCE),
    ).fetchall():
        rows = rows_about(old, scans[0][0], scans[-1][0])
        rows["scan"] = scans
        about = rows_by_scan(rows)
        for scan in scans:
            yield (*scan, scan_sum(about[scan[0]]))
        at = scans[-1][0]


def _holes(old: sqlite3.Connection) -> Iterator[tuple[int, int]]:
    """Yield the numbers that stand nowhere: none may be missing from now on."""
    at = None
    for first, last in old.execute(
        "SELECT id, id FROM run UNION ALL SELECT id, id FROM scan"
        " UNION ALL SELECT first, last FROM lost ORDER BY 1"
    ):
        if at is not None and first > at:
            yield at, first - 1
        at = max(at or 0, last + 1)


def _prove(building: Path) -> None:
    """Read all of it: a check number made today proves nothing of yesterday."""
    reader = SeasonLogReader(building)
    reader.check()
    for header in reader.runs():
        reader.last_state(header.run)
        for _ in reader.scans(header.run):
            pass


def _swap(path: Path, building: Path, kept: Path) -> None:
    _sync(building)
    try:
        os.link(path, kept)
    except OSError:  # a file system without second names: a copy, then
        shutil.copy2(path, kept)
        _sync(kept)
    sync_directory(path.parent)
    os.replace(building, path)  # noqa: PTH105
    sync_directory(path.parent)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
