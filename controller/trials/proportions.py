"""Shares, and how far off they may be.

What may live here: intervals of one share, and of the difference of two, where each
cutting stands for itself. For cuttings that share a tray see dispersion.
"""

import math
from dataclasses import dataclass

from controller.trials.special import beta_quantile, normal_quantile


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval of something."""

    low: float
    high: float


def wilson(rooted: int, n: int, level: float = 0.95) -> Interval:
    """Return the score interval of a share (Wilson 1927).

    Args:
        rooted: How many did.
        n: Of how many; at least 1.
        level: How often such an interval holds the true share, about.

    Raises:
        ValueError: The counts are none.
    """
    check_counts(rooted, n)
    z = normal_quantile((1 + level) / 2)
    share, unit = rooted / n, z * z / n
    middle = (share + unit / 2) / (1 + unit)
    half = z / (1 + unit) * math.sqrt(share * (1 - share) / n + unit / (4 * n))
    low = 0.0 if rooted == 0 else max(0.0, middle - half)
    high = 1.0 if rooted == n else min(1.0, middle + half)
    return Interval(low, high)


def exact(rooted: int, n: int, level: float = 0.95) -> Interval:
    """Return the interval of a share that never holds less often than it says.

    Clopper and Pearson 1934, by beta quantiles; arguments as for wilson.
    """
    check_counts(rooted, n)
    tail = (1 - level) / 2
    low = beta_quantile(tail, rooted, n - rooted + 1) if rooted else 0.0
    high = beta_quantile(1 - tail, rooted + 1, n - rooted) if rooted < n else 1.0
    return Interval(low, high)


def difference(
    share: float, own: Interval, other_share: float, other: Interval
) -> Interval:
    """Return the interval of the first share less the second, from theirs.

    Square and add: with Wilson intervals it is method 10 of Newcombe 1998 (Statistics
    in Medicine 17: 873-890); with others that of Zou and Donner 2008.
    """
    apart = share - other_share
    down = math.hypot(share - own.low, other.high - other_share)
    up = math.hypot(own.high - share, other_share - other.low)
    return Interval(max(-1.0, apart - down), min(1.0, apart + up))


def check_counts(rooted: int, n: int) -> None:
    """Raise ValueError unless so many can be so many of so many."""
    if not 0 <= rooted <= n or n < 1:
        raise ValueError(f"found {rooted} of {n}: must be from 0 to n, and n from 1")
