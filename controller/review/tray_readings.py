"""Readings of a tray's probes from the log: in order of arrival, runs apart.

What may live here: reading piece by piece, and that order. What the tray's
temperature is by them is told in tray_mean.
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import compress, pairwise, repeat
from operator import itemgetter

from controller.core.units import DAY_MS
from controller.ports import IMPORTED, Columns, RunHeader, SeasonReader

Row = tuple[int, int, int, int, str]
"""Order, run clock [ms], wall clock [ms], value [m°C] and probe of a reading."""

PIECE_MS = DAY_MS
"""Chosen: what is read at once, so that a season need not fit into memory: of a probe
that speaks each 10 s it takes a third of a megabyte, and a week of it is no faster."""

_ROWS = 1_000
"""Chosen: of a probe, what is made into rows at once: a fifth of a megabyte."""

EVER_MS = 2**61
"""Earlier and later than every wall clock, and within what SQLite can count."""


class OutOfOrderError(Exception):
    """The wall clock was set back: pieces of it are not in order of arrival."""


def edges(from_ms: int, to_ms: int, first_ms: int, last_ms: int) -> list[int]:
    """Return a span of the wall clock in pieces [ms].

    Args:
        from_ms: Where it begins.
        to_ms: Where it ends.
        first_ms: There is little before; the first piece ends there.
        last_ms: There is little after; the last piece begins there.
    """
    inner = range(max(from_ms, first_ms) + PIECE_MS, min(to_ms, last_ms), PIECE_MS)
    return [from_ms, *inner, to_ms]


Only = Callable[[Columns], Columns]
"""Leaves out readings that are not wanted."""

_Found = tuple[str, Columns]
"""A probe, and readings of it; at least one."""


def rows_in_order(
    reader: SeasonReader, probes: Sequence[str], pieces: Sequence[int], only: Only
) -> Iterator[list[Row]]:
    """Yield the readings of some probes in order of arrival, in portions.

    A piece is held back until the next one shows what of it is certain.

    Args:
        reader: The log.
        probes: Their names.
        pieces: Edges on the wall clock [ms].
        only: Leaves out what is not wanted.

    Raises:
        OutOfOrderError: One piece is not enough to put the readings in order.
    """
    held: list[_Found] = []
    told = -1
    for start_ms, end_ms in pairwise(pieces):
        found = _read(reader, probes, (start_ms, end_ms), only)
        if not found:
            continue
        first = min(one.order[0] for _, one in found)
        if first <= told:
            raise OutOfOrderError
        for rows in _portions(held, first):
            told = rows[-1][0]
            yield rows
        held = [*_beginning_at(first, held), *found]
    yield from _portions(held, EVER_MS)


def rows_by_piece(
    reader: SeasonReader, probes: Sequence[str], pieces: Sequence[int], only: Only
) -> Iterator[list[Row]]:
    """Yield the readings of each piece as they are, in order of arrival within it."""
    for piece in pairwise(pieces):
        rows: list[Row] = []
        for found in _read(reader, probes, piece, only):
            rows += _as_rows(found, 0, len(found[1].order))
        rows.sort()
        yield rows


def _read(
    reader: SeasonReader, probes: Sequence[str], piece: tuple[int, int], only: Only
) -> list[_Found]:
    read = ((name, only(reader.samples(name, *piece, untaken=True))) for name in probes)
    return [found for found in read if len(found[1].order)]


def _portions(held: Sequence[_Found], end: int) -> Iterator[list[Row]]:
    """Yield the readings before a place in the order of arrival, some at a time."""
    each = (order for _, one in held for order in one.order[_ROWS::_ROWS])
    starts = [0] * len(held)
    for cut in (*sorted(order for order in each if order < end), end):
        ends = [bisect_left(one.order, cut) for _, one in held]
        rows: list[Row] = []
        for found, *span in zip(held, starts, ends, strict=True):
            rows += _as_rows(found, *span)
        rows.sort()
        if rows:
            yield rows
        starts = ends


def _as_rows(found: _Found, start: int, end: int) -> Iterator[Row]:
    probe, one = found
    columns = one.order, one.run_ms, one.utc_ms, one.temp_mc
    return zip(*(cells[start:end] for cells in columns), repeat(probe), strict=False)


def _beginning_at(order: int, held: Iterable[_Found]) -> Iterator[_Found]:
    for probe, one in held:
        at = bisect_left(one.order, order)
        if at < len(one.order):
            columns = one.order, one.run_ms, one.utc_ms, one.temp_mc
            yield probe, Columns(*(cells[at:] for cells in columns))


# -------------------------------------------------------------------- runs apart


Part = tuple[RunHeader, list[Row]]
"""Rows that came one after the other in one run, and its header."""


class Runs:
    """Which run a reading is of.

    Args:
        reader: The log.
        headers: Its runs, oldest first.
    """

    def __init__(self, reader: SeasonReader, headers: Sequence[RunHeader]) -> None:
        self._headers = headers
        self._begin = [reader.first_order(header.run) for header in headers]

    def apart(self, pieces: Iterable[list[Row]]) -> Iterator[Part]:
        """Yield the rows of each run; runs without any are left out.

        Args:
            pieces: Rows in order of arrival.
        """
        for rows in pieces:
            start = 0
            while start < len(rows):
                run = self._number(rows[start][0])
                end = self._end(rows, run)
                whole = start == 0 and end == len(rows)
                yield self._headers[run], rows if whole else rows[start:end]
                start = end

    def imported(self, found: Columns) -> Columns:
        """Return the readings of imported runs."""
        return self._of(found, imported=True)

    def own(self, found: Columns) -> Columns:
        """Return the readings of all other runs."""
        if all(header.origin != IMPORTED for header in self._headers):
            return found
        return self._of(found, imported=False)

    def _of(self, found: Columns, *, imported: bool) -> Columns:
        origins = (self._headers[self._number(one)].origin for one in found.order)
        wanted = [(origin == IMPORTED) == imported for origin in origins]
        columns = found.order, found.run_ms, found.utc_ms, found.temp_mc
        return Columns(*(array("q", compress(cells, wanted)) for cells in columns))

    def header(self, row: Row) -> RunHeader:
        """Return the header of the run that a row is of."""
        return self._headers[self._number(row[0])]

    def _number(self, order: int) -> int:
        return bisect_right(self._begin, order) - 1

    def _end(self, rows: list[Row], run: int) -> int:
        if run + 1 == len(self._begin):
            return len(rows)
        return bisect_left(rows, self._begin[run + 1], key=itemgetter(0))
