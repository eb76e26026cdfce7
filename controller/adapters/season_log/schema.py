"""The season log's file: how it begins and how it is recognised.

What may live here: that, and the errors that say what is wrong with a file.
The tables themselves are in tables.py.
"""

import sqlite3
from pathlib import Path

from controller.adapters.season_log.tables import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    TABLES,
)

_MAGIC = b"SQLite format 3\x00"

PAGE_BYTES = 512
"""SQLite's smallest. Measured: a commit touches few rows of few tables, so that small
pages write less to the card, and a season is an eighth smaller than with pages of
2,048 bytes, which logs of before have; reading back takes as long."""

FORMER_VERSIONS = (2, 3)
"""Schemas that this program can bring up to its own."""


class LogError(Exception):
    """A file is no season log, or cannot be used as one.

    The message names the file, what was found and what would be right.
    """


class ForeignLogError(LogError):
    """A file does not even begin like a season log."""


class UnusableLogError(LogError):
    """A file was a season log of this bench, and nobody can go on in it."""


class DamagedLogError(UnusableLogError):
    """A season log was cut short or altered."""


class OldLogError(UnusableLogError):
    """A season log has a schema that this program no longer knows."""


class FormerLogError(LogError):
    """A season log has an older schema, and can be brought up to this one."""


def create(path: Path) -> None:
    """Make a new, empty season log, complete or not at all.

    It is built under another name and then renamed, so that a power cut leaves
    no half of one.

    Raises:
        sqlite3.Error: The disk does not take it.
        OSError: The same, from the file system.
    """
    building = path.with_name(path.name + ".new")
    building.unlink(missing_ok=True)
    connection = sqlite3.connect(building, isolation_level=None)
    try:
        _fill(connection)
    finally:
        connection.close()
    building.rename(path)


def _fill(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    connection.execute("BEGIN")
    for statement in TABLES:
        connection.execute(statement)
    connection.executemany(
        "INSERT INTO meta VALUES (?, ?)",
        [
            ("application", "bottomheat season log"),
            ("schema_version", str(SCHEMA_VERSION)),
            ("openings", "0"),
            ("records", "0"),
        ],
    )
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    connection.execute("COMMIT")


def check_file(path: Path) -> None:
    """Look at a file without opening it: may it be a season log?

    To open and close it would take away the locks that SQLite holds on it for
    this process (fcntl(2), "record locks"; sqlite.org, "How To Corrupt", 2.2):
    another program could then delete the "-wal" that the writer writes.

    Raises:
        LogError: It is missing, a directory, or empty.
        OSError: It cannot be looked at.
    """
    if path.is_dir():
        raise LogError(f"{path} is a directory; a season log is a file")
    if not path.exists():
        raise LogError(f"{path} does not exist; give the path of a season log")
    if path.stat().st_size == 0:
        raise ForeignLogError(
            f"{path} is empty, and a season log never is: take it away, and a"
            " new one is begun"
        )


def version_of(db: sqlite3.Connection) -> int:
    """Return the number of a log's schema."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def check_schema(path: Path, connection: sqlite3.Connection) -> None:
    """Check that an open database is a season log which this program knows.

    Raises:
        LogError: It belongs to another program, is of another version, or is
            damaged.
    """
    application, version, found = _beginning_of(path, connection)
    _check_numbers(path, connection, application, version, found)
    if application != APPLICATION_ID:
        raise LogError(
            f"{path} is a SQLite file of another program (application id"
            f" {application:#x}; a season log has {APPLICATION_ID:#x})"
        )
    if version > SCHEMA_VERSION:
        raise LogError(
            f"{path} has schema {version}; this bottomheat reads up to schema"
            f" {SCHEMA_VERSION}: use the newer bottomheat that wrote it"
        )
    if version in FORMER_VERSIONS:
        raise FormerLogError(
            f"{path} has schema {version}; this bottomheat reads schema"
            f" {SCHEMA_VERSION}: bottomheat migrate {path} brings it up, and keeps"
            " the old file beside it"
        )
    if version < SCHEMA_VERSION:
        raise OldLogError(
            f"{path} has schema {version}; this bottomheat reads schema"
            f" {SCHEMA_VERSION} only: use the older bottomheat that wrote it"
        )
    wanted = _wanted()
    missing = sorted(wanted.keys() - found.keys())
    if missing:
        raise DamagedLogError(
            f"{path} is damaged: schema {version}, without {missing}; use a backup"
        )
    altered = sorted(name for name, sql in wanted.items() if found[name] != sql)
    if altered:
        raise DamagedLogError(
            f"{path} is damaged: schema {version}, with another {altered}; use a backup"
        )


def _check_numbers(
    path: Path,
    connection: sqlite3.Connection,
    application: int,
    version: int,
    found: dict[str, str],
) -> None:
    """Hold the two numbers of a file's head to what stands elsewhere in it.

    One bit of them, and a log would be another program's or a newer one's, and be
    refused for good. The schema's number stands in `meta` too, in a newer log as
    well; where it tells nothing known, tables that are ours to the letter do.

    Raises:
        DamagedLogError: They contradict each other.
    """
    if application == APPLICATION_ID and version == SCHEMA_VERSION:
        return
    made = {n: sql for n, sql in found.items() if not str(n).startswith("sqlite_")}
    contradicted = made == _wanted()
    told = _told_version(connection)
    if application == APPLICATION_ID:
        known = contradicted or told in {*FORMER_VERSIONS, SCHEMA_VERSION}
        contradicted = known and told != version
    if contradicted:
        raise DamagedLogError(
            f"{path} is damaged: its head tells of application {application:#x},"
            f" schema {version}, and its tables of a season log of schema"
            f" {told or 'unknown'}; use a backup"
        )


def _told_version(connection: sqlite3.Connection) -> int | None:
    """Return the schema's number by the table `meta`; None: it has none to read."""
    try:
        row = connection.execute(
            "SELECT value FROM meta WHERE key = 'schema_version'"
        ).fetchone()
        return int(row[0])
    except sqlite3.OperationalError as error:
        if hasattr(error, "sqlite_errorcode") and "no such" not in str(error):
            raise
        return None
    except (sqlite3.DatabaseError, TypeError, ValueError):
        return None


def _beginning_of(
    path: Path, connection: sqlite3.Connection
) -> tuple[int, int, dict[str, str]]:
    """Return a file's application id, its schema's number and what made its tables."""
    try:
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        made = connection.execute("SELECT name, sql FROM sqlite_schema").fetchall()
        return application, version_of(connection), dict(made)
    except sqlite3.OperationalError:
        raise  # busy or an unwilling disk: not the file's fault
    except sqlite3.DatabaseError as error:
        raise _no_database(path, error) from error
    except ValueError as error:  # names that are no text
        raise damaged(path, error) from error


def _no_database(path: Path, error: sqlite3.DatabaseError) -> LogError:
    """Return the error for a file that SQLite does not take for a database.

    Where it is none, nobody holds locks on it that opening it could lose.
    """
    if error.sqlite_errorcode != sqlite3.SQLITE_NOTADB:
        return damaged(path, error)
    with path.open("rb") as file:
        start = file.read(len(_MAGIC))
    if start == _MAGIC:
        return damaged(path, error)
    return ForeignLogError(
        f"{path} begins with {start!r}: this is no SQLite file, so no season log"
    )


def _wanted() -> dict[str, str]:
    """Return what makes all tables, indices and views, by name."""
    return {statement.split()[2]: statement for statement in TABLES}


def unread(path: Path, error: sqlite3.OperationalError) -> LogError:
    """Return the error to raise for a file that could not be read.

    A text that is none is no fault of the disk or the moment: the file was
    altered. Python says so without an error code of SQLite's.
    """
    if not hasattr(error, "sqlite_errorcode") and "decode" in str(error):
        words = str(error).split(" with text")[0]  # which may be a whole plan
        return damaged(path, ValueError(words))
    return LogError(f"{path} cannot be read now: {error}")


def is_malformed(error: Exception) -> bool:
    """Whether an error tells of the file, not of its disk.

    Python raises the bare DatabaseError for SQLITE_CORRUPT and SQLITE_NOTADB, and
    errors derived from it for what a disk or a moment refuses.
    """
    return isinstance(error, DamagedLogError) or type(error) is sqlite3.DatabaseError


def damaged(path: Path, error: Exception) -> DamagedLogError:
    """Return the error to raise for a file that SQLite cannot make sense of."""
    return DamagedLogError(
        f"{path} is damaged ({error}): it was cut short or altered; use a backup"
    )
