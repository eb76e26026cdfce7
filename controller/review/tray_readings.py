"""Readings of a tray's probes from the log: in order of arrival, runs apart.

What may live here: reading piece by piece, and that order. What the tray's
temperature is by them is told in tray_mean.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise, repeat
from operator import itemgetter

from controller.core.units import DAY_MS
from controller.ports import IMPORTED, RunHeader, SeasonReader

Row = tuple[int, int, int, int, str]
"""Order, run clock [ms], wall clock [ms], value [m°C] and probe of a reading."""

PIECE_MS = DAY_MS
"""Chosen: what is read at once, so that a season need not fit into memory: of a probe
that speaks each 10 s it takes four megabytes, and a week of it is no faster."""

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


Only = Callable[[list[Row]], list[Row]]
"""Leaves out rows that are not wanted."""


def rows_in_order(
    reader: SeasonReader, probes: Sequence[str], pieces: Sequence[int], only: Only
) -> Iterator[list[Row]]:
    """Yield the readings of some probes in order of arrival, piece by piece.

    A piece is held back until the next one shows what of it is certain.

    Args:
        reader: The log.
        probes: Their names.
        pieces: Edges on the wall clock [ms].
        only: Leaves out what is not wanted.

    Raises:
        OutOfOrderError: One piece is not enough to put the readings in order.
    """
    held: list[Row] = []
    told = -1
    for rows in filter(None, rows_by_piece(reader, probes, pieces, only)):
        if rows[0][0] <= told:
            raise OutOfOrderError
        certain = bisect_left(held, rows[0][0], key=itemgetter(0))
        if certain:
            told = held[certain - 1][0]
            yield held[:certain]
        held = sorted(held[certain:] + rows) if certain < len(held) else rows
    if held:
        yield held


def rows_by_piece(
    reader: SeasonReader, probes: Sequence[str], pieces: Sequence[int], only: Only
) -> Iterator[list[Row]]:
    """Yield the readings of each piece as they are, in order of arrival within it."""
    for start_ms, end_ms in pairwise(pieces):
        yield only(_rows(reader, probes, start_ms, end_ms))


def _rows(
    reader: SeasonReader, probes: Sequence[str], start_ms: int, end_ms: int
) -> list[Row]:
    rows: list[Row] = []
    for probe in probes:
        found = reader.samples(probe, start_ms, end_ms, untaken=True)
        rows += zip(
            found.order,
            found.run_ms,
            found.utc_ms,
            found.temp_mc,
            repeat(probe),
            strict=False,
        )
    rows.sort()
    return rows


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
                run = self._number(rows[start])
                end = self._end(rows, run)
                whole = start == 0 and end == len(rows)
                yield self._headers[run], rows if whole else rows[start:end]
                start = end

    def imported(self, rows: list[Row]) -> list[Row]:
        """Return the rows of imported runs."""
        return [row for row in rows if self.header(row).origin == IMPORTED]

    def own(self, rows: list[Row]) -> list[Row]:
        """Return the rows of all other runs."""
        if all(header.origin != IMPORTED for header in self._headers):
            return rows
        return [row for row in rows if self.header(row).origin != IMPORTED]

    def header(self, row: Row) -> RunHeader:
        """Return the header of the run that a row is of."""
        return self._headers[self._number(row)]

    def _number(self, row: Row) -> int:
        return bisect_right(self._begin, row[0]) - 1

    def _end(self, rows: list[Row], run: int) -> int:
        if run + 1 == len(self._begin):
            return len(rows)
        return bisect_left(rows, self._begin[run + 1], key=itemgetter(0))
