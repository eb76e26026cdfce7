"""What looks tell of a batch's thermal time to rooting, and how likely that was.

A look at every cutting is a census: the next one tells how many rooted in between.
A look at some is a sample, drawn anew each time as far as anybody knows; all samples
together weigh no more than every cutting looked at once, since often the same ones
are looked at. Through a wall or a drain hole roots that are seen are certain and
roots that are not seen are no evidence. A tug is in doubt both ways. What may live
here: these shapes and their likelihood.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from controller.trials.thermal_time_to_root import Interval, log_of, normal_below


class Extent(Enum):
    """What a look says of those it looked at."""

    ALL = "all"
    """Every cutting of the batch: so many have roots, the others have none."""
    SOME = "some"
    """Some of them: so many have roots, the others have none."""
    SPARE = "spare"
    """The same, of cuttings that are not part of the count."""
    AT_LEAST = "at least"
    """Some of them: so many have roots, of the others nothing is known."""


@dataclass(frozen=True, slots=True)
class Seen:
    """So many were seen to have roots.

    Attributes:
        at: Thermal time of the look [K·h].
        of: At how many one looked.
        rooted: How many had roots.
        extent: What that says.
    """

    at: float
    of: int
    rooted: int
    extent: Extent


@dataclass(frozen=True, slots=True)
class Pulled:
    """So many held in a tug, and so many gave.

    Attributes:
        at: Thermal time of the look [K·h].
        held: How many held.
        gave: How many gave.
        if_rooted: Chance that one with roots holds.
        if_not: Chance that one without holds.
    """

    at: float
    held: int
    gave: int
    if_rooted: float
    if_not: float


@dataclass(frozen=True, slots=True)
class BatchEvidence:
    """All that is known of when a batch rooted.

    Attributes:
        count: How many were stuck; None: nobody counted.
        seen: Looks, in order of time.
        pulled: Tugs, in order of time.
        dead: How many were found dead: these never root.
    """

    count: int | None = None
    seen: tuple[Seen, ...] = ()
    pulled: tuple[Pulled, ...] = ()
    dead: int = 0

    @property
    def tells(self) -> bool:
        """Whether anything follows from it."""
        certain = any(
            one.of and (one.extent is not Extent.AT_LEAST or one.rooted)
            for one in self.seen
        )
        return certain or bool(self.pulled) or self.dead > 0


def intervals_of(evidence: BatchEvidence) -> list[Interval]:
    """Return what looks bound, cutting by cutting, for a fit without a crop file.

    What is in doubt, a tug or a look that shows roots only, bounds too little.
    """
    found, since, before = [], 0.0, 0
    for one in evidence.seen:
        if one.extent is Extent.ALL and one.at > since and one.rooted >= before:
            found.append(Interval(since, one.at, one.rooted - before))
            since, before = one.at, one.rooted
        elif one.extent in (Extent.SOME, Extent.SPARE) and one.at > 0:
            found.append(Interval(0.0, one.at, one.rooted))
            found.append(Interval(one.at, None, one.of - one.rooted))
    if since and evidence.count is not None:
        found.append(Interval(since, None, evidence.count - before))
    return [one for one in found if one.count]


Likelihood = Callable[[float, float], list[float]]
"""From location and scale of the logarithm of thermal time to the log-likelihood of
each share that roots."""


def likelihood_of(evidence: BatchEvidence, shares: Sequence[float]) -> Likelihood:
    """Return the likelihood of a batch's evidence, for some shares that root.

    Within the batch the logarithm of thermal time to rooting is taken to be normal,
    of those that root at all.
    """
    census = _Census(evidence)
    weight = _weight(evidence)
    parts: list[_Sample | _Pull] = [
        sample
        for one in evidence.seen
        if (sample := _Sample(one, census, weight)).tells
    ]
    parts += [_Pull(one, census, weight) for one in evidence.pulled]

    def logs(location: float, scale: float) -> list[float]:
        def below(at: float) -> float:
            if at <= 0:
                return 0.0
            return normal_below((math.log(at) - location) / scale)

        total = census.logs(below, shares)
        for part in parts:
            for n, more in enumerate(part.logs(below, shares)):
                total[n] += more
        return total

    return logs


_Below = Callable[[float], float]


def _weight(evidence: BatchEvidence) -> float:
    """Return how much a sample weighs, so that all are worth one whole look."""
    sizes = [
        one.of
        for one in evidence.seen
        if one.extent in (Extent.SOME, Extent.AT_LEAST) and one.of
    ]
    sizes += [one.held + one.gave for one in evidence.pulled]
    most = evidence.count or max(sizes, default=1)
    return min(1.0, most / max(1, sum(sizes)))


class _Census:
    """Looks at every cutting, one after the other; those found dead among them."""

    def __init__(self, evidence: BatchEvidence) -> None:
        self.count = evidence.count or 0
        self.at: list[float] = []
        self.rooted: list[int] = []
        for one in evidence.seen:
            if one.extent is Extent.ALL:
                before = self.rooted[-1] if self.rooted else 0
                self.at.append(one.at)
                # Roots do not vanish: a smaller count later was an oversight.
                self.rooted.append(min(max(before, one.rooted), self.count))
        self._dead = min(evidence.dead, self.count - (self.rooted or [0])[-1])
        self._dead = max(0, self._dead if self.count else evidence.dead)

    def before(self, at: float) -> int | None:
        """Return which census was the last before a look; None: none was."""
        earlier = [n for n, when in enumerate(self.at) if when < at]
        return earlier[-1] if earlier else None

    def logs(self, below: _Below, shares: Sequence[float]) -> list[float]:
        """Return the log-likelihood for each share that roots."""
        whole, since, before = 0.0, 0.0, 0
        for at, rooted in zip(self.at, self.rooted, strict=True):
            now = below(at)
            if rooted > before:
                whole += (rooted - before) * log_of(now - since)
            since, before = now, rooted
        left = self.count - before - self._dead if self.at else 0
        return [
            whole
            + before * math.log(share)
            + (left * log_of(1 - share * since) if left else 0.0)
            + (self._dead * math.log1p(-share) if self._dead else 0.0)
            for share in shares
        ]


class _AfterCensus:
    """The share that has rooted by a look, with what a census before it showed."""

    def __init__(self, at: float, census: _Census) -> None:
        self._at, self._census = at, census
        self._before = census.before(at)

    def rooted(self, below: _Below, shares: Sequence[float]) -> list[float]:
        """Return that share for each share that roots in the end."""
        now = below(self._at)
        if self._before is None:
            return [share * now for share in shares]
        since = below(self._census.at[self._before])
        known = self._census.rooted[self._before] / self._census.count
        grown = max(0.0, now - since)
        return [
            known + (1 - known) * share * grown / max(1e-300, 1 - share * since)
            for share in shares
        ]


_STEPS = 400
"""Chosen: a chance is told to a four-hundredth where it is looked up."""


class _Sample:
    """A look at some."""

    def __init__(self, one: Seen, census: _Census, weight: float) -> None:
        spare = one.extent is Extent.SPARE
        self.tells = one.of > 0 and one.extent is not Extent.ALL
        if one.extent is Extent.AT_LEAST:
            self.tells = self.tells and one.rooted > 0
        self._weight = 1.0 if spare else weight
        self._one = one
        # Spare ones are not those that a census looked at.
        self._share = _AfterCensus(
            one.at, _Census(BatchEvidence()) if spare else census
        )
        self._looked_up = (
            [_log_at_least(one.rooted, one.of, n / _STEPS) for n in range(_STEPS + 1)]
            if one.extent is Extent.AT_LEAST and self.tells
            else None
        )

    def logs(self, below: _Below, shares: Sequence[float]) -> list[float]:
        """Return the log-likelihood for each share that roots."""
        rooted = self._share.rooted(below, shares)
        table = self._looked_up
        if table is not None:
            return [self._weight * table[round(_STEPS * chance)] for chance in rooted]
        yes, no = self._one.rooted, self._one.of - self._one.rooted
        return [self._weight * _logs(yes, no, chance) for chance in rooted]


class _Pull:
    """A tug."""

    def __init__(self, one: Pulled, census: _Census, weight: float) -> None:
        self._one, self._weight = one, weight
        self._share = _AfterCensus(one.at, census)

    def logs(self, below: _Below, shares: Sequence[float]) -> list[float]:
        """Return the log-likelihood for each share that roots."""
        one = self._one
        return [
            self._weight
            * _logs(
                one.held, one.gave, chance * one.if_rooted + (1 - chance) * one.if_not
            )
            for chance in self._share.rooted(below, shares)
        ]


def _logs(yes: int, no: int, chance: float) -> float:
    total = yes * log_of(chance) if yes else 0.0
    return total + (no * log_of(1 - chance) if no else 0.0)


def _log_at_least(rooted: int, of: int, chance: float) -> float:
    """Return the log of the chance of at least so many in a binomial draw."""
    if chance <= 0:
        return log_of(0)
    if chance >= 1:
        return 0.0
    odds = math.log(chance) - math.log1p(-chance)
    whole = math.lgamma(of + 1) + of * math.log1p(-chance)
    logs = [
        whole - math.lgamma(n + 1) - math.lgamma(of - n + 1) + n * odds
        for n in range(rooted, of + 1)
    ]
    top = max(logs)
    return min(0.0, top + math.log(math.fsum(math.exp(one - top) for one in logs)))
