"""Many scans folded into one block of the season log, and unfolded again.

The readings of each probe become a series, the deviations of the scans two columns,
and everything else one record: deflated JSON with, table by table, the columns
of what happened, scans and readings counted from the block's first. What may
live here: which row goes where. No database.
"""

import zlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from controller.adapters.season_log.clock import Stretch
from controller.adapters.season_log.rows import FoundRow, FoundRows
from controller.adapters.season_log.series import (
    DOUBTED,
    QUALITY,
    VALUELESS,
    Series,
    packed,
    packed_columns,
    unpacked,
    unpacked_columns,
)
from controller.adapters.season_log.tables import FOLDED, KEPT, READINGS_PER_SCAN
from controller.core.units import HOUR_MS
from controller.wire import from_text, to_text


class FoldedSeries(NamedTuple):
    """The readings of one probe in a block.

    Attributes:
        n: How many.
        hours: Figures of those taken, by hour: see hours_of.
        body: The readings.
    """

    n: int
    hours: bytes
    body: bytes


class Block(NamedTuple):
    """Scans of one stretch, folded.

    Attributes:
        first: Number of the first scan.
        last: Number of the last one.
        news: Names of the tables that have something for the journal in it.
        scans: Deviations of the scans.
        body: What happened in them.
        series: By number of the probe.
    """

    first: int
    last: int
    news: tuple[str, ...]
    scans: bytes
    body: bytes
    series: Mapping[int, FoldedSeries]


def folded(stretch: Stretch, rows: FoundRows, offsets: Mapping[int, int]) -> Block:
    """Return a block of scans that follow one another in a stretch.

    Args:
        stretch: The stretch.
        rows: By table: what stands about the scans; in `scan` without sums.
        offsets: What is added to readings, by number of the probe [mK].
    """
    scans = rows["scan"]
    first, last = scans[0][0], scans[-1][0]
    events = {table: _shifted(rows[table], first) for table in FOLDED if rows[table]}
    record = {
        "events": {table: _columns(shifted) for table, shifted in events.items()},
        "remark": _columns(_shifted(rows["remark"], first * READINGS_PER_SCAN)),
        "kept": sorted(scan - first for scan in scans_kept(rows)),
    }
    body = zlib.compress(to_text(record).encode(), 9)
    series = {
        probe: _series(stretch, scans, found, offsets.get(probe, 0))
        for probe, found in _by_probe(rows, first).items()
    }
    off = packed_columns([row[1] for row in scans], [row[2] for row in scans])
    return Block(first, last, _news(rows), off, body, series)


def _news(rows: FoundRows) -> tuple[str, ...]:
    """Return the tables that have something for the journal.

    A relay that says it did as told is no news, nor is a wattmeter's figure.
    """
    told = [table for table in FOLDED if rows[table] and table != "power_report"]
    if all(row[6] is None for row in rows["relay_report"]):
        told = [table for table in told if table != "relay_report"]
    return tuple(told)


def scans_kept(rows: FoundRows) -> set[int]:
    """Return the numbers of the scans about which something is never folded."""
    return {row[0] for table in KEPT for row in rows[table]}


def _shifted(rows: Sequence[FoundRow], by: int) -> list[FoundRow]:
    return [(row[0] - by, *row[1:]) for row in rows]


def _columns(rows: Sequence[FoundRow]) -> list[list[object]]:
    return [list(column) for column in zip(*rows, strict=True)]


_Placed = tuple[int, int, int, int | None, int]
"""A reading: slot, place, age, value, code."""


def _by_probe(rows: FoundRows, first: int) -> dict[int, list[_Placed]]:
    doubted = {(row[0], row[7]) for row in rows["doubt"] if row[7] is not None}
    found: dict[int, list[_Placed]] = defaultdict(list)
    for key, probe, age_ms, milli, quality in rows["reading"]:
        scan, place = divmod(key, READINGS_PER_SCAN)
        code = quality | (DOUBTED if (scan, place) in doubted else 0)
        found[probe].append((scan - first, place, age_ms, milli, code))
    return found


def _series(
    stretch: Stretch, scans: Sequence[FoundRow], found: list[_Placed], offset_mk: int
) -> FoldedSeries:
    every_ms, first = stretch.every_ms, scans[0][0]
    run_ms = [slot * every_ms + row[1] for slot, row in enumerate(scans)]
    skew_ms = [row[2] for row in scans]
    slots, places, ages, values, codes = zip(*found, strict=True)
    at_ms = [run_ms[slot] - age_ms for slot, age_ms in zip(slots, ages, strict=True)]
    milli, last = [], 0
    marked = []
    for value, code in zip(values, codes, strict=True):
        last = last if value is None else value
        milli.append(last)
        marked.append(code | (VALUELESS if value is None else 0))
    series = Series(slots, places, at_ms, milli, marked)
    from_ms = stretch.utc_ms + (first - stretch.scan) * every_ms
    hours = hours_of(series, from_ms, skew_ms, offset_mk)
    return FoldedSeries(len(found), to_text(hours).encode(), packed(series))


Hour = tuple[int, int, int, int, int]
"""Number of the hour since 1970, readings, least, greatest, sum [m°C]."""


def hours_of(
    series: Series, from_ms: int, skew_ms: Sequence[int], offset_mk: int
) -> list[Hour]:
    """Return the figures of the readings taken, by the hour they were measured in.

    Args:
        series: The readings.
        from_ms: Wall clock of the block's first scan, by its stretch [ms].
        skew_ms: Of each scan [ms].
        offset_mk: Added to each value [mK].
    """
    by_hour: dict[int, list[int]] = defaultdict(list)
    for slot, _, at_ms, milli, code in zip(*series, strict=True):
        if code == 0:
            hour = (from_ms + at_ms + skew_ms[slot]) // HOUR_MS
            by_hour[hour].append(milli + offset_mk)
    return [
        (hour, len(found), min(found), max(found), sum(found))
        for hour, found in sorted(by_hour.items())
    ]


class Record(NamedTuple):
    """What a block tells apart from its readings.

    Attributes:
        scans: FoundRows of `scan`, without sums.
        rows: By table: the rows of what happened, and the remarks.
        kept: Numbers of the scans about which rows were kept.
    """

    rows: FoundRows
    kept: frozenset[int]


def record_of(first: int, body: bytes) -> Record:
    """Return what the body of a block tells.

    Raises:
        zlib.error: The bytes are damaged.
        ValueError: They hold no record.
        LookupError: They hold another one.
        TypeError: The same.
    """
    told = from_text(zlib.decompress(body))
    if not isinstance(told, dict):
        raise TypeError("the record of a block is no object")
    rows: FoundRows = defaultdict(list)
    for table, columns in told["events"].items():
        rows[table] = _shifted(_rows(columns), -first)
    rows["remark"] = _shifted(_rows(told["remark"]), -first * READINGS_PER_SCAN)
    return Record(rows, frozenset(first + slot for slot in told["kept"]))


def scans_of(first: int, body: bytes) -> list[tuple[int, int, int]]:
    """Return the rows of `scan` of a block, without sums; raise as record_of does."""
    late_ms, skew_ms = unpacked_columns(body)
    return [
        (first + slot, late, skew)
        for slot, (late, skew) in enumerate(zip(late_ms, skew_ms, strict=True))
    ]


def _rows(columns: Sequence[Sequence[object]]) -> list[FoundRow]:
    return list(zip(*columns, strict=True))


def readings_of(
    stretch: Stretch, scans: Sequence[FoundRow], bodies: Mapping[int, bytes]
) -> list[FoundRow]:
    """Return the rows of `reading` of a block, in order.

    Args:
        stretch: Its stretch.
        scans: Its rows of `scan`.
        bodies: Its series, by number of the probe.
    """
    every_ms, first = stretch.every_ms, scans[0][0]
    run_ms = [slot * every_ms + row[1] for slot, row in enumerate(scans)]
    found: list[tuple[int, int, int, int | None, int]] = []
    for probe, body in bodies.items():
        for slot, place, at_ms, milli, code in zip(*unpacked(body), strict=True):
            key = (first + slot) * READINGS_PER_SCAN + place
            value = None if code & VALUELESS else milli
            found.append((key, probe, run_ms[slot] - at_ms, value, code & QUALITY))
    found.sort()
    return found
