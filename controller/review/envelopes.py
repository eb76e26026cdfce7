"""Envelopes: a long series of readings drawn in few points, nothing invented.

Time is cut into buckets of one width, counted from the year 1: so a bucket is
the same whoever asks for it, and whole hours can be worked out once for ever.
Each bucket tells the least, the mean and the greatest of the readings that were
measured in it; a bucket without a reading is no bucket. Nothing is interpolated
and nothing is bridged. What may live here: this arithmetic on whole numbers, in
memory that grows with the buckets and not with the readings.
"""

from array import array
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from controller.ports import Bucket
from controller.review.columns import Rows, empty, filled

WIDTHS_MS = (
    *(n * SECOND_MS for n in (1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30)),
    *(n * MINUTE_MS for n in (1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30)),
    *(n * HOUR_MS for n in (1, 2, 3, 4, 6, 8, 12)),
    DAY_MS,
)
"""Widths of buckets [ms]; beyond these, whole days."""

_ALL_TIMES_MS = 4_000_000 * DAY_MS
"""More than there is from the year 1 to 9999."""


BEGINNING_MS = -62_135_596_800_000
"""0001-01-01T00:00:00Z: from here on buckets are counted [ms]."""


class Figures(NamedTuple):
    """What is told of some readings: how many, the least, the greatest, the sum."""

    n: int
    min_mc: int
    max_mc: int
    sum_mc: int


def bucket_width_ms(from_ms: int, to_ms: int, points: int) -> int:
    """Return the least width of buckets of which so many reach over a stretch [ms].

    Raises:
        ValueError: The stretch is empty, or there is no point to draw.
    """
    if to_ms <= from_ms:
        msg = f"from {from_ms} ms to {to_ms} ms: the end must lie after the start"
        raise ValueError(msg)
    if points < 1:
        msg = f"points = {points}: at least 1 is needed"
        raise ValueError(msg)
    for width_ms in WIDTHS_MS:
        if _reaching(from_ms, to_ms, width_ms) <= points:
            return width_ms
    width_ms = DAY_MS
    while _reaching(from_ms, to_ms, width_ms) > points and width_ms < _ALL_TIMES_MS:
        width_ms += DAY_MS * max(1, width_ms // (30 * DAY_MS))
    return width_ms


def _reaching(from_ms: int, to_ms: int, width_ms: int) -> int:
    return bucket_of(to_ms - 1, width_ms) - bucket_of(from_ms, width_ms) + 1


def bucket_of(at_ms: int, width_ms: int) -> int:
    """Return the number of the bucket that a time lies in."""
    return (at_ms - BEGINNING_MS) // width_ms


def bucket(number: int, width_ms: int, figures: Figures) -> Bucket:
    """Return the bucket of a number."""
    return Bucket(BEGINNING_MS + number * width_ms, *figures)


def added(found: dict[int, Figures], number: int, more: Figures) -> None:
    """Add figures to those of a bucket, by its number."""
    before = found.get(number)
    if before is not None:
        more = Figures(
            before.n + more.n,
            min(before.min_mc, more.min_mc),
            max(before.max_mc, more.max_mc),
            before.sum_mc + more.sum_mc,
        )
    found[number] = more


class Gathered:
    """The figures of the buckets of a stretch, while readings come.

    Args:
        from_ms: Start of the stretch [ms].
        to_ms: Its end; not part of it [ms].
        width_ms: Width of a bucket [ms].
    """

    def __init__(self, from_ms: int, to_ms: int, width_ms: int) -> None:
        self._first, self._width_ms = bucket_of(from_ms, width_ms), width_ms
        self._columns = empty(len(Figures._fields), _reaching(from_ms, to_ms, width_ms))

    def add(self, number: int, more: Figures) -> None:
        """Add figures to those of a bucket, by its number.

        Raises:
            IndexError: It is no bucket of the stretch.
            OverflowError: They take more than 64 bits.
        """
        at = number - self._first
        counts, least, greatest, sums = self._columns
        if at < 0:
            raise IndexError(f"bucket {number} lies before the stretch")
        if counts[at]:
            least[at] = min(least[at], more.min_mc)
            greatest[at] = max(greatest[at], more.max_mc)
        else:
            least[at], greatest[at] = more.min_mc, more.max_mc
        counts[at] += more.n
        sums[at] += more.sum_mc

    def buckets(self) -> Sequence[Bucket]:
        """Return the buckets that hold readings, in order of time."""
        first_ms = BEGINNING_MS + self._first * self._width_ms
        begun_ms = (first_ms + n * self._width_ms for n in range(len(self._columns[0])))
        found = filled((*self._columns, array("q", begun_ms)))
        return Rows(lambda told: Bucket(told[4], *told[:4]), found)


def together(buckets: Iterable[Bucket]) -> Figures | None:
    """Return the figures of all readings of some buckets; None: there are none."""
    all_of: dict[int, Figures] = {}
    for one in buckets:
        added(all_of, 0, Figures(one.n, one.min_mc, one.max_mc, one.sum_mc))
    return all_of.get(0)


def envelope(
    samples: Iterable[tuple[int, int]], from_ms: int, to_ms: int, points: int
) -> list[Bucket]:
    """Return the buckets that hold readings, in order of time.

    Args:
        samples: Pairs of time [ms] and temperature [m°C], in any order: a wall
            clock may have been set back. Those outside [from, to) are left out.
        from_ms: Start of the stretch [ms].
        to_ms: Its end; not part of it [ms].
        points: The most buckets that may come out.

    Raises:
        ValueError: The stretch is empty, or there is no point to draw.
    """
    width_ms = bucket_width_ms(from_ms, to_ms, points)
    found: dict[int, Figures] = {}
    for at_ms, temp_mc in samples:
        if from_ms <= at_ms < to_ms:
            one = Figures(1, temp_mc, temp_mc, temp_mc)
            added(found, bucket_of(at_ms, width_ms), one)
    return [bucket(number, width_ms, found[number]) for number in sorted(found)]
