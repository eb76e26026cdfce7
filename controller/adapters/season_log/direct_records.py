"""Records written straight into a season log that no daemon holds."""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from controller.adapters.season_log.files import LogLock
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.record_queue import not_kept
from controller.adapters.season_log.record_rows import change_row
from controller.adapters.season_log.schema import LogError
from controller.records.changes import Change


class DirectRecords:
    """Implements ports.RecordKeeper in the caller's thread."""

    def __init__(self, path: Path) -> None:
        """Open a season log that is there, and keep it from other writers.

        Raises:
            LogError: It is none, is missing or old, or has a writer.
        """
        self._lock = LogLock(path)
        try:
            self._file = LogFile(path, may_create=False)
        except (sqlite3.Error, OSError) as error:
            self._lock.release()
            raise LogError(f"{path} cannot be written: {error}") from error
        except BaseException:
            self._lock.release()
            raise

    async def keep(self, changes: Sequence[Change]) -> None:
        """Write changes: see ports.RecordKeeper."""
        try:
            self._file.add_records([change_row(change) for change in changes])
        except (sqlite3.Error, OSError, LogError, OverflowError, ValueError) as error:
            raise not_kept(error) from error

    def close(self) -> None:
        """Give the file up; what was kept is on the disk."""
        self._file.abandon()
        self._lock.release()
