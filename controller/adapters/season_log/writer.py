"""The season log's writer: one thread, one connection, nobody waits for a disk.

What is on the disk when: whatever `committed` said True of, and every scan
older than the commit interval while health is OK. A power cut loses at most
the scans of the last interval, never one that switched something on.
"""

import asyncio
import sqlite3
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from controller.adapters.season_log.keeper import Keeper, OpenLog
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.record_queue import Asked, RecordQueue, not_kept
from controller.adapters.season_log.record_rows import change_row
from controller.adapters.season_log.rows import Ending, header_row, printable
from controller.adapters.season_log.schema import LogError
from controller.adapters.season_log.segments import UnsoundError
from controller.adapters.season_log.waiting import (
    Item,
    Ring,
    Waiters,
    is_scan,
)
from controller.core.decisions import Decisions
from controller.core.scan import LogHealth, Scan
from controller.core.state import State
from controller.core.units import MINUTE_MS
from controller.ports import Instant, MovedOnError, NotKeptError, RunHeader
from controller.records.changes import Change

RING_SCANS = 20_000
"""Chosen: more than a day of scans at 5 s; some tens of megabytes at worst."""

_BATCH = 1_000
"""Items in one transaction, so that a long recovery goes in pieces."""

_SLOWEST_MS = 30_000
"""Chosen: a disk that takes longer over one commit is as good as broken."""

_KEPT_WITHIN_S = 5.0
"""Chosen: how long a person who told something waits for the disk."""

_UNWILLING = (sqlite3.Error, OSError, LogError)
_UNWRITABLE = (
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    sqlite3.DataError,
    OverflowError,
    ValueError,
)
"""Errors that are a scan's own fault: no other disk would take it either."""


class SeasonLogWriter:
    """Implements ports.SeasonLog and RecordKeeper on a file, with a thread of its own.

    Whatever SQLite or the file system refuses makes health FAILED; what was
    to be written waits in a ring and is written, in order, when the disk takes
    it again: tried at the next append and every retry_s. When the ring is
    full, the oldest scans are lost, counted and noted in the log. A file that
    turns out malformed gets a mark beside it, so that the next start sets it aside.
    """

    def __init__(  # noqa: PLR0913 - each is a promise of its own
        self,
        path: Path,
        *,
        commit_every_ms: int = MINUTE_MS,
        fold_after_ms: int | None = None,
        ring_scans: int = RING_SCANS,
        retry_s: float = 1.0,
        patience_s: float = 10.0,
        kept_within_s: float = _KEPT_WITHIN_S,
        open_log: OpenLog = LogFile,
        tell: Callable[[str], None] = lambda _: None,
    ) -> None:
        """Take hold of the file and start the thread.

        Args:
            path: The file; a new one is made if there is none.
            commit_every_ms: Longest run time between commits [ms].
            fold_after_ms: Scans of this age are folded [ms]; None: none are.
            ring_scans: How many scans may wait while the disk refuses.
            retry_s: From one attempt to the next while nothing comes in [s].
            patience_s: How long this call and close wait for the disk [s].
            kept_within_s: How long keep waits for the disk [s].
            open_log: Opens the file.
            tell: Told in a sentence, from the writer's thread, when the disk
                begins to refuse and when it takes things again.

        Raises:
            LogError: The path is no season log, its folder is missing, or it
                has a writer. A full or failing disk is no such error: see
                health.
        """
        self._path = path
        self._commit_every_ms = commit_every_ms
        self._retry_s = retry_s
        self._patience_s, self._kept_within_s = patience_s, kept_within_s
        self._tell = tell
        self._told = ""
        self._changed = threading.Condition()
        # Shared with the thread, under _changed:
        self._ring = Ring(ring_scans)
        self._waiters = Waiters()
        self._records = RecordQueue()
        self._due = False
        self._busy = True
        self._in_hand = 0
        self._closing = False
        self._health = LogHealth.FAILED
        self._error: Exception | None = None
        self._begun: str | None = None
        self._taken_seq = 0
        self._committed_seq = 0
        self._commit_from_ms: int | None = None
        self._asked_ms: int | None = None
        # The thread's own:
        self._keeper = Keeper(path, open_log, fold_after_ms)
        self._singly = 0
        tried = threading.Event()
        self._thread = threading.Thread(
            target=self._serve, args=(tried.set,), name="season-log", daemon=True
        )
        self._thread.start()
        tried.wait(patience_s)
        self._check_start()

    # ------------------------------------------------------- the caller's side

    def _check_start(self) -> None:
        error = self._error
        if isinstance(error, LogError):
            self.close()
            raise error

    @property
    def dropped(self) -> int:
        """How many scans were lost, all in all."""
        with self._changed:
            return self._ring.dropped

    @property
    def waiting(self) -> int:
        """How much waits to be written."""
        with self._changed:
            return len(self._ring) + self._in_hand

    @property
    def trouble(self) -> str:
        """Why health is not OK, in words; empty if it is."""
        with self._changed:
            return str(self._error) if self._error else ""

    def begin(self, header: RunHeader) -> None:
        """Begin a run: see ports.SeasonLog."""
        row = header_row(header)
        with self._changed:
            self._ring.put(row)
            self._begun, self._taken_seq, self._committed_seq = row.run, 0, 0
            self._commit_from_ms = self._asked_ms = None
            self._wake(header.started_run_ms)

    def append(self, scan: Scan, decisions: Decisions, state: State) -> None:
        """Take a scan: see ports.SeasonLog.

        Raises:
            ValueError: No run has begun, the log is closed, or seq does not
                grow: mistakes of the caller, not of the disk.
        """
        with self._changed:
            self._check_order(scan)
            self._taken_seq = scan.seq
            lost = self._ring.put((scan, decisions, state))
            if lost or self._overdue(scan.run_ms):
                slow = LogError(f"{self._path}: the disk does not keep up")
                self._set_failed(self._error or slow)
            failing = self._health is not LogHealth.OK
            if decisions.flush or failing or self._interval_over(scan.run_ms):
                self._commit_from_ms = scan.run_ms
                self._wake(scan.run_ms)

    def end(self, at: Instant, cause: str) -> None:
        """Write down how the run ended: see ports.SeasonLog.

        Raises:
            ValueError: No run has begun, or the log is closed.
        """
        with self._changed:
            self._check_open()
            self._ring.put(Ending(at.run_ms, at.utc_ms, printable(cause)))
            self._wake(at.run_ms)

    def _check_open(self) -> None:
        if self._begun is None or self._closing:
            raise ValueError("the season log takes scans from begin to close")

    def _check_order(self, scan: Scan) -> None:
        self._check_open()
        if scan.seq <= self._taken_seq:
            raise ValueError(f"scan {scan.seq} comes after scan {self._taken_seq}")

    def _interval_over(self, run_ms: int) -> bool:
        if self._commit_from_ms is None:
            self._commit_from_ms = run_ms
        return run_ms - self._commit_from_ms >= self._commit_every_ms

    def _overdue(self, run_ms: int) -> bool:
        """Whether a disk that refuses nothing does not answer either."""
        patience_ms = max(self._commit_every_ms, _SLOWEST_MS)
        return self._asked_ms is not None and run_ms - self._asked_ms > patience_ms

    def _wake(self, run_ms: int) -> None:
        if self._asked_ms is None:
            self._asked_ms = run_ms
        self._due = True
        self._changed.notify_all()

    async def committed(self, seq: int) -> bool:
        """Wait for the disk: see ports.SeasonLog.

        False at once while health is FAILED: an attempt may be under way, but
        the last one failed.

        A disk that hangs refuses nothing, so that this waits on: until a scan
        comes in that is later than what was due by more than the commit interval,
        or 30 s if that is longer, for then health is FAILED. It has no bound of
        its own where no scan comes in. The one caller, the daemon, waits 2 s
        (COMMIT_WAIT_S), and takes the log for failed until this has returned; a
        bound in here would end that early, while health still says OK.
        """
        with self._changed:
            if seq <= self._committed_seq:
                return True
            if self._closing or self._health is not LogHealth.OK:
                return False
            future = self._waiters.add(seq)
        try:
            return await future
        finally:
            with self._changed:
                self._waiters.forget(future)

    async def keep(self, changes: Sequence[Change]) -> None:
        """Write changes of records: see ports.RecordKeeper.

        Scans that wait go first. A disk that refuses is told at once, and
        nothing is tried again: whoever told it may do so.
        """
        asked = Asked([change_row(change) for change in changes])
        with self._changed:
            if self._closing:
                raise NotKeptError("the season log is closed")
            self._records.put(asked)
            self._due = True
            self._changed.notify_all()
        try:
            async with asyncio.timeout(self._kept_within_s):
                await asked.future
        except TimeoutError:
            with self._changed:
                certain = self._records.withdraw(asked)
            words = f"the disk gave no answer within {self._kept_within_s:g} s"
            raise NotKeptError(words, certain=certain) from None

    def health(self) -> LogHealth:
        """Whether the last attempt to write succeeded, and nothing was lost since."""
        with self._changed:
            return self._health

    def settle(self) -> bool:
        """Wait until all that was due has been tried; return whether it was.

        For tests, and for whoever has time: it waits for the disk, up to
        patience_s.
        """
        with self._changed:
            return self._changed.wait_for(
                lambda: not self._due and not self._busy, self._patience_s
            )

    def close(self) -> None:
        """Write what is left: see ports.SeasonLog.

        What the disk does not take within patience_s is lost; health then
        says FAILED and waiting says how much.
        """
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(self._patience_s)
        if self._thread.is_alive():
            with self._changed:
                self._set_failed(LogError(f"{self._path}: the disk does not answer"))

    # ------------------------------------------------------- the thread's side

    def _serve(self, tried: Callable[[], None]) -> None:
        try:
            self._write_all()
            tried()
            while self._wait():
                self._write_all()
                self._write_records()
                self._fold()
            self._finish()
        finally:
            # Reached by a mistake of ours, too: then nobody may wait for ever,
            # or take the log for healthy.
            self._end()
            tried()

    def _wait(self) -> bool:
        """Wait for something to do; return False when it is to close."""
        with self._changed:
            self._busy = False
            self._changed.notify_all()
            failing = self._health is not LogHealth.OK
            self._changed.wait_for(
                lambda: self._due or self._closing, self._retry_s if failing else None
            )
            self._due, self._busy = False, True
            return not self._closing

    def _write_all(self) -> None:
        while self._write_some():
            pass
        self._tell_trouble()

    def _write_records(self) -> None:
        while asked := self._next_record():
            try:
                self._keeper.add_records(asked.rows)
            except MovedOnError as error:
                asked.settle(error)
            except _UNWRITABLE as error:
                self._keeper.abandon()
                asked.settle(NotKeptError(f"it cannot be stored: {error}"))
            except _UNWILLING as error:
                self._refused([], error)
                asked.settle(not_kept(error))
            else:
                asked.settle()
        self._tell_trouble()

    def _next_record(self) -> Asked | None:
        with self._changed:
            return self._records.take()

    def _fold(self) -> None:
        """Fold some old scans, while nobody waits for anything else."""
        if self.waiting:
            return
        try:
            self._keeper.fold_some()
        except UnsoundError as error:
            self._tell(
                f"the season log {self._path} is not as it was written: {error}; it"
                " goes on, and what was altered is left as it is: bottomheat audit"
                f" {self._path} tells more"
            )
        except _UNWILLING as error:
            self._refused([], error)
            self._tell_trouble()

    def _tell_trouble(self) -> None:
        """Tell once when it begins and when it is over; hold no lock meanwhile."""
        trouble = self.trouble
        if trouble == self._told:
            return
        self._told = trouble
        self._tell(
            f"the season log cannot be written: {trouble}"
            if trouble
            else f"the season log {self._path} is written again"
        )

    def _write_some(self) -> bool:
        """Write one transaction; return whether there is more that can be tried."""
        batch: list[Item] = []
        try:
            self._keeper.make_ready()
            batch = self._take()
            self._keeper.put(batch)
        except _UNWRITABLE as error:
            return self._set_aside(batch, error)
        except _UNWILLING as error:
            return self._refused(batch, error)
        return self._wrote(batch)

    def _take(self) -> list[Item]:
        with self._changed:
            batch = self._ring.take(1 if self._singly else _BATCH)
            self._in_hand = len(batch)
        self._singly = max(0, self._singly - len(batch))
        return batch

    def _wrote(self, batch: list[Item]) -> bool:
        with self._changed:
            self._health, self._error = LogHealth.OK, None
            self._asked_ms, self._in_hand = None, 0
            seqs = [item[0].seq for item in batch if is_scan(item)]
            if seqs and self._keeper.run == self._begun:
                self._committed_seq = seqs[-1]
                self._waiters.reached(seqs[-1])
            return len(self._ring) > 0

    def _refused(self, batch: list[Item], error: Exception) -> bool:
        self._keeper.give_up(error)
        with self._changed:
            self._ring.put_back(batch)
            self._in_hand = 0
            self._set_failed(error)
        return False

    def _set_aside(self, batch: list[Item], error: Exception) -> bool:
        """Find the scan that cannot be stored, and give up that one only."""
        if not any(map(is_scan, batch)):
            return self._refused(batch, error)
        self._keeper.abandon()
        with self._changed:
            self._in_hand = 0
            if len(batch) > 1:
                self._singly = len(batch)
                self._ring.put_back(batch)
            else:
                self._ring.put_back_lost(batch[0])
                self._set_failed(error)
        return True

    def _set_failed(self, error: Exception) -> None:
        self._health, self._error = LogHealth.FAILED, error
        self._waiters.failed()

    def _finish(self) -> None:
        self._write_all()
        self._write_records()
        try:
            self._keeper.close()
        except _UNWILLING as error:
            self._refused([], error)

    def _end(self) -> None:
        self._keeper.release()
        with self._changed:
            self._due = self._busy = False
            self._changed.notify_all()
            self._waiters.failed()
            self._records.refuse_all("the season log is closed")
            if not self._closing:
                self._set_failed(RuntimeError("the season log's thread has ended"))
