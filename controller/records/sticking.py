"""How many to stick so that enough plants come of it, with some surety.

At a rate that is known the answer is the exact binomial's. A rate that was seen on a
few cuttings is not known, so it is widened: a beta-binomial over what the rate may be
after the count (a uniform prior, Beta(1, 1)), which asks for more. What may live here:
that arithmetic, on plain numbers.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

MOST_CUTTINGS = 100_000


@dataclass(frozen=True, slots=True)
class Counted:
    """What was seen of a rate: so many of so many.

    Attributes:
        good: How many rooted, or lived.
        of: Of how many.

    Raises:
        ValueError: It is no count.
    """

    good: int
    of: int

    def __post_init__(self) -> None:
        if not 0 <= self.good <= self.of:
            raise ValueError(f"found {self.good} of {self.of}: must be from 0 to all")

    @property
    def rate(self) -> float | None:
        """The share; None: of none."""
        return self.good / self.of if self.of else None


def at_least(plants: int, stuck: int, rate: float) -> float:
    """Return the chance that at least so many of so many take: exact binomial."""
    if plants <= 0:
        return 1.0
    if plants > stuck or rate <= 0:
        return 0.0
    if rate >= 1:
        return 1.0
    fewer = math.fsum(
        math.exp(
            _log_choose(stuck, k) + k * math.log(rate) + (stuck - k) * math.log1p(-rate)
        )
        for k in range(plants)
    )
    return min(1.0, max(0.0, 1.0 - fewer))


def at_least_seen(plants: int, stuck: int, seen: Counted) -> float:
    """Return the same where the rate is only what was counted: beta-binomial."""
    if plants <= 0:
        return 1.0
    if plants > stuck:
        return 0.0
    a, b = seen.good + 1, seen.of - seen.good + 1
    whole = _log_beta(a, b)
    fewer = math.fsum(
        math.exp(_log_choose(stuck, k) + _log_beta(k + a, stuck - k + b) - whole)
        for k in range(plants)
    )
    return min(1.0, max(0.0, 1.0 - fewer))


def how_many(plants: int, surety: float, rate: float) -> int | None:
    """Return the fewest to stick for so many plants at a known rate; None: no number.

    Args:
        plants: How many are wanted.
        surety: With which chance, such as 0.9.
        rate: The share that takes, from 0 to 1.

    Raises:
        ValueError: One of them cannot be.
    """
    _check(plants, surety)
    if not 0 <= rate <= 1:
        raise ValueError(f"rate: found {rate:g}: must be from 0 to 1")
    return _fewest(plants, surety, lambda stuck: at_least(plants, stuck, rate))


def how_many_seen(plants: int, surety: float, seen: Counted) -> int | None:
    """Return the same where the rate is only what was counted."""
    _check(plants, surety)
    return _fewest(plants, surety, lambda stuck: at_least_seen(plants, stuck, seen))


def _check(plants: int, surety: float) -> None:
    if plants < 0:
        raise ValueError(f"plants: found {plants}: must be 0 or more")
    if not 0 < surety < 1:
        raise ValueError(f"surety: found {surety:g}: must lie between 0 and 1")


def _fewest(plants: int, surety: float, chance: Callable[[int], float]) -> int | None:
    """Return the least number whose chance, which grows with it, is enough."""
    if plants == 0:
        return 0
    enough = plants
    while chance(enough) < surety:
        enough *= 2
        if enough > MOST_CUTTINGS:
            return None
    low, high = plants - 1, enough
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle) >= surety else (middle, high)
    return high


def chance_below(rate: float, seen: Counted) -> float:
    """Return the chance that the rate lies below some value, after what was seen.

    For whole numbers the beta distribution's is a binomial's: I_x(a, b) is the chance
    of at least a of a + b - 1 (NIST DLMF 8.17.5).
    """
    a, b = seen.good + 1, seen.of - seen.good + 1
    return at_least(a, a + b - 1, rate)


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _log_beta(a: int, b: int) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
