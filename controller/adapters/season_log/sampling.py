"""Readings of one probe out of a season log: one by one, or in buckets.

What may live here: fetching them by time, folded or not, and proving that none
is missing or altered.
"""

import sqlite3
from array import array
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import chain, pairwise
from threading import Lock
from typing import NamedTuple, TypeVar

from typing_extensions import Buffer

from controller.adapters.season_log.clock import LATEST_MS, SKEW_MS, Stretch
from controller.adapters.season_log.decoding import Asked, Decode, Frame, decoded
from controller.adapters.season_log.rows import offsets_of, plan_of
from controller.adapters.season_log.segments import (
    BlockRow,
    UnsoundError,
    blocks,
    each_sound,
    folded_scans,
    loose_segments,
    names,
    sound_rows,
    stretches,
)
from controller.adapters.season_log.series import raw, unpacked_columns
from controller.adapters.season_log.tables import READINGS_PER_SCAN, SERIES_OF_PROBE
from controller.adapters.season_log.wholeness import (
    LOOSE,
    Holes,
    newest_number,
    prove_tables,
)
from controller.core.units import HOUR_MS
from controller.ports import UNTAKEN_MC, Bucket, Columns
from controller.review.envelopes import (
    BEGINNING_MS,
    Figures,
    Gathered,
    bucket_of,
)
from controller.wire import from_text

_LOOSE = f"""
    FROM reading r JOIN scan s ON s.id = r.id / {READINGS_PER_SCAN}
    WHERE r.id >= :first * {READINGS_PER_SCAN}
        AND r.id < (:last + 1) * {READINGS_PER_SCAN}
        AND r.probe = :probe AND utc_ms >= :from AND utc_ms < :to"""

_TAKEN = f"""r.quality = 0 AND r.milli IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM doubt d
        WHERE d.scan = s.id AND d.reading = r.id % {READINGS_PER_SCAN})"""  # noqa: S608

_TIMES = """
    :run_base + s.id * :every + s.late_ms - r.age_ms AS run_ms,
    :utc_base + s.id * :every + s.late_ms + s.skew_ms - r.age_ms AS utc_ms"""

_SAMPLES = f"""
    SELECT r.id, {_TIMES},
        CASE WHEN {_TAKEN} THEN r.milli + :offset ELSE {UNTAKEN_MC} END AS temp_mc
    {_LOOSE} AND (:untaken OR temp_mc <> {UNTAKEN_MC})
    ORDER BY r.id"""

_BUCKETS = f"""
    SELECT (utc_ms - {BEGINNING_MS}) / :width AS bucket,
        count(*), min(milli), max(milli), sum(milli)
    FROM (SELECT r.milli + :offset AS milli, {_TIMES} {_LOOSE} AND {_TAKEN})
    GROUP BY bucket"""  # noqa: S608

_SCANS_AT_ONCE = 250
"""Chosen: of those that are proved, for the same reason as below."""

_BLOCKS_AT_ONCE = 24
"""Chosen: four days of blocks; more at once are read hardly faster."""

Span = tuple[int, int]
"""From, and up to but not at [ms]."""


class Proofs:
    """Which unfolded scans have been proved already; for any thread.

    Attributes:
        first: Number of the first of them.
        last: Number of the last; below first: none.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self.first, self.last = 0, -1

    def prove(self, db: sqlite3.Connection, first: int, last: int) -> None:
        """Prove that unfolded scans are as they were written, and all there.

        Raises:
            UnsoundError: They are not.
        """
        with self._lock:
            if not self.first <= first <= self.last + 1:
                self.first, self.last = first, first - 1
            if self.last < self.first <= last:
                # Rows are found by what SQLite keeps above them, too.
                prove_tables(db, LOOSE)
            if last > self.last:
                _prove(db, self.last + 1, last)
                self.last = last


def _prove(db: sqlite3.Connection, first: int, last: int) -> None:
    expected = first
    holes = Holes(db)
    for segment in loose_segments(db, first, last, _SCANS_AT_ONCE):
        if segment.unsound:
            raise UnsoundError(
                f"scan {min(segment.unsound)} does not fit its check number"
            )
        numbers = [row[0] for row in segment.rows["scan"]]
        for number in holes.after_gaps(numbers, expected):
            raise UnsoundError(f"the scan before {number} is missing")
        expected = numbers[-1] + 1
    missing = holes.beyond(expected)
    if missing <= last:
        raise UnsoundError(f"scan {missing} is missing")


class StretchPart(NamedTuple):
    """A stretch, and the scans of it that may have readings of a time."""

    stretch: Stretch
    first: int
    last: int

    @property
    def bases(self) -> dict[str, int]:
        """What the times of its scans are counted from."""
        base = self.stretch.scan * self.stretch.every_ms
        return {
            "every": self.stretch.every_ms,
            "run_base": self.stretch.run_ms - base,
            "utc_base": self.stretch.utc_ms - base,
        }


def stretches_in(db: sqlite3.Connection, span: Span) -> Iterator[StretchPart]:
    """Yield the ranges of scans that may lie in a time.

    A reading comes after it was measured: an hour later still is found.
    """
    slack_ms = LATEST_MS + SKEW_MS
    beyond = Stretch(newest_number(db) + 1, 0, 0, 1, 0, 0, 0, 0)
    for stretch, after in pairwise(chain(stretches(db), [beyond])):
        early = (span[0] - slack_ms - stretch.utc_ms) // stretch.every_ms
        late = (span[1] + HOUR_MS + slack_ms - stretch.utc_ms) // stretch.every_ms
        first = stretch.scan + max(0, early)
        last = min(after.scan - 1, stretch.scan + late)
        if first <= last:
            yield StretchPart(stretch, first, last)


def _offsets(db: sqlite3.Connection, probe: str) -> Callable[[int], int]:
    """Return what tells, of a scan, what is added to a probe's readings [mK]."""
    runs = [row[0] for row in db.execute("SELECT id FROM run ORDER BY id")]
    known: dict[int, int] = {}

    def offset_mk(scan: int) -> int:
        place = bisect_left(runs, scan)
        if not place:
            raise UnsoundError(f"scan {scan} belongs to no run")
        run = runs[place - 1]
        if run not in known:
            header = sound_rows(db, "run", "WHERE id = ?", (run,))[0]
            known[run] = offsets_of(plan_of(header[-2])).get(probe, 0)
        return known[run]

    return offset_mk


class _Piece(NamedTuple):
    """A stretch's scans that are in one block, or in none.

    Attributes:
        of: The stretch.
        block: The block; None: they are not folded.
        first: Number of the first scan.
        last: Number of the last.
        offset_mk: Added to the probe's readings [mK].
    """

    of: StretchPart
    block: BlockRow | None
    first: int
    last: int
    offset_mk: int


def _pieces(
    db: sqlite3.Connection, proofs: Proofs, probe: str, span: Span
) -> Iterator[_Piece]:
    """Yield where readings may be, oldest first; what is not folded is proved."""
    offset_of = _offsets(db, probe)
    for of in stretches_in(db, span):
        offset_mk = offset_of(of.first)
        at = of.first
        for block in blocks(db, of.first, of.last):
            if at < block.first:
                proofs.prove(db, at, block.first - 1)
                yield _Piece(of, None, at, block.first - 1, offset_mk)
            yield _Piece(of, block, block.first, block.last, offset_mk)
            at = block.last + 1
        if at <= of.last:
            proofs.prove(db, at, of.last)
            yield _Piece(of, None, at, of.last, offset_mk)


def _number(db: sqlite3.Connection, probe: str) -> int | None:
    # Not by its index, of which no check number is kept.
    return {name: number for number, name in names(db).items()}.get(probe)


class _Stored(NamedTuple):
    """The series of a probe in a block, as it is stored."""

    hours: bytes
    body: bytes


def _few(pieces: Iterable[_Piece]) -> Iterator[list[_Piece]]:
    """Yield pieces that follow one another, few at once.

    A season of them at once would leave holes of many megabytes in a small board's
    memory.
    """
    some: list[_Piece] = []
    for piece in pieces:
        apart = some and piece.first != some[-1].last + 1
        if apart or len(some) == _BLOCKS_AT_ONCE:
            yield some
            some = []
        some.append(piece)
    if some:
        yield some


class _Folded:
    """The series of a probe in few blocks, and the scans of these, as stored.

    They are fetched together, each kind when it is first asked for.
    """

    def __init__(
        self, db: sqlite3.Connection, number: int, pieces: Sequence[_Piece]
    ) -> None:
        self._db, self._number = db, number
        self._ends = pieces[0].first, pieces[-1].last
        self._series: dict[int, _Stored] | None = None
        self._scans: dict[int, bytes] | None = None

    def series(self, block: BlockRow) -> _Stored:
        """Return the series in a block."""
        if self._series is None:
            base = self._number * SERIES_OF_PROBE
            keys = [base + end for end in self._ends]
            rows = each_sound(self._db, "series", "WHERE id >= ? AND id <= ?", keys)
            self._series = {key - base: _Stored(*told) for key, _, *told in rows}
        return _there(self._series, block)

    def frame(self, piece: _Piece, block: BlockRow) -> Frame:
        """Return what the readings in a block count from."""
        if self._scans is None:
            self._scans = folded_scans(self._db, *self._ends)
        bases, due_ms = piece.of.bases, block.first * piece.of.stretch.every_ms
        run_ms, utc_ms = bases["run_base"] + due_ms, bases["utc_base"] + due_ms
        _, skew_ms = unpacked_columns(_there(self._scans, block))
        return Frame(block.first, run_ms, utc_ms, skew_ms, piece.offset_mk)


_T = TypeVar("_T")


def _there(found: dict[int, _T], block: BlockRow) -> _T:
    if block.first not in found:
        raise UnsoundError(f"some of the block of scan {block.first} is missing")
    return found[block.first]


# ------------------------------------------------------------------- one by one


def samples(
    db: sqlite3.Connection,
    proofs: Proofs,
    decode: Decode,
    probe: str,
    span: Span,
    *,
    untaken: bool,
) -> Columns:
    """Return a probe's readings: see SeasonLogReader.samples."""
    number = _number(db, probe)
    if number is None:
        return Columns(*(array("q") for _ in range(4)))
    asked = Asked(*span, untaken)
    found = tuple(array("q") for _ in range(4))
    for some in _few(_pieces(db, proofs, probe, span)):
        stored = _Folded(db, number, some)
        for piece in some:
            parts: Sequence[Buffer] = ()
            if piece.block is None:
                parts = _loose_samples(db, number, piece, asked)
            elif number in piece.block.probes:
                body = stored.series(piece.block).body
                parts = decode(raw(body), stored.frame(piece, piece.block), asked)
            for column, part in zip(found, parts, strict=False):
                column.frombytes(memoryview(part).cast("B"))
    return Columns(*found)


def _loose_samples(
    db: sqlite3.Connection, number: int, piece: _Piece, asked: Asked
) -> Sequence[Buffer]:
    span = asked.from_ms, asked.to_ms
    ask = _asked(number, span, piece) | {"untaken": asked.untaken}
    rows = db.execute(_SAMPLES, ask).fetchall()
    return [array("q", cells) for cells in zip(*rows, strict=True)]


def _asked(number: int, span: Span, piece: _Piece) -> dict[str, int]:
    asked = {"from": span[0], "to": span[1], "probe": number}
    where = {"first": piece.first, "last": piece.last, "offset": piece.offset_mk}
    return piece.of.bases | asked | where


# -------------------------------------------------------------------- in buckets


def buckets(
    db: sqlite3.Connection, proofs: Proofs, probe: str, span: Span, width_ms: int
) -> Sequence[Bucket]:
    """Return the buckets of a probe's readings taken: see SeasonLogReader.envelope."""
    found = Gathered(*span, width_ms)
    number = _number(db, probe)
    if number is None:
        return []
    for some in _few(_pieces(db, proofs, probe, span)):
        stored = _Folded(db, number, some)
        for piece in some:
            if piece.block is None:
                ask = _asked(number, span, piece) | {"width": width_ms}
                for key, *figures in db.execute(_BUCKETS, ask):
                    found.add(key, Figures(*figures))
            elif number in piece.block.probes:
                frame = partial(stored.frame, piece, piece.block)
                one = stored.series(piece.block)
                _add_series(found, one, frame, (*span, width_ms))
    return found.buckets()


def _add_series(
    found: Gathered,
    stored: _Stored,
    frame: Callable[[], Frame],
    asked: tuple[int, int, int],
) -> None:
    """Add a series: whole hours as they were worked out, the rest by decoding it."""
    from_ms, to_ms, width_ms = asked
    hours = from_text(stored.hours)
    if not isinstance(hours, list):
        raise UnsoundError("a series has no hours")
    rest: list[Span] = []
    for hour, *figures in hours:
        start_ms, end_ms = hour * HOUR_MS, (hour + 1) * HOUR_MS
        if from_ms <= start_ms and end_ms <= to_ms and width_ms % HOUR_MS == 0:
            found.add(bucket_of(start_ms, width_ms), Figures(*figures))
        elif start_ms < to_ms and from_ms < end_ms:
            rest.append((max(from_ms, start_ms), min(to_ms, end_ms)))
    if rest:
        taken = Asked(rest[0][0], rest[-1][1], untaken=False)
        _, _, utc_ms, temps = decoded(raw(stored.body), frame(), taken)
        for part in rest:
            _add_readings(found, utc_ms, temps, (*part, width_ms))


def _add_readings(
    found: Gathered,
    utc_ms: Sequence[int],
    temps: Sequence[int],
    asked: tuple[int, int, int],
) -> None:
    from_ms, to_ms, width_ms = asked
    if any(before > after for before, after in pairwise(utc_ms)):
        for at_ms, temp_mc in zip(utc_ms, temps, strict=True):
            if from_ms <= at_ms < to_ms:
                one = Figures(1, temp_mc, temp_mc, temp_mc)
                found.add(bucket_of(at_ms, width_ms), one)
        return
    at, end = bisect_left(utc_ms, from_ms), bisect_left(utc_ms, to_ms)
    while at < end:
        number = bucket_of(utc_ms[at], width_ms)
        end_ms = BEGINNING_MS + (number + 1) * width_ms
        until = min(end, bisect_left(utc_ms, end_ms, at))
        part = temps[at:until]
        found.add(number, Figures(len(part), min(part), max(part), sum(part)))
        at = until
