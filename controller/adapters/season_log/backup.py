"""A copy of a season log, taken while it is written, and looked at afterwards.

SQLite's own backup copies page by page from one snapshot of the source
(sqlite.org, "SQLite Backup API"): the writer goes on meanwhile, and the copy is
the log as it was at one moment. What may live here: that copy, how fast it may
be taken, and what is checked in it. The source is only read.
"""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.season_log.files import SIDECARS, sync_directory
from controller.adapters.season_log.memory import newest_id
from controller.adapters.season_log.reader import SeasonLogReader, read_only
from controller.adapters.season_log.schema import (
    LogError,
    check_file,
    check_schema,
    damaged,
)
from controller.adapters.season_log.trips import TripFile, trips_beside

PAGES = 256
PAUSE_S = 0.02
"""Chosen: a mebibyte and then a breath, so that the writer's next commit never
waits for a card that is busy with us; a season takes a few seconds."""

_BUILDING = ".new"
_PRIMARY = 255
"""SQLite's extended error codes carry the plain one in their lowest byte."""


class FaultyCopyError(LogError):
    """A copy was taken, and something is wrong with it or with its source."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What a season log holds.

    Attributes:
        rows: By table: how many rows.
        runs: How many runs.
        last_run: Identity of the newest run; empty: there is none.
        last_seq: Number of its last scan.
        size: Bytes of the file.
    """

    rows: dict[str, int]
    runs: int
    last_run: str
    last_seq: int
    size: int


def back_up(
    log: Path,
    copy: Path,
    *,
    overwrite: bool = False,
    progress: Callable[[int, int], None] = lambda _left, _all: None,
) -> Contents:
    """Copy a season log and the file of trips beside it; return what it holds.

    The copy is built under another name, checked, and only then renamed: what
    stood under its name before goes only for a good one.

    Args:
        log: The log; it may be written meanwhile.
        copy: The copy's name.
        overwrite: Whether a file of that name may be replaced.
        progress: Told how many pages are left, and of how many.

    Raises:
        FaultyCopyError: The copy is not good; it was taken away again.
        LogError: The log cannot be read, or the copy may not be there.
        OSError: The file system does not take the copy.
    """
    _check_names(log, copy, overwrite=overwrite)
    building = copy.with_name(copy.name + _BUILDING)
    try:
        _take_away(building)
        wanted = _copied(log, building, progress)
        found = _checked(building, FaultyCopyError)
        _compare(copy, wanted, found)
        _put_in_place(log, building, copy)
    except BaseException:
        _take_away(building)
        raise
    return found


def check_backup(path: Path) -> Contents:
    """Look at every page and every run of a season log that nobody writes.

    Raises:
        FaultyCopyError: Something is wrong with it.
        LogError: It is no season log, or cannot be read.
    """
    found = _checked(path, FaultyCopyError)
    try:
        TripFile(trips_beside(path)).load()
    except ValueError as error:
        raise FaultyCopyError(str(error)) from error
    return found


def _check_names(log: Path, copy: Path, *, overwrite: bool) -> None:
    try:
        check_file(log)
    except OSError as error:
        raise LogError(f"{log} cannot be read: {error.strerror}") from error
    if not copy.parent.is_dir():
        raise LogError(
            f"{copy}: the folder {copy.parent} does not exist; make it first"
        )
    if copy.resolve() == log.resolve():
        raise LogError(f"{copy} is the log itself; give the copy another name")
    stand = [one for one in (copy, trips_beside(copy)) if one.exists()]
    if stand and not overwrite:
        raise LogError(
            f"{stand[0]} is there already; name another file, or say --overwrite"
        )
    left = [copy.with_name(copy.name + end) for end in SIDECARS[1:]]
    for stray in left:
        # SQLite would take it for the copy's own, or it means that it is in use.
        if stray.exists():
            raise LogError(f"{stray} is there: {copy} is, or was, in use as a log")


def _copied(
    log: Path, building: Path, progress: Callable[[int, int], None]
) -> Contents:
    """Copy one snapshot of the log; return what that snapshot holds."""
    try:
        with closing(read_only(log)) as source:
            check_schema(log, source)
            # A read transaction holds the snapshot for count and copy alike. Without
            # it the copy would begin anew whenever the writer commits.
            source.execute("BEGIN")
            wanted = _contents(source)
            (mode,) = source.execute("PRAGMA journal_mode").fetchone()
            # Outside of WAL mode a daemon that starts would wait for us: be quick.
            pause_s, pages = (PAUSE_S, PAGES) if mode == "wal" else (0.0, PAGES)
            with closing(sqlite3.connect(building, isolation_level=None)) as target:
                source.backup(
                    target,
                    pages=pages,
                    sleep=pause_s,
                    progress=lambda _, left, total: progress(left, total),
                )
                # One file, which needs none beside it to be read.
                target.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.DatabaseError as error:
        raise _refused(log, building, error) from error
    return wanted


def _refused(log: Path, building: Path, error: sqlite3.DatabaseError) -> LogError:
    code = error.sqlite_errorcode & _PRIMARY
    if code in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}:
        return damaged(log, error)
    return LogError(
        f"{log} cannot be copied to {building.parent}: {error}; nothing was left there"
    )


def _contents(db: sqlite3.Connection) -> Contents:
    tables = db.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table'"
        " AND name NOT LIKE 'sqlite_%' ORDER BY name"
    ).fetchall()
    rows = {
        name: int(db.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0])  # noqa: S608
        for (name,) in tables
    }
    run = db.execute("SELECT id, run FROM run ORDER BY id DESC LIMIT 1").fetchone()
    last = newest_id(db)
    pages = db.execute("PRAGMA page_count").fetchone()[0]
    size = db.execute("PRAGMA page_size").fetchone()[0] * pages
    run_id, name = run or (0, "")
    return Contents(rows, rows["run"], name, max(0, last - run_id), size)


def _checked(path: Path, faulty: type[LogError]) -> Contents:
    """Return what a log holds whose every page and run was looked at."""
    try:
        check_file(path)
        with closing(read_only(path)) as db:
            check_schema(path, db)
            wrong = [row[0] for row in db.execute("PRAGMA integrity_check(3)")]
            if wrong != ["ok"]:
                told = "; ".join(" ".join(str(one).split()) for one in wrong)
                raise faulty(f"{path} is damaged: {told}")
            found = _contents(db)
    except OSError as error:
        raise LogError(f"{path} cannot be read: {error.strerror}") from error
    except sqlite3.OperationalError as error:
        raise LogError(f"{path} cannot be read now: {error}") from error
    except sqlite3.DatabaseError as error:
        raise faulty(f"{path} is damaged: {error}") from error
    _read_runs(path, faulty)
    return found


def _read_runs(path: Path, faulty: type[LogError]) -> None:
    """Open a log as every reader does, and read the ends of all its runs."""
    try:
        reader = SeasonLogReader(path)
        reader.check()
        for header in reader.runs():
            last_seq = reader.last_seq(header.run)
            reader.last_state(header.run)
            list(reader.scans(header.run, max(0, last_seq - 1)))
    except LogError as error:
        raise faulty(str(error)) from error


def _compare(copy: Path, wanted: Contents, found: Contents) -> None:
    """Check that all is in the copy that was in the log at its moment."""
    tables = sorted(wanted.rows.keys() | found.rows.keys())
    unlike = [
        f"{name}: {wanted.rows.get(name)} rows in the log, {found.rows.get(name)} here"
        for name in tables
        if wanted.rows.get(name) != found.rows.get(name)
    ]
    ends = (wanted.last_run, wanted.last_seq), (found.last_run, found.last_seq)
    if unlike or ends[0] != ends[1]:
        told = "; ".join(unlike) or f"it ends at {ends[1]}, the log at {ends[0]}"
        raise FaultyCopyError(f"{copy} is not what the log was: {told}")


def _put_in_place(log: Path, building: Path, copy: Path) -> None:
    trips = _copied_trips(log, building)
    _sync(building)
    os.replace(building, copy)  # noqa: PTH105
    if trips is None:
        trips_beside(copy).unlink(missing_ok=True)
    else:
        os.replace(trips, trips_beside(copy))  # noqa: PTH105
    sync_directory(copy.parent)


def _copied_trips(log: Path, building: Path) -> Path | None:
    """Copy the file of trips beside the copy; None: the log has none.

    It is checked after the copy of the log: a mat that tripped in between is
    locked off in the copy, too.
    """
    own = trips_beside(log)
    if not own.exists():
        return None
    try:
        TripFile(own).load()
    except ValueError as error:
        raise FaultyCopyError(str(error)) from error
    copied = _building_trips(building)
    shutil.copyfile(own, copied)
    _sync(copied)
    return copied


def _building_trips(building: Path) -> Path:
    return building.with_name(building.name + ".trips")


def _take_away(building: Path) -> None:
    for end in SIDECARS:
        building.with_name(building.name + end).unlink(missing_ok=True)
    _building_trips(building).unlink(missing_ok=True)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
