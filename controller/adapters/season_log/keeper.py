"""One season log for a writer that survives its disk: open, lose, open again."""

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from controller.adapters.season_log.files import LogLock, mark_malformed, unmark
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.memory import Taken
from controller.adapters.season_log.rows import Ending, HeaderRow, Row
from controller.adapters.season_log.schema import LogError, is_malformed
from controller.adapters.season_log.segments import UnsoundError
from controller.adapters.season_log.waiting import Item, Lost
from controller.core.units import MINUTE_MS

_FOLD_AGAIN_MS = 10 * MINUTE_MS
"""Chosen: folding that found no room may wait."""


class OpenLog(Protocol):
    """Opens the file: see LogFile."""

    def __call__(self, path: Path, *, run: str | None, may_create: bool) -> LogFile:
        """Open a file."""
        ...


class Keeper:
    """Holds the file open, and finds its place in it after trouble.

    Attributes:
        run: Identity of the run that was begun last, committed or not yet.
    """

    def __init__(
        self, path: Path, open_log: OpenLog, fold_after_ms: int | None = None
    ) -> None:
        self.run: str | None = None
        self._path = path
        self._open_log = open_log
        self._lock: LogLock | None = None
        self._file: LogFile | None = None
        self._was_open = False
        self._fold_after_ms = fold_after_ms
        self._fold_from_ms = 0
        self._newest_run_ms: int | None = None
        self._marked = False

    def make_ready(self) -> LogFile:
        """Return the file, locked and opened if it was not.

        Once it was there, a missing one is an error: a card that is no longer
        mounted must not be mistaken for a new season.
        """
        if self._lock is None:
            self._lock = LogLock(self._path)
        if self._file is None:
            self._file = self._open_log(
                self._path, run=self.run, may_create=not self._was_open
            )
            self._was_open = True
        return self._file

    def put(self, batch: list[Item]) -> None:
        """Write and commit. A header, if any, is the first of a batch.

        Raises:
            LogError: The file is not the one it was.
            sqlite3.Error: The disk, or a scan, is at fault.
            OSError: The disk is at fault.
            OverflowError: A scan is at fault.
            ValueError: A scan is at fault.
        """
        file = self.make_ready()
        scans: list[Taken] = []
        for item in batch:
            if isinstance(item, HeaderRow):
                self._begin(file, item)
            elif isinstance(item, Lost | Ending):
                file.write(scans)
                scans = []
                _mark(file, item)
            else:
                scans.append(item)
        file.write(scans)
        file.commit()
        if self._marked:
            unmark(self._path)
            self._marked = False
        if scans:
            self._newest_run_ms = scans[-1][0].run_ms

    def add_records(self, rows: Sequence[Row]) -> None:
        """Write changes of records and commit; raise as LogFile.add_records does."""
        self.make_ready().add_records(rows)

    def fold_some(self) -> None:
        """Fold the next old scans, if any; raise as LogFile.fold_some does.

        What SQLite calls malformed is unsound: nothing more is folded then, since
        folding takes rows away, and that is for whole files only. Scans are still
        taken; the next start looks at every page and sets the file aside.
        """
        now_ms, after_ms = self._newest_run_ms, self._fold_after_ms
        if now_ms is None or after_ms is None or now_ms < self._fold_from_ms:
            return
        file = self.make_ready()
        try:
            file.fold_some(after_ms, now_ms)
        except (sqlite3.Error, OSError, LogError) as error:
            if is_malformed(error):
                self._fold_after_ms = None
                self.abandon()
                message = f"{error}; nothing more is folded before the next start"
                raise UnsoundError(message) from error
            # What comes in may still find room: then the log is well again at
            # once, and must not be ill again at every scan.
            self._fold_from_ms = now_ms + _FOLD_AGAIN_MS
            raise

    def _begin(self, file: LogFile, header: HeaderRow) -> None:
        if self.run == header.run and file.has_run:
            return  # a commit that seemed to fail had taken place
        file.begin(header)
        self.run = header.run  # from here on a run of this name is ours

    def abandon(self) -> None:
        """Close the file as it is: what was not committed is gone."""
        if self._file is not None:
            self._file.abandon()
            self._file = None

    def give_up(self, error: Exception) -> None:
        """Abandon the file, and mark one that turned out malformed."""
        self.abandon()
        if is_malformed(error) and not self._marked:
            mark_malformed(self._path, error)
            self._marked = True

    def release(self) -> None:
        """Give the file up, and the right to write it."""
        self.abandon()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def close(self) -> None:
        """Write the last state and close; raise as put does."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _mark(file: LogFile, item: Lost | Ending) -> None:
    if isinstance(item, Ending):
        file.end(item)
    else:
        file.note_lost(item.first_seq, item.last_seq)
