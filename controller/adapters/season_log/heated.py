"""What mats were told, out of a season log: on, off, and the setpoint in force.

What may live here: fetching commands by time, folded or not, with what was
fetched once of a block kept in mind: a block never changes.
"""

import sqlite3
from array import array
from bisect import bisect_left, bisect_right
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from threading import Lock
from typing import NamedTuple

from controller.adapters.season_log.folding import record_of
from controller.adapters.season_log.sampling import (
    Proofs,
    Span,
    StretchPart,
    stretches_in,
)
from controller.adapters.season_log.segments import BlockRow, blocks, folded_row, names
from controller.core.units import DAY_MS
from controller.ports import Heated
from controller.wire import decode_numbers, from_text

_BEFORE_MS = DAY_MS
"""Chosen: a command in force at the start was given within a day before it, or
what it was stays unknown until the next one."""

_LEASE_SCANS = 3
"""After so many scans without a word a relay drops out."""


_UNKNOWN_MC = -(2**31)

_SCANS = 4_096
"""Chosen: whose commands are kept together. Where scans are often late, blocks are so
small that what is kept of each would take less room than keeping them apart."""

REMEMBERED = 1_000_000
"""Chosen: bytes; 200 days of two mats in full swing, the longest that may be asked
for."""

_BESIDE = 600
"""What some scans take up beside their commands [bytes]."""


class _Told(NamedTuple):
    """A command: scan, number of the mat, and what it was told."""

    scan: int
    mat: int
    on: bool
    setpoint_mc: int | None


class _Few:
    """The commands of the blocks that begin within some scans, in columns.

    Args:
        first: Number of the first of these scans.
    """

    def __init__(self, first: int) -> None:
        self._first, self._read = first, first - 1
        self._scans, self._mats, self._wanted = array("H"), array("i"), array("i")

    @property
    def size(self) -> int:
        """How much room it takes [bytes]."""
        columns = self._scans, self._mats, self._wanted
        return _BESIDE + sum(len(one) * one.itemsize for one in columns)

    def take(self, db: sqlite3.Connection, block: BlockRow) -> None:
        """Read up to the last of the blocks, where the one that is asked for is new."""
        if block.first <= self._read:
            return
        end = self._first + _SCANS - 1
        for one in blocks(db, self._read + 1, end):
            if one.first > self._read:
                self._add(_changes(_folded(db, one)))
                self._read = one.last

    def _add(self, told: Iterable[_Told]) -> None:
        for scan, mat, on, setpoint_mc in told:
            self._scans.append(scan - self._first)
            self._mats.append(2 * mat + on)
            self._wanted.append(_UNKNOWN_MC if setpoint_mc is None else setpoint_mc)

    def of(self, block: BlockRow) -> Iterator[_Told]:
        """Yield the commands of a block that was read."""
        at = bisect_left(self._scans, block.first - self._first)
        end = bisect_right(self._scans, block.last - self._first)
        for n in range(at, end):
            mat, on = divmod(self._mats[n], 2)
            wanted = self._wanted[n]
            setpoint_mc = None if wanted == _UNKNOWN_MC else wanted
            yield _Told(self._first + self._scans[n], mat, bool(on), setpoint_mc)


class HeatMemory:
    """Commands of blocks that were read already; for any thread.

    A season of two mats takes half a megabyte; what was asked for longest ago is
    forgotten.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._known: OrderedDict[int, _Few] = OrderedDict()
        self._size = 0

    @property
    def size(self) -> int:
        """How much is kept in mind [bytes]."""
        return self._size

    def of(self, db: sqlite3.Connection, block: BlockRow) -> Iterator[_Told]:
        """Return the commands of a block.

        Raises:
            UnsoundError: It is not as it was written.
        """
        key = block.first // _SCANS
        with self._lock:
            few = self._known.pop(key, None)
            self._size -= few.size if few else 0
            few = few or _Few(key * _SCANS)
            few.take(db, block)
            self._known[key] = few
            self._size += few.size
            while self._size > REMEMBERED:
                _, forgotten = self._known.popitem(last=False)
                self._size -= forgotten.size
        return few.of(block)


def heated(
    db: sqlite3.Connection, proofs: Proofs, memory: HeatMemory, mat: str, span: Span
) -> Iterator[Heated]:
    """Yield what a mat was told, from some time before a span to its end.

    Raises:
        UnsoundError: Something is not as it was written.
    """
    number = {name: number for number, name in names(db).items()}.get(mat)
    for one in _told_all(db, proofs, memory, number, span):
        if one.utc_ms < span[1]:
            yield one


def _told_all(
    db: sqlite3.Connection,
    proofs: Proofs,
    memory: HeatMemory,
    number: int | None,
    span: Span,
) -> Iterator[Heated]:
    """Yield what a mat was told, and where nobody told it anything."""
    last: Heated | None = None
    silent_ms: int | None = None
    for part in stretches_in(db, (span[0] - _BEFORE_MS, span[1])):
        begins_ms, ends_ms = _utc_ms(part, part.first), _utc_ms(part, part.last + 1)
        lease_ms = _LEASE_SCANS * part.stretch.every_ms
        if silent_ms is not None and abs(begins_ms - silent_ms) > lease_ms:
            yield Heated(silent_ms, None, None)
            # A run that goes on repeats nothing; a new one tells all at its start.
            if last is not None:
                last = replace(last, utc_ms=begins_ms)
                yield last
        for told in _part_told(db, proofs, memory, part):
            if told.mat == number:
                last = Heated(_utc_ms(part, told.scan), told.on, told.setpoint_mc)
                yield last
        silent_ms = ends_ms
    if silent_ms is not None:
        yield Heated(silent_ms, None, None)


def _utc_ms(part: StretchPart, scan: int) -> int:
    stretch = part.stretch
    return stretch.utc_ms + (scan - stretch.scan) * stretch.every_ms


def _part_told(
    db: sqlite3.Connection, proofs: Proofs, memory: HeatMemory, part: StretchPart
) -> Iterator[_Told]:
    at = part.first
    for block in blocks(db, part.first, part.last):
        yield from _loose(db, proofs, at, block.first - 1)
        yield from memory.of(db, block)
        at = block.last + 1
    yield from _loose(db, proofs, at, part.last)


def _loose(
    db: sqlite3.Connection, proofs: Proofs, first: int, last: int
) -> Iterator[_Told]:
    if first > last:
        return
    proofs.prove(db, first, last)
    rows = db.execute(
        "SELECT scan, mat, energised, numbers FROM command"
        " WHERE scan >= ? AND scan <= ? ORDER BY scan, n",
        (first, last),
    )
    yield from _changes(_told(*row) for row in rows)


def _folded(db: sqlite3.Connection, block: BlockRow) -> Iterator[_Told]:
    if "command" not in block.news:
        return
    _, body = folded_row(db, block)
    for scan, _n, mat, energised, _cause, numbers in record_of(block.first, body).rows[
        "command"
    ]:
        yield _told(scan, mat, energised, numbers)


def _told(scan: int, mat: int, energised: int, numbers: str) -> _Told:
    setpoint_mc = dict(decode_numbers(from_text(numbers))).get("setpoint_mc")
    return _Told(
        scan, mat, bool(energised), None if setpoint_mc is None else round(setpoint_mc)
    )


def _changes(told: Iterable[_Told]) -> Iterator[_Told]:
    """Leave out what tells of a mat nothing else than before."""
    last: dict[int, Sequence[object]] = {}
    for one in told:
        if last.get(one.mat) != one[2:]:
            last[one.mat] = one[2:]
            yield one
