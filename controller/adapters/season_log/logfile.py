"""The season log's file, open for writing: rows in, commits, one connection."""

import sqlite3
import struct
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from controller.adapters.season_log.files import clear_strays, sync_directory
from controller.adapters.season_log.folder import Horizon, fold, next_ready
from controller.adapters.season_log.memory import (
    RunMemory,
    Taken,
    new_run,
    newest_id,
    regained,
    rows_of,
)
from controller.adapters.season_log.record_rows import add_rows
from controller.adapters.season_log.rows import (
    Ending,
    HeaderRow,
    NameBook,
    Row,
    packed_state,
)
from controller.adapters.season_log.schema import (
    LogError,
    check_file,
    check_schema,
    create,
    damaged,
)
from controller.adapters.season_log.segments import UnsoundError, names
from controller.adapters.season_log.sums import with_sum
from controller.ports import MovedOnError

Connect = Callable[[Path], sqlite3.Connection]

_Identity = tuple[int, int] | None
"""Device and number of a file; None: there is none."""

_Files = tuple[_Identity, _Identity]
"""The log itself, and its "-wal"."""

_PRAGMAS = (
    "PRAGMA busy_timeout = 5000",
    "PRAGMA journal_mode = WAL",
    # In WAL mode FULL syncs the log at every commit: what is committed
    # survives a power cut (sqlite.org, "PRAGMA synchronous").
    "PRAGMA synchronous = FULL",
    "PRAGMA journal_size_limit = 4194304",
    # Half a megabyte, where SQLite takes two: it is filled within days, and a day
    # writes no more to the card without the rest (measured).
    "PRAGMA cache_size = -500",
)

_WAL_BYTES = 2 * 2**20
"""Chosen: what the "-wal" may hold before it is brought into the file, whatever the
size of a page: of pages that are written again and again only the last counts."""

_SENSELESS = (
    ValueError,
    LookupError,
    TypeError,
    ArithmeticError,
    struct.error,
    zlib.error,
)
"""Errors of rows that do not mean what they should."""

NO_ENDING = "no ending was written: the daemon was killed, or the power went"
"""The cause of a run's end, where the next run finds none."""

_COLUMNS = {
    "name": 3,
    "note": 4,
    "ending": 5,
    "clock": 9,
    "scan": 4,
    "reading": 5,
    "remark": 2,
    "refusal": 6,
    "relay_report": 8,
    "power_report": 5,
    "request": 5,
    "command": 6,
    "doubt": 8,
    "alarm_change": 7,
    "answer": 5,
    "lost": 3,
    "snapshot": 3,
}
_INSERT = {
    table: f"INSERT INTO {table} VALUES ({', '.join('?' * columns)})"  # noqa: S608
    for table, columns in _COLUMNS.items()
}


def connect(path: Path) -> sqlite3.Connection:
    """Open an existing file for writing, without transactions of its own."""
    uri = f"{path.resolve().as_uri()}?mode=rw"
    return sqlite3.connect(uri, uri=True, isolation_level=None)


class LogFile:
    """One connection to one season log. Not for sharing between threads.

    Nothing is on the disk before commit returns. After any error of begin,
    write, note_lost or commit the object is spent: abandon it and open the
    file anew.
    """

    def __init__(
        self,
        path: Path,
        *,
        run: str | None = None,
        may_create: bool = True,
        connect: Connect = connect,
    ) -> None:
        """Open the file, a new one if there is none, and prove it writable.

        Args:
            path: The file. Its folder must exist.
            run: Go on with this run, where an earlier connection began it.
            may_create: Whether a missing file is made; if not, it is an error.
            connect: Opens a connection.

        Raises:
            LogError: The file is no season log, is damaged, or is missing
                where it may not be.
            sqlite3.Error: The disk does not take it.
            OSError: The same, from the file system.
        """
        self._path = path
        if may_create and not path.exists():
            clear_strays(path)
            create(path)
            sync_directory(path.parent)
        check_file(path)
        self._db = connect(path)
        self._wal = path.with_name(path.name + "-wal")
        self._files: _Files = (_identity(path), None)
        self._found: _Files = self._files
        self._run: RunMemory | None = None
        self._names = NameBook({})
        self._unfoldable = 0
        try:
            self._prepare(run)
        except BaseException:
            self.abandon()
            raise

    def _prepare(self, run: str | None) -> None:
        check_schema(self._path, self._db)
        try:
            for pragma in _PRAGMAS:
                self._db.execute(pragma)
            (size,) = self._db.execute("PRAGMA page_size").fetchone()
            self._db.execute(f"PRAGMA wal_autocheckpoint = {_WAL_BYTES // size}")
            self._count_opening()
            self._files = self._found = self._find()
            known = names(self._db)
            self._names = NameBook({name: key for key, name in known.items()})
            if run is not None:
                self._run = regained(self._db, run)
        except (sqlite3.DatabaseError, ValueError) as error:
            if type(error) is sqlite3.OperationalError:
                raise
            raise damaged(self._path, error) from error

    def _count_opening(self) -> None:
        """Write a little something: only that proves that one can write."""
        self._db.execute(
            "UPDATE meta SET value = CAST(value AS INTEGER) + 1 WHERE key = 'openings'"
        )

    @property
    def has_run(self) -> bool:
        """Whether a run has been begun, or was found again."""
        return self._run is not None

    def begin(self, header: HeaderRow) -> None:
        """Begin a run.

        Raises:
            LogError: The file has a run of this name.
            sqlite3.Error: The disk does not take it.
        """
        self._in_transaction()
        known = self._db.execute("SELECT 1 FROM run WHERE run = ?", (header.run,))
        if known.fetchone():
            raise LogError(
                f"{self._path} has a run {header.run} already; each run needs an"
                " identity of its own"
            )
        newest = newest_id(self._db)
        self._end_run_before(newest)
        self._insert_run(newest + 1, header)
        self._run = new_run(newest + 1, header)

    def _insert_run(self, run_id: int, header: HeaderRow) -> None:
        row = with_sum((run_id, *header.cells))
        marks = ", ".join("?" * len(row))
        self._db.execute(f"INSERT INTO run VALUES ({marks})", row)  # noqa: S608
        notes = [with_sum((run_id, n, text)) for n, text in enumerate(header.notes)]
        self._db.executemany(_INSERT["note"], notes)

    def _end_run_before(self, newest: int) -> None:
        """Say of a live run that left no word how it ended that it did not."""
        row = self._db.execute(
            "SELECT ?1, coalesce(t.run_ms, r.started_run_ms),"
            " coalesce(t.utc_ms, r.started_utc_ms), ?2"
            " FROM run r LEFT JOIN scan_time t ON t.scan ="
            " (SELECT max(id) FROM scan) AND t.scan > r.id"
            " WHERE r.id = (SELECT max(id) FROM run) AND r.origin = 'live'"
            " AND NOT EXISTS (SELECT 1 FROM ending WHERE scan >= r.id)",
            (newest, NO_ENDING),
        ).fetchone()
        if row is not None:
            self._db.execute(_INSERT["ending"], with_sum(row))

    def end(self, ending: Ending) -> None:
        """Write down how the present run ended."""
        self._in_transaction()
        row = with_sum((self._present().last_id, *ending))
        self._db.execute("INSERT OR REPLACE INTO ending VALUES (?, ?, ?, ?, ?)", row)

    def write(self, batch: list[Taken]) -> None:
        """Write scans of the present run, in order.

        Raises:
            sqlite3.Error: The disk does not take them.
            OverflowError: One of them holds a number of more than 64 bits.
            ValueError: One of them cannot be stored for another reason.
        """
        if not batch:
            return
        self._in_transaction()
        rows = rows_of(self._present(), self._names, batch)
        if self._names.new:
            self._db.executemany(_INSERT["name"], map(with_sum, self._names.new))
            self._names.new.clear()
        for table, cells in rows.items():
            self._db.executemany(_INSERT[table], cells)

    def note_lost(self, first_seq: int, last_seq: int) -> None:
        """Write down that scans of the present run could not be kept."""
        self._in_transaction()
        run = self._present()
        first, last = run.run_id + first_seq, run.run_id + last_seq
        if last > run.last_id:
            self._db.execute(_INSERT["lost"], with_sum((first, last)))
            run.last_id = last

    def add_records(self, rows: Sequence[Row]) -> None:
        """Write changes of records and commit them, all or none.

        Args:
            rows: Made by change_row.

        Raises:
            MovedOnError: They do not follow those that are there; the file may
                be used further.
            LogError: The file was taken away or replaced.
            sqlite3.Error: The disk does not take them.
            ValueError: One of them cannot be stored.
        """
        self._in_transaction()
        try:
            add_rows(self._db, rows)
        except MovedOnError:
            self._db.execute("ROLLBACK")
            raise
        self.commit()

    def commit(self) -> None:
        """Return when all that was written is on the disk.

        Raises:
            LogError: The file was taken away or replaced: what is written to
                it now would be gone with it.
            sqlite3.Error: The disk does not take it.
        """
        if self._db.in_transaction:
            self._found = self._find()
            if self._found != self._files:
                raise LogError(
                    f"{self._path} or its -wal was taken away, or another file put in"
                    " its place, while it was being written: put it back, or start"
                    " anew"
                )
            self._db.execute("COMMIT")

    def fold_some(self, fold_after_ms: int, now_run_ms: int) -> bool:
        """Fold the next scans that are old enough, if any, and commit.

        Args:
            fold_after_ms: How old scans must be [ms].
            now_run_ms: Bench clock [ms].

        Returns:
            Whether some were folded.

        Raises:
            LogError: The file was taken away or replaced.
            UnsoundError: Some are not as they were written: they stay as they
                are, and those after them are next.
            sqlite3.Error: The disk does not take it.
        """
        run = self._run
        if run is None:
            return False
        horizon = Horizon(run.run_id, run.started_run_ms, now_run_ms - fold_after_ms)
        ready = next_ready(self._db, self._unfoldable, horizon)
        if ready is None:
            return False
        self._in_transaction()
        try:
            fold(self._db, ready)
        except _SENSELESS as error:
            self._db.execute("ROLLBACK")
            self._unfoldable = ready.last
            raise UnsoundError(str(error)) from error
        self.commit()
        return True

    def close(self) -> None:
        """Write the last state, commit and close."""
        run = self._run
        if run is not None and run.unsaved is not None:
            self._in_transaction()
            row = with_sum((run.last_id, packed_state(run.unsaved)))
            self._db.execute(_INSERT["snapshot"], row)
        self.commit()
        self._leave_one_file()
        self._db.close()

    def _leave_one_file(self) -> None:
        """Leave WAL mode: then reading needs no files beside this one.

        Where somebody reads just now, it stays as it is.
        """
        self._db.execute("PRAGMA busy_timeout = 0")
        with suppress(sqlite3.OperationalError):
            self._db.execute("PRAGMA journal_mode = DELETE")

    def abandon(self) -> None:
        """Close as it is: what was not committed is gone. Never raises."""
        moved = self._found[0] != self._files[0]
        with suppress(sqlite3.Error):
            if moved:
                self._empty_wal()
            self._db.close()
        if moved:
            with suppress(OSError):
                clear_strays(self._path)

    def _empty_wal(self) -> None:
        """Bring all that is committed into the file, wherever its name is now.

        SQLite would leave the "-wal" as it is, beside whatever file was put in
        this one's place, and it would be taken for that file's own.
        """
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")
        self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _find(self) -> _Files:
        """Return which files are being written, by the names they have now."""
        return _identity(self._path), _identity(self._wal)

    def _present(self) -> RunMemory:
        if self._run is None:
            raise LogError(f"{self._path}: no run has begun")
        return self._run

    def _in_transaction(self) -> None:
        if not self._db.in_transaction:
            self._db.execute("BEGIN IMMEDIATE")


def _identity(path: Path) -> _Identity:
    """Return which file a path means now; None: none that could be seen."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
