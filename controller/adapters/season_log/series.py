"""The readings of one probe in a block, as columns of small numbers.

A series says of each reading in which scan of the block it came (its slot), in
which place there, when it was measured, what it said and what became of it.
Slots, times and values are kept as differences from one reading to the next,
times less the usual step; each column in as few bytes as its widest number
needs, first all low bytes, then the next; all of it deflated (RFC 1951). What
comes out is what went in, to the last number. What may live here: that packing,
and nothing that knows of files.
"""

import json
import struct
import sys
import zlib
from array import array
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

_HEAD = struct.Struct("<Iqqq")
_COUNT = 4
_TYPES = {1: "b", 2: "h", 4: "i", 8: "q"}
_IN_WORDS = 0
"""Width of a column that holds a number of more than 64 bits: as JSON."""

QUALITY = 3
"""Bits of a code that hold the quality's number."""

DOUBTED = 4
"""Bit of a code: the core did not take the reading."""

VALUELESS = 8
"""Bit of a code: there is no value."""


class Series(NamedTuple):
    """Columns of equal length, one item for each reading, in order of arrival.

    Attributes:
        slots: In which scan, counted from the block's first.
        places: In which place among the scan's readings.
        at_ms: When it was measured, after the block's first scan [ms].
        milli: The value; where there is none, the one before.
        codes: Quality's number, DOUBTED, VALUELESS.
    """

    slots: Sequence[int]
    places: Sequence[int]
    at_ms: Sequence[int]
    milli: Sequence[int]
    codes: Sequence[int]


class Raw(NamedTuple):
    """A series as it is stored, its columns not yet summed up.

    Attributes:
        n: How many readings.
        at_ms: Of the first one [ms].
        step_ms: Added to every difference of times [ms].
        milli: Of the first one.
        columns: Width in bytes and body of each column.
    """

    n: int
    at_ms: int
    step_ms: int
    milli: int
    columns: tuple[tuple[int, bytes], ...]


def packed(series: Series) -> bytes:
    """Return a series that is not empty as bytes."""
    at_ms, milli = series.at_ms, series.milli
    steps = _differences(at_ms)
    step_ms = sorted(steps)[len(steps) // 2] if steps else 0
    columns = (
        [series.slots[0], *_differences(series.slots)],
        series.places,
        [0, *(step - step_ms for step in steps)],
        [0, *_differences(milli)],
        series.codes,
    )
    head = _HEAD.pack(len(at_ms), at_ms[0], step_ms, milli[0])
    whole = head + b"".join(map(_packed_column, columns))
    return zlib.compress(whole, 9, -zlib.MAX_WBITS)


def _differences(values: Sequence[int]) -> list[int]:
    return [after - before for before, after in pairwise(values)]


def _packed_column(values: Sequence[int]) -> bytes:
    width = _width(min(values), max(values))
    if width == _IN_WORDS:
        text = json.dumps(list(values)).encode()
        return struct.pack("<BI", width, len(text)) + text
    numbers = array(_TYPES[width], values)
    if sys.byteorder == "big":
        numbers.byteswap()
    body = numbers.tobytes()
    planes = b"".join(body[byte::width] for byte in range(width))
    return struct.pack("<B", width) + planes


def _width(least: int, most: int) -> int:
    for width in _TYPES:
        bound = 1 << (8 * width - 1)
        if -bound <= least and most < bound:
            return width
    return _IN_WORDS


def packed_columns(*columns: Sequence[int]) -> bytes:
    """Return columns of equal length, at least one item long, as bytes."""
    head = struct.pack("<I", len(columns[0]))
    whole = head + b"".join(map(_packed_column, columns))
    return zlib.compress(whole, 9, -zlib.MAX_WBITS)


def unpacked_columns(body: bytes) -> list[Sequence[int]]:
    """Return what packed_columns was given; raise as unpacked does."""
    whole = zlib.decompress(body, -zlib.MAX_WBITS)
    n = int.from_bytes(whole[:_COUNT], "little")
    return [numbers(stored) for stored in _stored(whole, _COUNT, n)]


def raw(body: bytes) -> Raw:
    """Return the stored columns of what packed made.

    Raises:
        zlib.error: The bytes are damaged.
        ValueError: They do not hold what they announce.
    """
    whole = zlib.decompress(body, -zlib.MAX_WBITS)
    if len(whole) < _HEAD.size:
        raise ValueError("a series is cut short")
    n, at_ms, step_ms, milli = _HEAD.unpack_from(whole)
    columns = tuple(_stored(whole, _HEAD.size, n))
    if len(columns) != len(Series._fields):
        raise ValueError(f"a series of {n} readings has {len(columns)} columns")
    return Raw(n, at_ms, step_ms, milli, columns)


def _stored(whole: bytes, at: int, n: int) -> Iterator[tuple[int, bytes]]:
    """Yield width and body of each column from a place on."""
    while at < len(whole):
        width, at = whole[at], at + 1
        if width == _IN_WORDS:
            (size,) = struct.unpack_from("<I", whole, at)
            at += 4
        else:
            size = n * width
        if at + size > len(whole):
            raise ValueError(f"a column of {n} numbers is cut short")
        yield width, whole[at : at + size]
        at += size


def unpacked(body: bytes) -> Series:
    """Return what packed was given.

    Raises:
        zlib.error: The bytes are damaged.
        ValueError: They do not hold what they announce.
    """
    found = raw(body)
    slots, places, late_ms, rises, codes = map(numbers, found.columns)
    steps = [step + found.step_ms for step in late_ms[1:]]
    return Series(
        list(accumulate(slots)),
        places,
        list(accumulate(steps, initial=found.at_ms)),
        list(accumulate(rises[1:], initial=found.milli)),
        codes,
    )


def numbers(stored: tuple[int, bytes]) -> Sequence[int]:
    """Return the numbers of a column as it is stored."""
    width, body = stored
    if width == _IN_WORDS:
        return [int(number) for number in json.loads(body)]
    found = array(_TYPES[width])
    if width == 1:
        found.frombytes(body)
        return found
    whole, n = bytearray(len(body)), len(body) // width
    for byte in range(width):
        whole[byte::width] = body[byte * n : (byte + 1) * n]
    found.frombytes(bytes(whole))
    if sys.byteorder == "big":
        found.byteswap()
    return found
