"""At which thermal time half of those of a batch that will root have rooted.

What is foretold is something that comes to pass in one batch of so many cuttings,
not a property of the crop: the half-way cutting of a few may be early or late by
itself, and what is still to come in degree-hours is known to some per cent only.
What may live here: from what is known of a batch to that distribution.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.trials.pooling import Posterior
from controller.trials.rooting_evidence import BatchEvidence, Extent
from controller.trials.thermal_time_to_root import normal_below

AHEAD = 0.05
"""Chosen: what is to come in degree-hours may be off by 5 % (one standard deviation):
setpoints are kept to a few tenths of a kelvin, rooms and people are not."""

_LEAST_CHANCE = 1e-9

_LATER = 0.5
"""Chosen: what is later than anybody believed comes within half as long again."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is certain of the half-way cutting, by the looks.

    Attributes:
        so_far: Thermal time of the batch now [K·h].
        after: It had not rooted by then [K·h].
        by: It had by then [K·h]; None: nobody has seen it.
        rooting: How many root in the end, on average; None: nobody counted.
    """

    so_far: float = 0.0
    after: float = 0.0
    by: float | None = None
    rooting: float | None = None


@dataclass(frozen=True, slots=True)
class Rooting:
    """How many of a batch root in the end.

    Attributes:
        low: In nineteen of twenty cases not fewer.
        mean: On average.
        high: In nineteen of twenty cases not more.
    """

    low: int
    mean: float
    high: int


_NINETEEN_OF_TWENTY = 1.645
_UNCOUNTED = 40
"""Chosen: a batch that nobody counted is taken to be of so many."""


def rooting_of(of: Posterior, evidence: BatchEvidence) -> Rooting:
    """Return how many of a batch root in the end, as far as looks tell.

    Those that had rooted at the last look at all are certain. Of the others each
    roots with the chance that is left to it, which is known in part only.
    """
    whole = evidence.count or _UNCOUNTED
    census = [one for one in evidence.seen if one.extent is Extent.ALL]
    known = min(whole, max((one.rooted for one in census), default=0))
    at = census[-1].at if census else 0.0
    left = max(0, whole - known - evidence.dead)
    mean, square = _chance_left(of, at)
    spread = left * (mean - square) + left * left * max(0.0, square - mean * mean)
    reach = _NINETEEN_OF_TWENTY * math.sqrt(max(0.0, spread))
    low = math.floor(known + left * mean - reach)
    high = math.ceil(known + left * mean + reach)
    return Rooting(max(known, low), known + left * mean, min(known + left, high))


def _chance_left(of: Posterior, at: float) -> tuple[float, float]:
    """Return mean and mean square of the chance to root after some thermal time."""
    rooted = [
        (chance, 0.0 if at <= 0 else normal_below((math.log(at) - location) / scale))
        for scale, row in zip(of.scales, of.weights, strict=True)
        for location, chance in zip(of.locations, row, strict=True)
        if chance > _LEAST_CHANCE
    ]
    mean = square = 0.0
    for share, weight in zip(of.shares, of.share_weights, strict=True):
        for chance, below in rooted:
            left = share * (1 - below) / (1 - share * below)
            mean += weight * chance * left
            square += weight * chance * left * left
    return mean, square


class HalfRooted:
    """The distribution of that thermal time.

    Args:
        of: What is known of the batch.
        known: What is certain, and how far it is.
    """

    def __init__(self, of: Posterior, known: Known) -> None:
        told = known.rooting
        rooting = max(1.0, _UNCOUNTED * of.share() if told is None else told)
        shift, spread = half_way(rooting)
        self._parts = [
            (chance, location + shift * scale, _spread(location, scale * spread, known))
            for scale, row in zip(of.scales, of.weights, strict=True)
            for location, chance in zip(of.locations, row, strict=True)
            if chance > _LEAST_CHANCE
        ]
        self._low = min(at - 6 * wide for _, at, wide in self._parts)
        self._high = max(at + 6 * wide for _, at, wide in self._parts)
        self._bracket = self._within(known)

    def _within(self, known: Known) -> tuple[float, float]:
        """Return the chances at both ends of what is certain."""
        after = _log(known.after)
        by = math.inf if known.by is None else _log(known.by)
        low = 0.0 if after == -math.inf else self._raw(after)
        high = 1.0 if by == math.inf else self._raw(by)
        if by <= self._low:  # sooner than anybody believed
            self._low, self._high = max(after, by - 1), by
        elif after >= self._high:  # later
            self._low, self._high = after, min(after + _LATER, by)
        else:
            self._low, self._high = max(self._low, after), min(self._high, by)
        return low, high

    def _raw(self, log_time: float) -> float:
        return sum(
            chance * normal_below((log_time - at) / wide)
            for chance, at, wide in self._parts
        )

    def chance_by(self, thermal_time: float) -> float:
        """Return the chance that half have rooted by some thermal time [K·h]."""
        low, high = self._bracket
        at = _log(thermal_time)
        if at <= self._low:
            return 0.0
        if at >= self._high:
            return 1.0
        if high - low < _LEAST_CHANCE:  # nobody expected it there: no one place more
            return (at - self._low) / (self._high - self._low)
        return min(1.0, max(0.0, (self._raw(at) - low) / (high - low)))

    def thermal_time_at(self, part: float) -> float:
        """Return the thermal time below which a part of all chances lie [K·h]."""
        low, high = self._low, self._high
        for _ in range(60):
            middle = (low + high) / 2
            if self.chance_by(math.exp(middle)) < part:
                low = middle
            else:
                high = middle
            if high - low < 1e-5:  # noqa: PLR2004  # a thousandth of a per cent
                break
        return math.exp((low + high) / 2)

    def quantiles(self, parts: Sequence[float]) -> list[float]:
        """Return thermal times at some parts of all chances [K·h]."""
        return [self.thermal_time_at(part) for part in parts]


def half_way(rooting: float) -> tuple[float, float]:
    """Return where the half-way one of some normal deviates lies, and its spread.

    The one number ceil(n / 2) in order of size; its place by Blom's approximation of
    normal scores (r - 3/8)/(n + 1/4), its spread that of an order statistic for
    large n (both from memory), with 0.6 added to n, which brings it within 5 % of
    drawn samples down to a single one.

    Args:
        rooting: How many there are, on average.

    Returns:
        Mean and standard deviation, in standard deviations of one.
    """
    rank = math.ceil(rooting / 2)
    middle = min(0.99, max(0.01, (rank - 0.375) / (rooting + 0.25)))
    shift = _normal_at(middle)
    part = rank / (rooting + 1)
    height = math.exp(-shift * shift / 2) / math.sqrt(2 * math.pi)
    return shift, math.sqrt(part * (1 - part) / (rooting + 0.6)) / height


def _normal_at(part: float) -> float:
    low, high = -6.0, 6.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if normal_below(middle) < part else (low, middle)
    return (low + high) / 2


def _spread(location: float, own: float, known: Known) -> float:
    """Return the spread of the half-way cutting's thermal time, as told of by dates."""
    to_come = max(0.0, 1 - known.so_far / math.exp(location))
    return math.hypot(own, AHEAD * to_come)


def _log(thermal_time: float) -> float:
    return math.log(thermal_time) if thermal_time > 0 else -math.inf
