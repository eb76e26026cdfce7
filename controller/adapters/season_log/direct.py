"""The season log in virtual time: same file, no thread, commits by count."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.adapters.season_log.files import LogLock
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.memory import Taken
from controller.adapters.season_log.rows import Ending, header_row, printable
from controller.adapters.season_log.schema import LogError
from controller.core.decisions import Decisions
from controller.core.scan import LogHealth, Scan
from controller.core.state import State
from controller.ports import Instant, RunHeader

_PIECE = 500


class DirectSeasonLog:
    """Implements ports.SeasonLog for a simulation.

    It writes in the caller's thread and pays no heed to decisions.flush: a
    simulated season that a power cut interrupts is simulated again. For the
    same reason a disk that refuses is an error here, raised at once.
    """

    def __init__(
        self,
        path: Path,
        *,
        commit_every_scans: int = 10_000,
        fold_after_ms: int | None = None,
    ) -> None:
        """Open the file, a new one if there is none.

        Args:
            path: The file.
            commit_every_scans: Scans in one transaction.
            fold_after_ms: Scans of this age are folded [ms]; None: none are.

        Raises:
            LogError: The path is no season log, cannot be written, or has a
                writer.
        """
        self._path = path
        self._every = commit_every_scans
        self._fold_after_ms = fold_after_ms
        self._run_ms = 0
        self._buffer: list[Taken] = []
        self._uncommitted = 0
        self._seq = self._committed_seq = 0
        self._health = LogHealth.OK
        self._lock: LogLock | None = None
        self._open: LogFile | None = None
        with self._refusing():
            self._lock = LogLock(path)
            self._open = LogFile(path)

    def begin(self, header: RunHeader) -> None:
        """Begin a run; raise LogError if the disk refuses."""
        self._flush()
        row = header_row(header)
        with self._refusing():
            self._file.begin(row)
            self._file.commit()
        self._seq = self._committed_seq = 0

    def append(self, scan: Scan, decisions: Decisions, state: State) -> None:
        """Take a scan.

        Raises:
            LogError: The disk refuses.
            ValueError: seq does not grow.
        """
        if scan.seq <= self._seq:
            raise ValueError(f"scan {scan.seq} comes after scan {self._seq}")
        self._buffer.append((scan, decisions, state))
        self._seq, self._run_ms = scan.seq, scan.run_ms
        if len(self._buffer) >= _PIECE:
            self._write()
            if self._uncommitted >= self._every:
                self._flush()
                self._fold()

    def end(self, at: Instant, cause: str) -> None:
        """Write down how the run ended; raise LogError if the disk refuses."""
        self._write()
        with self._refusing():
            self._file.end(Ending(at.run_ms, at.utc_ms, printable(cause)))

    async def committed(self, seq: int) -> bool:
        """Commit, if need be, and return whether a scan is on the disk."""
        if self._committed_seq < seq <= self._seq:
            self._flush()
        return seq <= self._committed_seq

    def health(self) -> LogHealth:
        """Whether the last attempt to write succeeded."""
        return self._health

    def close(self) -> None:
        """Write what is left, with a last state, and close.

        After an error there is nothing left to do, and nothing is raised.
        """
        if self._open is not None:
            self._flush()
            self._fold()
            with self._refusing():
                self._file.close()
            self._give_up(LogHealth.OK)

    def _flush(self) -> None:
        self._write()
        with self._refusing():
            self._file.commit()
        self._committed_seq, self._uncommitted = self._seq, 0

    def _fold(self) -> None:
        after_ms = self._fold_after_ms
        if after_ms is None:
            return
        with self._refusing():
            while self._file.fold_some(after_ms, self._run_ms):
                pass

    def _write(self) -> None:
        with self._refusing():
            self._file.write(self._buffer)
        self._uncommitted += len(self._buffer)
        self._buffer.clear()

    @property
    def _file(self) -> LogFile:
        if self._open is None:
            raise LogError(f"{self._path} is closed")
        return self._open

    def _give_up(self, health: LogHealth) -> None:
        self._health = health
        if self._open is not None:
            self._open.abandon()
            self._open = None
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    @contextmanager
    def _refusing(self) -> Iterator[None]:
        """Give the file up and say so, whatever goes wrong with it."""
        try:
            yield
        except (sqlite3.Error, OSError, LogError, OverflowError, ValueError) as error:
            self._give_up(LogHealth.FAILED)
            if isinstance(error, LogError):
                raise
            raise LogError(f"{self._path} cannot be written: {error}") from error
