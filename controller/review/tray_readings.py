"""Readings of a tray's probes from the log: in order of arrival, runs apart.

What may live here: reading piece by piece, and that order. What the tray's
temperature is by them is told in tray_mean.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, pairwise, repeat
from operator import itemgetter

from controller.core.plan import all_probes
from controller.core.units import DAY_MS
from controller.ports import UNTAKEN_MC, RunHeader, SeasonReader

Row = tuple[int, int, int, int, str]
"""Order, run clock [ms], wall clock [ms], value [m°C] and probe of a reading."""

PIECE_MS = 7 * DAY_MS
"""Chosen: what is read at once, so that a season need not fit into memory."""

EVER_MS = 2**61
"""Earlier and later than every wall clock, and within what SQLite can count."""


_ALIKE = 8
"""Chosen: so many readings in a row are no coincidence."""


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


def rows_in_order(
    reader: SeasonReader, probes: Sequence[str], pieces: Sequence[int]
) -> Iterator[list[Row]]:
    """Yield the readings of some probes in order of arrival, piece by piece.

    A piece is held back until the next one shows what of it is certain.

    Args:
        reader: The log.
        probes: Their names.
        pieces: Edges on the wall clock [ms].

    Raises:
        OutOfOrderError: One piece is not enough to put the readings in order.
    """
    held: list[Row] = []
    told = -1
    for start_ms, end_ms in pairwise(pieces):
        rows = _rows(reader, probes, start_ms, end_ms)
        if not rows:
            continue
        if rows[0][0] <= told:
            raise OutOfOrderError
        certain = bisect_left(held, rows[0][0], key=itemgetter(0))
        if certain:
            told = held[certain - 1][0]
            yield held[:certain]
        held = sorted(held[certain:] + rows) if certain < len(held) else rows
    if held:
        yield held


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


def by_run(
    reader: SeasonReader, headers: Sequence[RunHeader], pieces: Iterable[list[Row]]
) -> Iterator[tuple[RunHeader, list[Row]]]:
    """Yield the rows of each run, with its header; runs without any are left out.

    Args:
        reader: The log.
        headers: The runs, oldest first, at least one.
        pieces: Rows in order of arrival.
    """
    runs = [_Beginning(reader, header) for header in headers]
    present = 0
    for rows in pieces:
        start = 0
        for number, at in _boundaries(runs, present + 1, rows):
            if at > start:
                yield headers[present], rows[start:at]
            start, present = at, number
        yield headers[present], rows[start:] if start else rows


def _boundaries(
    runs: Sequence["_Beginning"], first: int, rows: list[Row]
) -> list[tuple[int, int]]:
    """Return which runs begin among rows, from a first one on, and where.

    A run that has none begins, and ends, where a later one does.
    """
    newest_ms = max(map(itemgetter(1), rows))
    found: list[tuple[int, int]] = []
    end = len(rows)
    for number in reversed(range(first, len(runs))):
        at = runs[number].index_in(rows[:end] if end < len(rows) else rows, newest_ms)
        if at is not None:
            found.append((number, at))
            end = at
        elif end < len(rows):
            found.append((number, end))
    return found[::-1]


class _Beginning:
    """Where a run begins among the rows.

    Readings of a run may have been measured shortly before it began, and those
    of the run before until then: there the first scans of the run are looked
    at. Later than its beginning only it has readings that were taken.
    """

    def __init__(self, reader: SeasonReader, header: RunHeader) -> None:
        self._reader, self._header = reader, header
        stale_ms = [probe.stale_after_ms for probe in all_probes(header.plan)]
        self._longest_ms = max(stale_ms, default=0)
        self._doubtful_ms = header.started_run_ms - self._longest_ms
        self._early: list[tuple[str, int, int]] | None = None

    def index_in(self, rows: list[Row], newest_ms: int) -> int | None:
        """Return the index of the first row of this run or a later one, if any.

        Args:
            rows: Readings in order of arrival.
            newest_ms: The latest of them and their neighbours, run clock [ms].
        """
        if newest_ms <= self._doubtful_ms:
            return None
        for at in range(len(rows)):
            run_ms = rows[at][1]
            if run_ms <= self._doubtful_ms:
                continue
            if run_ms > self._header.started_run_ms and rows[at][3] != UNTAKEN_MC:
                return self._with_untaken(rows, at)
            if self._begins_like(rows[at : at + _ALIKE]):
                return at
        return None

    def _with_untaken(self, rows: list[Row], at: int) -> int:
        """Return where what was not taken just before a reading begins."""
        while at > 0 and rows[at - 1][1] > self._header.started_run_ms:
            at -= 1
        return at

    def _begins_like(self, rows: list[Row]) -> bool:
        """Whether rows are the first readings of this run that were heard."""
        if self._early is None:
            self._early = list(islice(self._heard_early(), 50 * _ALIKE))
        probes = {row[4] for row in rows}
        heard = [one for one in self._early if one[0] in probes][:_ALIKE]
        said = [
            (probe, run_ms, utc_ms)
            for _, run_ms, utc_ms, _, probe in rows
            if run_ms > self._doubtful_ms
        ]
        together = min(len(heard), len(said))
        return bool(heard) and said[:together] == heard[:together]

    def _heard_early(self) -> Iterator[tuple[str, int, int]]:
        """Yield what its first scans heard: probe, run clock and wall clock.

        Not what was too old to be used: that changes nothing.
        """
        until_ms = self._header.started_run_ms + self._longest_ms
        for recorded in self._reader.scans(self._header.run):
            scan = recorded.scan
            if scan.run_ms > until_ms:
                return
            skew_ms = scan.utc_ms - scan.run_ms
            for reading in scan.readings:
                if reading.at_ms > self._doubtful_ms:
                    yield reading.probe, reading.at_ms, reading.at_ms + skew_ms
