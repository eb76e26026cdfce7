"""The season log as routes read it: in threads, few at once.

What may live here: that, and what becomes of an error below the port.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

import anyio.to_thread

from api.context import WAITING_READERS, Context
from api.problems import ProblemError
from controller.ports import (
    Bucket,
    Columns,
    Heated,
    LogEntry,
    RecordedScan,
    RunHeader,
    SeasonReader,
)

T = TypeVar("T")

_logger = logging.getLogger("bottomheat.api")


class UnreadableError(Exception):
    """The season log cannot be read just now."""


class Log:
    """The season log as routes read it.

    Whatever goes wrong below the port, a damaged row or a full disk, is one
    error here: it is the log's, never the asker's, and control does not care.
    """

    def __init__(self, make: Callable[[], SeasonReader]) -> None:
        self._reader = _below(make)

    def journal(self, after: int, limit: int) -> Sequence[LogEntry]:
        """Return entries with an id above after, oldest first."""
        return _below(lambda: self._reader.journal(after, limit))

    def envelope(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, points: int
    ) -> Sequence[Bucket]:
        """Return a probe's readings in buckets."""
        return _below(
            lambda: self._reader.envelope(probe, from_utc_ms, to_utc_ms, points)
        )

    def heated(self, mat: str, from_utc_ms: int, to_utc_ms: int) -> Iterator[Heated]:
        """Yield what a mat was told."""
        told = _below(lambda: iter(self._reader.heated(mat, from_utc_ms, to_utc_ms)))
        while (one := _below(lambda: next(told, None))) is not None:
            yield one

    def runs(self) -> Sequence[RunHeader]:
        """Return the headers of all runs, oldest first."""
        return _below(self._reader.runs)

    def first_order(self, run: str) -> int:
        """Return what the order of a run's readings is at least."""
        return _below(lambda: self._reader.first_order(run))

    def scans(self, run: str) -> Iterator[RecordedScan]:
        """Yield every scan of a run in order."""
        scans = _below(lambda: self._reader.scans(run))
        while (recorded := _below(lambda: next(scans, None))) is not None:
            yield recorded

    def samples(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, *, untaken: bool = False
    ) -> Columns:
        """Return a probe's readings that were measured in [from, to)."""
        return _below(
            lambda: self._reader.samples(probe, from_utc_ms, to_utc_ms, untaken=untaken)
        )


def _below(read: Callable[[], T]) -> T:
    try:
        return read()
    except Exception as error:
        raise UnreadableError from error


async def reading(context: Context, read: Callable[[Log], T]) -> T:
    """Read the log in a thread; few at once, so that control keeps its time."""
    make = context.reader
    if make is None:
        raise ProblemError(503, "this bench keeps no season log to read")
    if context.limiter.statistics().tasks_waiting >= WAITING_READERS:
        raise ProblemError(
            503, "others are reading the season log", headers={"Retry-After": "2"}
        )
    try:
        return await anyio.to_thread.run_sync(
            lambda: read(Log(make)), limiter=context.limiter
        )
    except UnreadableError as error:
        _logger.warning("the season log cannot be read: %s", error.__cause__)
        raise ProblemError(
            503,
            "the season log cannot be read just now",
            headers={"Retry-After": "5"},
        ) from None
