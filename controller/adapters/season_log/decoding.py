"""From a stored series to readings with times and values: the inner loop.

A season is many million readings, and all of them pass through here. Whoever
has numpy hands in a decoder that uses it (controller/cli/arrays.py); what stands
here is the same in the standard library, and what the other is held against.
What may live here: that arithmetic, and nothing that knows of files.
"""

from array import array
from collections.abc import Callable, Sequence
from itertools import accumulate, compress
from typing import NamedTuple

from typing_extensions import Buffer

from controller.adapters.season_log.series import (
    DOUBTED,
    QUALITY,
    VALUELESS,
    Raw,
    numbers,
)
from controller.adapters.season_log.tables import READINGS_PER_SCAN
from controller.ports import UNTAKEN_MC

UNTAKEN = QUALITY | DOUBTED | VALUELESS
"""Bits of a code of which each means that the core did not take the reading."""


class Frame(NamedTuple):
    """What the readings of a block are counted from.

    Attributes:
        first: Number of the block's first scan.
        run_ms: When that was due, by the bench clock [ms].
        utc_ms: The same by the wall clock [ms].
        skew_ms: Wall clock of each scan against the line [ms].
        offset_mk: Added to each value [mK].
    """

    first: int
    run_ms: int
    utc_ms: int
    skew_ms: Sequence[int]
    offset_mk: int


class Asked(NamedTuple):
    """Which readings are wanted.

    Attributes:
        from_ms: Measured from here on, by the wall clock [ms].
        to_ms: Up to here, and not at it [ms].
        untaken: Whether those that the core did not take are wanted too.
    """

    from_ms: int
    to_ms: int
    untaken: bool


Decode = Callable[[Raw, Frame, Asked], Sequence[Buffer]]
"""Returns the columns of ports.Columns as 64-bit integers of this machine."""


def decoded(raw: Raw, frame: Frame, asked: Asked) -> Sequence["array[int]"]:
    """Return order, run_ms, utc_ms and temp_mc of the readings that are wanted.

    Raises:
        ValueError: The columns are damaged.
        LookupError: The same.
        OverflowError: A number has more than 64 bits.
    """
    steps, places, late_ms, rises, codes = map(numbers, raw.columns)
    slots, skew_ms = list(accumulate(steps)), frame.skew_ms
    base, to_utc_ms = frame.first * READINGS_PER_SCAN, frame.utc_ms - frame.run_ms
    order = [
        base + slot * READINGS_PER_SCAN + place
        for slot, place in zip(slots, places, strict=True)
    ]
    passed_ms = [late + raw.step_ms for late in late_ms[1:]]
    run_ms = list(accumulate(passed_ms, initial=frame.run_ms + raw.at_ms))
    utc_ms = [
        at_ms + to_utc_ms + skew_ms[slot]
        for at_ms, slot in zip(run_ms, slots, strict=True)
    ]
    temp_mc = list(accumulate(rises[1:], initial=raw.milli + frame.offset_mk))
    good = not any(codes)
    if not good:
        for at, code in enumerate(codes):
            if code & UNTAKEN:
                temp_mc[at] = UNTAKEN_MC
    columns = [array("q", cells) for cells in (order, run_ms, utc_ms, temp_mc)]
    inside = asked.from_ms <= min(utc_ms) and max(utc_ms) < asked.to_ms
    return columns if inside and (good or asked.untaken) else _picked(columns, asked)


def _picked(columns: Sequence["array[int]"], asked: Asked) -> Sequence["array[int]"]:
    _, _, utc_ms, temp_mc = columns
    wanted = [
        asked.from_ms <= at_ms < asked.to_ms and (asked.untaken or temp != UNTAKEN_MC)
        for at_ms, temp in zip(utc_ms, temp_mc, strict=True)
    ]
    return [array("q", compress(column, wanted)) for column in columns]
