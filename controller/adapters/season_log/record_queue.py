"""Changes of records on their way to the disk, and who waits for them.

Each is tried once: whoever told it still knows it, and is told at once when the
disk refuses, rather than find it written some hours later. Not thread-safe by
itself: the writer holds its lock around every call. What may live here: waiting.
"""

import asyncio
import sqlite3
from collections import deque
from collections.abc import Sequence
from contextlib import suppress

from controller.adapters.season_log.rows import Row
from controller.ports import NotKeptError

_PRIMARY = 255
"""SQLite's extended error codes carry the plain one in their lowest byte."""

MOST_WAITING = 100
"""Chosen: far more than people write at once; the rest is turned away."""


class Asked:
    """Changes that somebody waits for.

    Attributes:
        rows: Their rows.
        future: Ends when they are on the disk, or with what went wrong.
    """

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows = rows
        self.future: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def settle(self, error: Exception | None = None) -> None:
        """Tell who waits, from whatever thread; None: they are on the disk."""
        with suppress(RuntimeError):  # its loop has been closed: nobody waits
            self.future.get_loop().call_soon_threadsafe(_settle, self.future, error)


def _settle(future: "asyncio.Future[None]", error: Exception | None) -> None:
    if future.done():
        return
    if error is None:
        future.set_result(None)
    else:
        future.set_exception(error)


def not_kept(error: Exception) -> NotKeptError:
    """Return what to tell of changes that a disk did not take.

    Of a commit that ended in an input or output error nobody can say: what stands
    in the "-wal" may be found there when it is read anew (sqlite.org, "Write-Ahead
    Logging", "The WAL File": whatever has a commit record and sound checksums
    counts).
    """
    code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY
    words = f"the season log cannot be written: {error}"
    return NotKeptError(words, certain=code != sqlite3.SQLITE_IOERR)


class RecordQueue:
    """What waits to be tried, oldest first."""

    def __init__(self) -> None:
        self._waiting: deque[Asked] = deque()

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, asked: Asked) -> None:
        """Add some; raise NotKeptError if too many wait."""
        if len(self._waiting) >= MOST_WAITING:
            raise NotKeptError("too many records wait for the disk")
        self._waiting.append(asked)

    def take(self) -> Asked | None:
        """Take the oldest ones out; None: nothing waits."""
        return self._waiting.popleft() if self._waiting else None

    def withdraw(self, asked: Asked) -> bool:
        """Take them out if they wait still; return whether they did."""
        if asked not in self._waiting:
            return False
        self._waiting.remove(asked)
        return True

    def refuse_all(self, why: str) -> None:
        """Tell everybody that nothing is tried any more."""
        while asked := self.take():
            asked.settle(NotKeptError(why))
