"""A look at a season log before a run goes on in it: can it be trusted?

What may live here: how much is looked at, and by when it is enough. The file
is only read.
"""

import sqlite3
import threading
import zlib
from contextlib import closing
from pathlib import Path

from controller.adapters.season_log.files import MALFORMED, marked
from controller.adapters.season_log.proof import prove_pages, prove_recent
from controller.adapters.season_log.reader import SENSELESS, read_only
from controller.adapters.season_log.schema import (
    DamagedLogError,
    ForeignLogError,
    LogError,
    check_file,
    check_schema,
    damaged,
    unread,
)
from controller.adapters.season_log.trips import trips_beside
from controller.adapters.season_log.wholeness import (
    LOOSE,
    SMALL,
    prove_indices,
    prove_tables,
)

ENOUGH_S = 20.0
"""Chosen: a service manager waits 90 s for a start, and this is less than half of
it on a slow card; what was not looked at by then is taken as it is."""


def inspect_log(path: Path, within_s: float = ENOUGH_S) -> None:
    """Look whether a run can go on in a season log; a missing one is no fault.

    All that is not folded yet is held to its check numbers, and every page is looked
    at, with the list of free ones by which SQLite writes. All this as far as time
    allows. Where writing found damage, which a look may not find, a mark lies beside
    the log.

    Args:
        path: The log.
        within_s: Time for that [s].

    Raises:
        UnusableLogError: It is damaged, or of an older schema.
        LogError: It is no season log, of a newer schema, or cannot be read.
    """
    if not path.exists():
        return
    _check_beginning(path)
    _check_mark(path)
    try:
        with closing(read_only(path)) as db:
            _look(path, db, within_s)
    except sqlite3.OperationalError as error:
        raise unread(path, error) from error
    except sqlite3.DatabaseError as error:
        raise damaged(path, error) from error


def _check_beginning(path: Path) -> None:
    try:
        check_file(path)
        with closing(read_only(path)) as db:
            check_schema(path, db)
    except ForeignLogError as error:
        # Beside a log of ours lies its file of trips; beside anything else that a
        # mistyped path may name, it does not, and what is not ours is not touched.
        if path.is_file() and trips_beside(path).exists():
            raise DamagedLogError(f"{path} is damaged: {error}") from error
        raise
    except sqlite3.OperationalError as error:
        raise unread(path, error) from error
    except OSError as error:
        raise LogError(f"{path} cannot be read: {error.strerror}") from error


def _check_mark(path: Path) -> None:
    try:
        found = marked(path)
    except OSError as error:
        raise LogError(f"{path} cannot be read: {error.strerror}") from error
    if found is not None:
        raise DamagedLogError(
            f"{path} is damaged: when it was written last, SQLite found this:"
            f" {found!r} (so says {path.name}{MALFORMED} beside it); use a backup"
        )


def _look(path: Path, db: sqlite3.Connection, within_s: float) -> None:
    enough = threading.Timer(within_s, db.interrupt)
    enough.start()
    try:
        prove_tables(db, (*SMALL, "snapshot", "record", *LOOSE))
        prove_indices(db)
        prove_recent(db)
        prove_pages(db)
    except sqlite3.OperationalError as error:
        if "interrupted" not in str(error):
            raise
    except (*SENSELESS, zlib.error) as error:
        raise damaged(path, error) from error
    finally:
        enough.cancel()
