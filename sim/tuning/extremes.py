"""The highest of several days to come, of which a log has too few to show it.

Days drawn from a log are never warmer than its warmest day, but days to come
are: the highest of m further days is above that of n known ones with the
probability m / (m + n), and drawing does not tell by how much. What may live
here: the expectation and the error of such a highest value.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.integrate import quad
from scipy.stats import norm

from sim.thermal import Matrix

_FAR = 12.0
"""Beyond so many standard deviations nothing is left to integrate."""


class Highest(NamedTuple):
    """The highest value of some days to come, and its standard error."""

    value: float
    error: float


def highest(daily: Matrix, days: int) -> Highest:
    """Return the highest of as many days as each draw has.

    Of m independent normal values, with the mean and the spread that n days
    show: the moments of the largest order statistic (David, Nagaraja 2003,
    Order Statistics, chapter 3), and to its variance that of the mean, 1 / n,
    and of the spread, 1 / (2 (n - 1)).

    Args:
        daily: Highest value of each day of each draw, shape (draws, m).
        days: From how many days was drawn, n.
    """
    mean = float(daily.mean())
    spread = float(daily.std()) * np.sqrt(days / (days - 1))
    above, variance = moments(daily.shape[1])
    unsure = 1 / days + above**2 / (2 * (days - 1))
    return Highest(mean + above * spread, spread * float(np.sqrt(variance + unsure)))


@cache
def moments(count: int) -> tuple[float, float]:
    """Return mean and variance of the largest of so many standard normal values."""

    def weighed(x: float, power: int) -> float:
        density = count * norm.pdf(x) * norm.cdf(x) ** (count - 1)
        return float(x**power * density)

    first, second = (quad(weighed, -_FAR, _FAR, args=(n,))[0] for n in (1, 2))
    return float(first), float(second - first**2)
