"""Thermal time to rooting: families of distributions, fitted to what looks bound.

Nobody sees a cutting root. A look brackets it: after one sum of degree-hours and by
another (interval-censored), or not yet (right-censored); and a share never roots,
whatever the sum (a mixture cure model). What may live here: those likelihoods and
their maximum. The unit of the sums is the caller's.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from controller.trials.least_of import least

_ROOT_2 = math.sqrt(2)
_LOG_LEAST = -690.0
"""Chosen: the logarithm of the least chance that is told apart from none."""


class Family(Enum):
    """How the logarithm of the thermal time is spread around its location."""

    LOG_NORMAL = "log-normal"
    LOG_LOGISTIC = "log-logistic"
    WEIBULL = "Weibull"

    def below(self, standard: float) -> float:
        """Return the chance to lie below so many scales above the location."""
        if self is Family.LOG_NORMAL:
            return normal_below(standard)
        if self is Family.LOG_LOGISTIC:
            return _logistic(standard)
        return -math.expm1(-math.exp(min(standard, 50.0)))

    def median_above(self) -> float:
        """Return how many scales above the location the median lies."""
        return math.log(math.log(2)) if self is Family.WEIBULL else 0.0


def normal_below(standard: float) -> float:
    """Return the standard normal distribution function."""
    return 0.5 * math.erfc(-standard / _ROOT_2)


@dataclass(frozen=True, slots=True)
class Interval:
    """So many rooted within a stretch of thermal time.

    Attributes:
        after: Not by then; 0: from the beginning.
        by: By then; None: not seen to have rooted.
        count: How many.
    """

    after: float
    by: float | None
    count: int = 1

    def __post_init__(self) -> None:
        if not 0 <= self.after < (math.inf if self.by is None else self.by):
            raise ValueError(
                f"after {self.after}, by {self.by}: must begin at 0 or later and end"
                " after that"
            )
        if self.count < 0:
            raise ValueError(f"count {self.count}: must not be negative")


@dataclass(frozen=True, slots=True)
class TimeToRoot:
    """A family fitted by maximum likelihood.

    Attributes:
        family: Which one.
        location: Of the logarithm of thermal time.
        scale: The same; for a Weibull the inverse of its shape.
        share: Share that roots; 1 where all were taken to root in the end.
        log_likelihood: Its greatest value.
    """

    family: Family
    location: float
    scale: float
    share: float
    log_likelihood: float

    @property
    def median(self) -> float:
        """Thermal time at which half of those that root have rooted."""
        above = self.family.median_above()
        return math.exp(self.location + above * self.scale)

    def rooted_by(self, thermal_time: float) -> float:
        """Return the share of all that has rooted by some thermal time."""
        if thermal_time <= 0:
            return 0.0
        standard = (math.log(thermal_time) - self.location) / self.scale
        return self.share * self.family.below(standard)


def fit_time_to_root(
    told: Sequence[Interval], family: Family, *, some_never_root: bool = False
) -> TimeToRoot:
    """Fit a family to intervals by maximum likelihood.

    Args:
        told: The intervals.
        family: The family.
        some_never_root: Whether the share that roots is fitted, too.

    Raises:
        ValueError: Nothing was seen to root, or all within a single stretch: no
            median and spread follow from that.
    """
    ends = [one for one in told if one.by is not None and one.count]
    if not ends:
        raise ValueError("nothing was seen to root: no thermal time follows from that")
    if len({(one.after, one.by) for one in told if one.count}) == 1:
        raise ValueError("all rooted within one stretch: no spread follows from that")
    middle = _middle(ends)
    found: list[tuple[float, list[float]]] = []
    for log_scale in (-2.0, -1.0, 0.0):
        start = [middle, log_scale, *([1.0] if some_never_root else [])]

        def missing(at: Sequence[float]) -> float:
            return -_log_likelihood(told, family, *_read(at))

        at = least(missing, start, 0.5, 1e-12)
        found.append((missing(at), at))
    worst, best = min(found, key=lambda one: one[0])
    location, scale, share = _read(best)
    return TimeToRoot(family, location, scale, share, -worst)


def _read(at: Sequence[float]) -> tuple[float, float, float]:
    """Return location, scale and share from numbers without bounds."""
    share = _logistic(at[2]) if len(at) > 2 else 1.0  # noqa: PLR2004
    return at[0], math.exp(max(-20.0, min(20.0, at[1]))), share


def _logistic(value: float) -> float:
    if value >= 0:
        return 1 / (1 + math.exp(-value))
    return math.exp(max(value, -700.0)) / (1 + math.exp(max(value, -700.0)))


def _middle(ends: Sequence[Interval]) -> float:
    """Return the logarithm of the mean middle of stretches, as a start."""
    total = sum(one.count for one in ends)
    middles = (one.count * (one.after + (one.by or 0.0)) / 2 for one in ends)
    return math.log(math.fsum(middles) / total)


def _log_likelihood(
    told: Sequence[Interval],
    family: Family,
    location: float,
    scale: float,
    share: float,
) -> float:
    def rooted(thermal_time: float) -> float:
        if thermal_time <= 0:
            return 0.0
        return share * family.below((math.log(thermal_time) - location) / scale)

    total = 0.0
    for one in told:
        by = 1.0 if one.by is None else rooted(one.by)
        total += one.count * log_of(by - rooted(one.after))
    return total


def log_of(chance: float) -> float:
    """Return the logarithm of a chance; of none a very low one."""
    return math.log(chance) if chance > 0 else _LOG_LEAST
