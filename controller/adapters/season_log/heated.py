"""What mats were told, out of a season log: on, off, and the setpoint in force.

What may live here: fetching commands by time, folded or not, with what was
fetched once of a block kept in mind: a block never changes.
"""

import sqlite3
from array import array
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from threading import Lock
from typing import NamedTuple, TypeAlias, overload

from typing_extensions import override

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
_UNTOLD = -1

_CELLS = 4

REMEMBERED_CELLS = 600_000
"""Chosen: 200 days of two mats in full swing, the longest that may be asked for; two
and a half megabytes."""

_CELLS_OF_A_BLOCK = 40
"""What a block takes up beside its commands, in cells."""


class _Told(NamedTuple):
    """A command: scan, number of the mat, and what it was told."""

    scan: int
    mat: int
    on: bool
    setpoint_mc: int | None


class HeatMemory:
    """Commands of blocks that were read already; for any thread.

    A season of two mats takes one megabyte; what was asked for longest ago is
    forgotten.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._known: OrderedDict[int, array[int]] = OrderedDict()
        self._cells = 0

    @property
    def cells(self) -> int:
        """How much is kept in mind."""
        return self._cells

    def of(self, db: sqlite3.Connection, block: BlockRow) -> Iterator[_Told]:
        """Yield the commands of a block.

        Raises:
            UnsoundError: It is not as it was written.
        """
        with self._lock:
            known = self._known.get(block.first)
            if known is None:
                known = _packed(_changes(_folded(db, block)), block.first)
                self._keep(block.first, known)
            else:
                self._known.move_to_end(block.first)
        for n in range(0, len(known), _CELLS):
            scan, mat, on, setpoint_mc = known[n : n + _CELLS]
            wanted = None if setpoint_mc == _UNKNOWN_MC else setpoint_mc
            yield _Told(block.first + scan, mat, bool(on), wanted)

    def _keep(self, first: int, known: "array[int]") -> None:
        self._known[first] = known
        self._cells += len(known) + _CELLS_OF_A_BLOCK
        while self._cells > REMEMBERED_CELLS:
            _, forgotten = self._known.popitem(last=False)
            self._cells -= len(forgotten) + _CELLS_OF_A_BLOCK


def _packed(told: Iterable[_Told], first: int) -> "array[int]":
    cells = array("i")
    for scan, mat, on, setpoint_mc in told:
        wanted = _UNKNOWN_MC if setpoint_mc is None else setpoint_mc
        cells.extend((scan - first, mat, on, wanted))
    return cells


_Slice: TypeAlias = "slice[int | None, int | None, int | None]"


class HeatedRows(Sequence[Heated]):
    """What a mat was told, in order of time, in columns of small numbers.

    A season is 35,000 of them: as objects of their own they would take ten times
    as much room.
    """

    def __init__(self) -> None:
        self._utc_ms, self._on, self._wanted = array("q"), array("b"), array("q")

    def add(self, utc_ms: int, on: bool | None, setpoint_mc: int | None) -> None:  # noqa: FBT001
        """Put one behind the others."""
        self._utc_ms.append(utc_ms)
        self._on.append(_UNTOLD if on is None else on)
        self._wanted.append(_UNKNOWN_MC if setpoint_mc is None else setpoint_mc)

    @override
    def __len__(self) -> int:
        return len(self._utc_ms)

    @overload
    def __getitem__(self, at: int) -> Heated: ...
    @overload
    def __getitem__(self, at: "_Slice") -> Sequence[Heated]: ...

    @override
    def __getitem__(self, at: "int | _Slice") -> Heated | Sequence[Heated]:
        if isinstance(at, slice):
            return [self[n] for n in range(*at.indices(len(self)))]
        on, wanted = self._on[at], self._wanted[at]
        return Heated(
            self._utc_ms[at],
            None if on == _UNTOLD else bool(on),
            None if wanted == _UNKNOWN_MC else wanted,
        )


def heated(
    db: sqlite3.Connection, proofs: Proofs, memory: HeatMemory, mat: str, span: Span
) -> HeatedRows:
    """Return what a mat was told, from some time before a span to its end.

    Raises:
        UnsoundError: Something is not as it was written.
    """
    number = {name: number for number, name in names(db).items()}.get(mat)
    found = HeatedRows()
    for one in _told_all(db, proofs, memory, number, span):
        if one.utc_ms < span[1]:
            found.add(one.utc_ms, one.on, one.setpoint_mc)
    return found


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
