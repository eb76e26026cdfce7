"""The season log's file: its tables, how it begins and how it is recognised.

One SQLite file, in whole numbers, in the order in which things came. Every
scan of every run has one number of the file, its id: a run takes the next free
number for itself, and its scan with sequence number n has the run's id + n.
So a number that is not in `scan` is a scan that was never written, and any
row of any table can be put in its place in time by its scan's id alone.

=============  ==============================================================
meta           "application", "schema_version", "openings" (how often opened)
name           small numbers for the names of probes and mats
run            the header of a run: what an audit needs to decide it again
note           sentences about a run's beginning; scan is the run's id
ending         how a run ended, after its last scan `scan`: the cause, in words
clock          a stretch of even time: from scan `scan` on, and until the next
               row, scan i is due at run_ms + (i - scan) * every_ms. The same
               for utc_ms. Local minutes since 1970 are utc_ms / 60000, rounded
               down, + zone_min. A new row begins where the bench clock, the
               wall clock, the zone, or one of the three flags leaves the line
scan           late_ms: after it was due. skew_ms: wall clock against the line
reading        id = scan * 4096 + its place in the scan; probe; age_ms: how
               long before the scan it was measured; milli: thousandths of the
               probe's unit, before its offset, NULL if unusable; quality:
               0 good, 1 uncertain, 2 bad
remark         why a reading is not good: for such readings only
refusal        a message that gave no value, with its first bytes
relay_report   what a relay said; reason NULL is "command"
request        a person's wish, as JSON
command        only where a mat's cause or state differs from its command
               before; numbers is JSON: [[name, value], …]
doubt          a reading that the core did not take; reading is its place in
               the scan, NULL if it is none of the scan's
power_report   what a mat's wattmeter said [mW]
alarm_change   an alarm came, went or was dealt with: turn; who: by whom
answer         what became of a request
lost           scans `first` to `last` could not be written: their number
snapshot       the state after a scan: JSON, deflated (RFC 1950); after the
               first scan, once an hour and at the end of a run
=============  ==============================================================

`n` is the place within the scan, from 0. The views `scan_time`, `sample` and
`switching` show the same with plain times and names, for people with a SQLite
shell. What may live here: the shape of the file and its recognition.
"""

import sqlite3
from pathlib import Path

APPLICATION_ID = 0x62486C67
"""Four letters, "bHlg", in the file's header: this is a season log."""

SCHEMA_VERSION = 2

READINGS_PER_SCAN = 4096
"""Room for readings within one scan's number."""

_MAGIC = b"SQLite format 3\x00"

_TABLES = (
    """CREATE TABLE meta (
        key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID""",
    """CREATE TABLE name (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT""",
    """CREATE TABLE run (
        id INTEGER PRIMARY KEY, run TEXT NOT NULL UNIQUE, origin TEXT NOT NULL,
        started_run_ms INTEGER NOT NULL, started_utc_ms INTEGER NOT NULL,
        timezone TEXT NOT NULL, decisions_version INTEGER NOT NULL,
        versions TEXT NOT NULL, plan TEXT NOT NULL, state TEXT NOT NULL) STRICT""",
    """CREATE TABLE note (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, sentence TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE ending (
        scan INTEGER PRIMARY KEY, run_ms INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL, cause TEXT NOT NULL) STRICT""",
    """CREATE TABLE clock (
        scan INTEGER PRIMARY KEY, run_ms INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL, every_ms INTEGER NOT NULL,
        zone_min INTEGER NOT NULL, clock_ok INTEGER NOT NULL,
        link_up INTEGER NOT NULL, log_ok INTEGER NOT NULL) STRICT""",
    """CREATE TABLE scan (
        id INTEGER PRIMARY KEY, late_ms INTEGER NOT NULL,
        skew_ms INTEGER NOT NULL) STRICT""",
    """CREATE TABLE reading (
        id INTEGER PRIMARY KEY, probe INTEGER NOT NULL, age_ms INTEGER NOT NULL,
        milli INTEGER, quality INTEGER NOT NULL) STRICT""",
    """CREATE TABLE remark (
        reading INTEGER PRIMARY KEY, note TEXT NOT NULL) STRICT""",
    """CREATE TABLE refusal (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, source TEXT NOT NULL,
        age_ms INTEGER NOT NULL, reason TEXT NOT NULL, raw TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE relay_report (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, energised INTEGER NOT NULL, seq INTEGER,
        reason TEXT, retained INTEGER NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE INDEX relay_news ON relay_report (scan, n) WHERE reason IS NOT NULL""",
    """CREATE TABLE power_report (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, power_mw INTEGER NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE request (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, request INTEGER NOT NULL,
        who TEXT NOT NULL, wish TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE command (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        energised INTEGER NOT NULL, cause TEXT NOT NULL, numbers TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE doubt (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, probe INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, temp_mc INTEGER, quality INTEGER NOT NULL,
        why TEXT NOT NULL, reading INTEGER,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE alarm_change (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, kind TEXT NOT NULL,
        subject TEXT NOT NULL, turn TEXT NOT NULL, numbers TEXT NOT NULL,
        who TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE answer (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, request INTEGER NOT NULL,
        accepted INTEGER NOT NULL, sentence TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE lost (
        first INTEGER PRIMARY KEY, last INTEGER NOT NULL) STRICT""",
    """CREATE TABLE snapshot (
        scan INTEGER PRIMARY KEY, state BLOB NOT NULL) STRICT""",
    """CREATE VIEW scan_time AS
        SELECT s.id AS scan, r.run AS run, s.id - r.id AS seq,
            c.run_ms + (s.id - c.scan) * c.every_ms + s.late_ms AS run_ms,
            c.utc_ms + (s.id - c.scan) * c.every_ms + s.late_ms + s.skew_ms AS utc_ms,
            c.zone_min AS zone_min, c.clock_ok AS clock_ok,
            c.link_up AS link_up, c.log_ok AS log_ok
        FROM scan s
        JOIN clock c ON c.scan = (SELECT max(scan) FROM clock WHERE scan <= s.id)
        JOIN run r ON r.id = (SELECT max(id) FROM run WHERE id < s.id)""",
    f"""CREATE VIEW sample AS
        SELECT t.run AS run, t.scan AS scan, t.utc_ms AS utc_ms,
            t.run_ms - r.age_ms AS at_ms, p.name AS probe, r.milli AS milli,
            r.quality AS quality
        FROM scan_time t
        JOIN reading r ON r.id >= t.scan * {READINGS_PER_SCAN}
            AND r.id < (t.scan + 1) * {READINGS_PER_SCAN}
        JOIN name p ON p.id = r.probe""",  # noqa: S608
    """CREATE VIEW switching AS
        SELECT t.run AS run, t.scan AS scan, t.utc_ms AS utc_ms, m.name AS mat,
            c.energised AS energised, c.cause AS cause, c.numbers AS numbers
        FROM command c
        JOIN scan_time t ON t.scan = c.scan
        JOIN name m ON m.id = c.mat""",
)


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
    connection.execute("BEGIN")
    for statement in _TABLES:
        connection.execute(statement)
    connection.executemany(
        "INSERT INTO meta VALUES (?, ?)",
        [
            ("application", "bottomheat season log"),
            ("schema_version", str(SCHEMA_VERSION)),
            ("openings", "0"),
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


def check_schema(path: Path, connection: sqlite3.Connection) -> None:
    """Check that an open database is a season log which this program knows.

    Raises:
        LogError: It belongs to another program, is of another version, or is
            damaged.
    """
    try:
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        tables = {
            row[0] for row in connection.execute("SELECT name FROM sqlite_schema")
        }
    except sqlite3.OperationalError:
        raise  # busy or an unwilling disk: not the file's fault
    except sqlite3.DatabaseError as error:
        raise _no_database(path, error) from error
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
    if version < SCHEMA_VERSION:
        raise OldLogError(
            f"{path} has schema {version}; this bottomheat reads schema"
            f" {SCHEMA_VERSION} only: use the older bottomheat that wrote it"
        )
    missing = _wanted() - tables
    if missing:
        raise DamagedLogError(
            f"{path} is damaged: schema {version}, without {sorted(missing)};"
            " use a backup"
        )


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


def _wanted() -> set[str]:
    """Return the names of all tables, indices and views."""
    return {statement.split()[2] for statement in _TABLES}


def damaged(path: Path, error: Exception) -> DamagedLogError:
    """Return the error to raise for a file that SQLite cannot make sense of."""
    return DamagedLogError(
        f"{path} is damaged ({error}): it was cut short or altered; use a backup"
    )
