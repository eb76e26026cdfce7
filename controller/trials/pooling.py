"""Batches of a crop pooled in part: each tells of the others, none decides alone.

The logarithm of a batch's median thermal time lies around its cultivar's, that around
its crop's, and that where the crop file says; how far from each other is known in
part only and learned, too. The share that roots goes the same way. All of it is
added up on grids: no sampling, no iteration, the same answer every time. What may
live here: that model. What it foretells of a batch is in forecast.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from operator import mul

from controller.trials.grids import (
    Bells,
    Row,
    Scaled,
    Table,
    bell,
    beta_row,
    dot,
    even,
    grid_around,
    mixed,
    plus,
    product,
    summed,
    times,
    turned,
    variance,
    without,
)
from controller.trials.rooting_evidence import BatchEvidence, likelihood_of

BETWEEN_BATCHES = 0.15
"""Chosen, without a source: batches of one cultivar differ in median thermal time by
some 15 % (one standard deviation of the logarithm)."""

BETWEEN_CULTIVARS = 0.12
"""Chosen, without a source: and cultivars of one crop by some 12 %."""

BETWEEN_FACTORS = ((0.5, 0.25), (1.0, 0.5), (2.0, 0.25))
"""Chosen: both may be half or twice as large, with these chances."""

WITHIN_FACTORS = ((0.6, 0.25), (1.0, 0.5), (1.6, 0.25))
"""Chosen: so may the spread within a batch."""

LIKE_CUTTINGS_BATCH = 8.0
LIKE_CUTTINGS_CULTIVAR = 16.0
"""Chosen, without a source: the share that roots differs from batch to batch as if
each had been drawn by what 8 cuttings showed, from cultivar to cultivar 16."""

_FINE, _COARSE = 0.04, 0.08
"""Chosen: steps of the grids of the logarithm; the narrowest bell on the coarse one
has a standard deviation of 0.06: a sum over steps of 1.3 of those is right to a
thousandth of a per cent."""

_REACH = 4.0
"""Chosen: standard deviations that grids reach to both sides."""

SHARES = tuple((n + 0.5) / 20 for n in range(20))
_MEAN_SHARES = tuple((n + 0.5) / 12 for n in range(12))


@dataclass(frozen=True, slots=True)
class Prior:
    """What the crop file says, before anybody looked.

    Attributes:
        median: Thermal time at which half of those that root have rooted [K·h].
        doubt: How far that may be off: standard deviation of its logarithm.
        within: Spread within a batch: standard deviation of the logarithm.
        share: Share that roots.
        weight: As much as so many cuttings would tell of that share.
    """

    median: float
    doubt: float
    within: float
    share: float
    weight: float

    def __post_init__(self) -> None:
        positive = self.median, self.doubt, self.within, self.weight
        if not all(0 < value < math.inf for value in positive):
            raise ValueError(f"{self}: every value must be above 0")
        if not 0 < self.share < 1:
            raise ValueError(f"{self}: a share lies between 0 and 1")


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of one batch.

    Attributes:
        locations: Logarithms of its median thermal time.
        scales: Spreads within it.
        weights: Chance of each location (inner) with each spread (outer).
        shares: Shares that root.
        share_weights: Chance of each.
        own: How much of it the grower's own looks brought: 0 nothing, 1 all.
    """

    locations: tuple[float, ...]
    scales: tuple[float, ...]
    weights: tuple[tuple[float, ...], ...]
    shares: tuple[float, ...]
    share_weights: tuple[float, ...]
    own: float

    def share(self) -> float:
        """Return the share that roots, to be expected."""
        return dot(self.shares, self.share_weights)

    def share_at(self, part: float) -> float:
        """Return the share below which a part of all chances lie."""
        edge, reached = 1 / len(self.shares), 0.0
        sums = [0.0, *accumulate(self.share_weights)]
        for n, (below, above) in enumerate(pairwise(sums)):
            if above >= part:
                return edge * (n + (part - below) / max(above - below, 1e-12))
            reached = above
        return min(1.0, reached)


def posteriors(
    prior: Prior,
    cultivars: Sequence[Sequence[BatchEvidence]],
    wanted: Callable[[int, int], bool] = lambda _cultivar, _batch: True,
    known: "Tables | None" = None,
) -> list[list[Posterior | None]]:
    """Return what is known of each batch, from its own looks and all others'.

    Args:
        prior: What the crop file says.
        cultivars: Batches of one crop, cultivar by cultivar. One that nobody
            looked at brings nothing, and learns from the others.
        wanted: Of which batches it is told, by number of cultivar and batch; of
            the others there is None.
        known: Likelihoods that were worked out for the same prior already; new
            ones are put in.
    """
    return _Pool(prior, cultivars, {} if known is None else known).done(wanted)


# ---------------------------------------------------------------------------- grids


class _Pool:
    """One crop: grids and the sums over them.

    A table has a row for each share, and in it a number for each location.
    """

    def __init__(
        self,
        prior: Prior,
        cultivars: Sequence[Sequence[BatchEvidence]],
        known: "Tables",
    ) -> None:
        self._prior, self._cultivars, self._known = prior, cultivars, known
        between = math.hypot(BETWEEN_BATCHES, BETWEEN_CULTIVARS) * 1.5
        middle = math.log(prior.median)
        wide = _REACH * math.hypot(prior.doubt, between)
        self._fine = grid_around(middle, wide + 2 * BETWEEN_BATCHES, _FINE)
        self._coarse = grid_around(middle, wide, _COARSE)
        top = even([bell((at - middle) / prior.doubt) for at in self._coarse])
        shares = beta_row(prior.share, prior.weight, _MEAN_SHARES)
        self._top = [[share * one for one in top] for share in shares]
        self._of_batch = [
            beta_row(mean, LIKE_CUTTINGS_BATCH, SHARES) for mean in _MEAN_SHARES
        ]
        self._of_cultivar = [
            beta_row(mean, LIKE_CUTTINGS_CULTIVAR, _MEAN_SHARES)
            for mean in _MEAN_SHARES
        ]
        self._scales = tuple(prior.within * factor for factor, _ in WITHIN_FACTORS)

    def done(self, wanted: Callable[[int, int], bool]) -> list[list[Posterior | None]]:
        """Go through all spreads; put together what each says of each batch."""
        sums = [
            [
                _Sum(self._fine, self._scales) if wanted(c, b) else None
                for b in range(len(some))
            ]
            for c, some in enumerate(self._cultivars)
        ]
        for factor, chance in BETWEEN_FACTORS:
            to_batch = Bells(self._coarse, self._fine, BETWEEN_BATCHES * factor)
            wide = BETWEEN_CULTIVARS * factor
            moves = _Moves(to_batch, Bells(self._coarse, self._coarse, wide))
            for n, scale in enumerate(self._scales):
                told = [[self._table(b, scale) for b in one] for one in self._cultivars]
                log = math.log(chance * WITHIN_FACTORS[n][1])
                self._add(sums, told, moves, _Setting(n, log))
        prior = self._prior.doubt**2
        return [
            [None if one is None else one.posterior(prior) for one in some]
            for some in sums
        ]

    def _table(self, batch: BatchEvidence, scale: float) -> "_Told":
        """Return the likelihood of a batch on the fine grid, for one spread."""
        if not batch.tells:
            return _NOTHING_TOLD
        found = self._known.get((batch, scale))
        if found is None:
            found = self._known[batch, scale] = self._likelihood(batch, scale)
        return found

    def _likelihood(self, batch: BatchEvidence, scale: float) -> "_Told":
        logs = likelihood_of(batch, SHARES)
        found = [logs(location, scale) for location in self._fine]
        top = max(map(max, found))
        own = [[math.exp(one - top) for one in row] for row in found]
        means = [[dot(row, beta) for row in own] for beta in self._of_batch]
        return _Told(turned(own), means, top)

    def _add(
        self,
        sums: "list[list[_Sum | None]]",
        told: "list[list[_Told]]",
        moves: "_Moves",
        setting: "_Setting",
    ) -> None:
        """Add what one setting of the spreads says of every batch."""
        of = [[_upward(one, moves) for one in some] for some in told]
        ups = [self._to_crop(product(some), moves) for some in of]
        for c, some in enumerate(told):
            if not any(sums[c]):
                continue
            crop = times(Scaled(self._top), without(ups, c))
            down = self._to_mean(crop, moves)
            for b, one in enumerate(some):
                into = sums[c][b]
                if into is not None:
                    mean = times(down, without(of[c], b))
                    self._book(into, one, mean, moves, setting)

    def _to_crop(self, told: "Scaled | None", moves: "_Moves") -> "Scaled | None":
        """Return what a cultivar says of its crop."""
        if told is None:
            return None
        narrowed = mixed(self._of_cultivar, told.rows)
        return Scaled(
            [moves.to_cultivar.back(row) for row in narrowed], told.log
        ).even()

    def _to_mean(self, told: "Scaled", moves: "_Moves") -> "Scaled":
        """Return a cultivar's chances from its crop's."""
        moved = [moves.to_cultivar.on(row) for row in told.rows]
        return Scaled(mixed(turned(self._of_cultivar), moved), told.log).even()

    def _book(
        self,
        into: "_Sum",
        told: "_Told",
        mean: "Scaled",
        moves: "_Moves",
        setting: "_Setting",
    ) -> None:
        """Add a batch's chances under one setting of the spreads."""
        moved = [moves.to_batch.on(row) for row in mean.rows]
        if told.own is None or told.means is None:
            by_location = summed(moved)
            sums = [[sum(row)] * len(SHARES) for row in moved]
        else:
            by_location = summed(
                [list(map(mul, a, b)) for a, b in zip(moved, told.means, strict=True)]
            )
            sums = [[dot(row, own) for own in told.own] for row in moved]
        by_share = summed(
            [list(map(mul, a, b)) for a, b in zip(sums, self._of_batch, strict=True)]
        )
        doubt = variance(self._coarse, even(summed(mean.rows)))
        log = mean.log + told.top + setting.log
        into.add(_Part(log, setting.at, by_location, by_share, doubt))


def _upward(told: "_Told", moves: "_Moves") -> "Scaled | None":
    """Return what a batch says of its cultivar: mean share and location."""
    if told.means is None:
        return None
    return Scaled([moves.to_batch.back(row) for row in told.means], told.top).even()


@dataclass(frozen=True, slots=True)
class _Moves:
    """Spreads from cultivar to batch and from crop to cultivar."""

    to_batch: Bells
    to_cultivar: Bells


@dataclass(frozen=True, slots=True)
class _Setting:
    """One way in which spreads may be."""

    at: int
    log: float


@dataclass(frozen=True, slots=True)
class _Told:
    """Likelihood of a batch: by share and location, and by mean share and location."""

    own: Table | None
    means: Table | None
    top: float


_NOTHING_TOLD = _Told(None, None, 0.0)

Tables = dict[tuple[BatchEvidence, float], _Told]
"""Likelihoods by evidence and spread."""


@dataclass(frozen=True, slots=True)
class _Part:
    """Chances of one batch under one setting of the spreads.

    Attributes:
        log: Logarithm of what they are to be multiplied by.
        scale: Which spread within the batch.
        by_location: By location.
        by_share: By share.
        variance: Of where the batch would be before anybody looked at it.
    """

    log: float
    scale: int
    by_location: Row
    by_share: Row
    variance: float


class _Sum:
    """Chances of one batch, added up over all settings of the spreads."""

    def __init__(self, locations: Row, scales: tuple[float, ...]) -> None:
        self._locations, self._scales = locations, scales
        self._parts: list[_Part] = []

    def add(self, part: _Part) -> None:
        """Add the chances of one setting."""
        self._parts.append(part)

    def posterior(self, doubt: float) -> Posterior:
        """Return all of it together."""
        logs = [
            one.log + math.log(max(sum(one.by_location), 1e-300)) for one in self._parts
        ]
        top = max(logs)
        weights = [[0.0] * len(self._locations) for _ in self._scales]
        shares = [0.0] * len(SHARES)
        center = total = 0.0
        for one, log in zip(self._parts, logs, strict=True):
            chance = math.exp(log - top)
            factor = chance / sum(one.by_location)
            weights[one.scale] = plus(weights[one.scale], factor, one.by_location)
            shares = plus(shares, factor, one.by_share)
            center += chance * one.variance
            total += chance
        chances = [[one / total for one in row] for row in weights]
        by_location = [sum(column) for column in turned(chances)]
        own = self._own(doubt, center / total, variance(self._locations, by_location))
        return Posterior(
            tuple(self._locations),
            self._scales,
            tuple(map(tuple, chances)),
            SHARES,
            tuple(even(shares)),
            own,
        )

    def _own(self, doubt: float, center: float, location: float) -> float:
        """Return how much less is in doubt than with the crop file alone."""
        factors = sum(chance * factor**2 for factor, chance in BETWEEN_FACTORS)
        of_center = doubt + factors * BETWEEN_CULTIVARS**2
        of_batch = of_center + factors * BETWEEN_BATCHES**2
        known = max(1 - center / of_center, 1 - location / of_batch)
        return min(1.0, max(0.0, known))
