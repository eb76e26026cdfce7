"""Envelopes: a long series of readings drawn in few points, nothing invented.

The stretch of time is cut into buckets of one width. Each bucket tells the
least, the mean and the greatest of the readings that fell into it; a bucket
without a reading is no bucket. Nothing is interpolated and nothing is bridged.
What may live here: this arithmetic on whole numbers, in memory that grows with
the buckets and not with the readings.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bucket:
    """The readings of one bucket.

    Attributes:
        start_ms: Where it begins; it ends where the next one begins [ms].
        n: How many readings; never 0.
        min_mc: The least [m°C].
        max_mc: The greatest [m°C].
        sum_mc: Their sum [m°C]: divided by n it is their mean.
    """

    start_ms: int
    n: int
    min_mc: int
    max_mc: int
    sum_mc: int


def bucket_width_ms(from_ms: int, to_ms: int, points: int) -> int:
    """Return the width of a bucket in whole ms, rounded up so that points suffice.

    Raises:
        ValueError: The stretch is empty, or there is no point to draw.
    """
    if to_ms <= from_ms:
        msg = f"from {from_ms} ms to {to_ms} ms: the end must lie after the start"
        raise ValueError(msg)
    if points < 1:
        msg = f"points = {points}: at least 1 is needed"
        raise ValueError(msg)
    return -(-(to_ms - from_ms) // points)


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
    buckets: dict[int, Bucket] = {}
    for at_ms, temp_mc in samples:
        if from_ms <= at_ms < to_ms:
            index = (at_ms - from_ms) // width_ms
            start_ms = from_ms + index * width_ms
            buckets[index] = _with(buckets.get(index), start_ms, temp_mc)
    return [buckets[index] for index in sorted(buckets)]


def _with(before: Bucket | None, start_ms: int, temp_mc: int) -> Bucket:
    if before is None:
        return Bucket(start_ms, 1, temp_mc, temp_mc, temp_mc)
    return Bucket(
        start_ms,
        before.n + 1,
        min(before.min_mc, temp_mc),
        max(before.max_mc, temp_mc),
        before.sum_mc + temp_mc,
    )
