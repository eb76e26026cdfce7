"""A controller's readings and those of other recorders, put in order of time.

What was imported came after what it tells of: in order of arrival it would be
late, and count for nothing. The wall clock says where it belongs. What may live
here: that order, and which of the two is heard.
"""

import heapq
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby, islice
from operator import itemgetter

from controller.core.plan import TrayPlan, all_trays
from controller.ports import IMPORTED, UNTAKEN_MC, RunHeader
from controller.review.tray_readings import Part, Row, Runs

_MOST = 50_000
"""Chosen: rows of a part, so that a season need not fit into memory."""

_Placed = tuple[int, bool, Row]
"""Where a row belongs, by the wall clock [ms]; whether it was imported; itself."""


def imported_tray(headers: Sequence[RunHeader], name: str) -> TrayPlan:
    """Return a tray with the probes that all imported files have had in it.

    A probe keeps the usual interval of the first file that it came in: a later
    one may hold no more than what had been refused.
    """
    probes = {
        probe.name: probe
        for header in reversed(headers)
        if header.origin == IMPORTED
        for tray in all_trays(header.plan)
        if tray.name == name
        for probe in tray.probes
    }
    return TrayPlan(name=name, probes=tuple(probes.values()))


def mixed(
    own: Iterable[list[Row]],
    imported: Iterable[list[Row]],
    runs: Runs,
    stale_ms: Callable[[RunHeader], int],
) -> Iterator[Part]:
    """Yield rows in order of time, cut where another run begins or goes on.

    While a controller hears a tray's own probes without a gap, they alone count.

    Args:
        own: The controller's rows, in order of arrival.
        imported: All others, piece by piece of the wall clock.
        runs: Knows their runs. All that was imported has the header of one run.
        stale_ms: How long the tray's own probes are heard, by run [ms].
    """
    rows = heapq.merge(_own(own), _imported(imported))
    heard = _heard(rows, runs, stale_ms)
    first: RunHeader | None = None
    for (is_imported, _), group in groupby(heard, key=itemgetter(0, 1)):
        while part := [row for *_, row in islice(group, _MOST)]:
            header = runs.header(part[0])
            if is_imported:
                first = header = first or header
            yield header, part


def _heard(
    rows: Iterable[_Placed], runs: Runs, stale_ms: Callable[[RunHeader], int]
) -> Iterator[tuple[bool, str, Row]]:
    """Leave out what was imported between two readings that have no gap between."""
    held: list[Row] = []
    until_ms: int | None = None
    for at_ms, is_imported, row in rows:
        fresh = until_ms is not None and at_ms <= until_ms
        if is_imported:
            held.append(row)
            if not fresh:
                yield from _told(held)
        elif row[3] == UNTAKEN_MC:
            yield False, runs.header(row).run, row
        else:
            if fresh:
                held.clear()
            yield from _told(held)
            header = runs.header(row)
            until_ms = at_ms + stale_ms(header)
            yield False, header.run, row
    yield from _told(held)


def _told(held: list[Row]) -> Iterator[tuple[bool, str, Row]]:
    yield from ((True, "", row) for row in held)
    held.clear()


def _own(pieces: Iterable[list[Row]]) -> Iterator[_Placed]:
    """Place rows where they belong, but none before one that came earlier."""
    newest_ms: int | None = None
    for rows in pieces:
        for row in rows:
            newest_ms = row[2] if newest_ms is None else max(newest_ms, row[2])
            yield newest_ms, False, row


def _imported(pieces: Iterable[list[Row]]) -> Iterator[_Placed]:
    for rows in pieces:
        yield from sorted((row[2], True, row) for row in rows)
