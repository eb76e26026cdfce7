"""From the rows of another recorder's file to readings that a log can take.

What may live here: which readings are kept and which refused, and why. Nothing
is written. No command.
"""

from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from controller.adapters.exchange import (
    ExchangeError,
    FoundRow,
    Layout,
    NoTimeError,
)
from controller.adapters.season_log import SeasonLogReader
from controller.cli.import_report import Counts, Place
from controller.cli.imported_run import Target
from controller.core.units import DAY_MS, celsius
from controller.review.other_recorders import (
    Found,
    NoReadingError,
    Once,
    Unit,
    in_order,
    milli_celsius,
    usual_interval_ms,
)

MOST = 2_000_000
"""Chosen: readings of one file. A million of them take about 150 MB of memory, and
a small board has no more than a few times that."""

_ALONE_MS = 600_000
"""Taken for the usual interval of a probe with one reading."""

_CELL = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The arguments, understood."""

    targets: Sequence[Target]
    layout: Layout
    time: Callable[[str], int]
    unit: Unit
    decimal: str
    every_ms: int | None
    timezone: str


class Known:
    """What the log has already, day by day."""

    def __init__(self, log: Path | None) -> None:
        self._reader = None if log is None else SeasonLogReader(log)
        self._days: dict[str, tuple[int, dict[int, int]]] = {}

    def milli(self, probe: str, utc_ms: int) -> int | None:
        """Return what a probe said at a time [m°C]; None: nothing."""
        if self._reader is None:
            return None
        day = utc_ms // DAY_MS
        known_day, values = self._days.get(probe, (-1, {}))
        if day != known_day:
            start_ms = day * DAY_MS
            found = self._reader.samples(probe, start_ms, start_ms + DAY_MS)
            values = dict(zip(found.utc_ms, found.temp_mc, strict=True))
            self._days[probe] = day, values
        return values.get(utc_ms)


@dataclass(slots=True)
class Work:
    """A file on its way into the log.

    Attributes:
        asked: The arguments.
        known: What the log has already.
        counts: What is not taken.
        found: Readings of the file, as they stand in it.
        kept: Those to be written, in order.
        times: By number of the column: the times of its readings, in order.
    """

    asked: Asked
    known: Known
    counts: Counts = field(default_factory=Counts)
    found: Found = field(default_factory=Found)
    kept: Found = field(default_factory=Found)
    times: dict[int, "array[int]"] = field(default_factory=dict)


def collect(rows: Iterator[FoundRow], work: Work) -> None:
    """Take the readings of all rows, and refuse what is none."""
    last_ms: int | None = None
    column = " ".join(work.asked.layout.times)
    for row in rows:
        if row.wrong:
            work.counts.refuse(row.wrong, Place(row.line, "", "the whole row"))
            continue
        try:
            utc_ms = work.asked.time(row.time)
        except NoTimeError as error:
            place = Place(row.line, column, _shown(row.time))
            work.counts.refuse(f"time: {error}", place)
            continue
        work.counts.unordered += last_ms is not None and utc_ms < last_ms
        last_ms = utc_ms
        _add_cells(row, utc_ms, work)
        if len(work.found) > MOST:
            raise ExchangeError(
                f"line {row.line}: more than {MOST:,} readings; cut the file in two"
            )


def _add_cells(row: FoundRow, utc_ms: int, work: Work) -> None:
    asked = work.asked
    for number, cell in enumerate(row.cells):
        try:
            _check_whole(cell, asked)
            milli = milli_celsius(cell, asked.unit, asked.decimal)
        except NoReadingError as error:
            column = asked.targets[number].column
            work.counts.refuse(str(error), Place(row.line, column, _shown(cell)))
        else:
            work.found.add(number, utc_ms, milli, row.line)


def _check_whole(cell: str, asked: Asked) -> None:
    """Refuse what may be a piece of a number that a delimiter cut in two.

    Where one mark stands between cells and within numbers, a number that has it
    was quoted, and is whole; of one that has none, nobody knows.
    """
    mark = asked.decimal
    if mark == asked.layout.delimiter and cell.strip() and mark not in cell:
        raise NoReadingError(
            f"{mark!r} stands between cells, too, and is not in the number: it may be"
            " a piece of one"
        )


def _shown(cell: str) -> str:
    return repr(cell[:_CELL]) + ("…" if len(cell) > _CELL else "")


def sift(work: Work) -> None:
    """Keep what the file says once, or alike, and the log does not have."""
    for once in in_order(work.found):
        if _agrees(once, work):
            milli, line = once.said[0]
            times = work.times.setdefault(once.probe, array("q"))
            times.append(once.utc_ms)
            if _is_new(once, work):
                work.kept.add(once.probe, once.utc_ms, milli, line)


def _agrees(once: Once, work: Work) -> bool:
    if once.agreed:
        work.counts.repeated += len(once.said) - 1
        return True
    target = work.asked.targets[once.probe]
    said = ", ".join(f"{celsius(mc):.3f} °C in line {line}" for mc, line in once.said)
    place = Place(once.said[0][1], target.column, said)
    work.counts.refuse("two values for one time", place, len(once.said))
    return False


def _is_new(once: Once, work: Work) -> bool:
    target = work.asked.targets[once.probe]
    known = work.known.milli(target.probe, once.utc_ms)
    if known is None:
        return True
    milli, line = once.said[0]
    if known == milli:
        work.counts.known += 1
        return False
    said = f"{celsius(milli):.3f} °C; the log has {celsius(known):.3f} °C"
    place = Place(line, target.column, said)
    work.counts.refuse("the log has another value for that time", place)
    return False


def interval_ms_of(work: Work, number: int) -> int:
    """Return the usual interval of a column's readings [ms]."""
    usual = usual_interval_ms(work.times.get(number, ()))
    return work.asked.every_ms or usual or _ALONE_MS
