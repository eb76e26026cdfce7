"""Batches of a crop pooled in part: each tells of the others, none decides alone.

The logarithm of a batch's median thermal time lies around its cultivar's, that around
its crop's, and that where the crop file says; how far from each other is known in
part only and learned, too. The share that roots goes the same way. All of it is
added up on grids: no sampling, no iteration, the same answer every time. What may
live here: that model. What it foretells of a batch is in forecast.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from operator import mul

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

_FINE, _COARSE = 0.04, 0.05
"""Chosen: steps of the grids of the logarithm; the narrowest curve on them has a
standard deviation of 0.06."""

_REACH = 4.0
"""Chosen: standard deviations that grids reach to both sides."""

SHARES = tuple((n + 0.5) / 24 for n in range(24))
_MEAN_SHARES = tuple((n + 0.5) / 16 for n in range(16))

Row = list[float]
Table = list[Row]


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
        return _dot(self.shares, self.share_weights)

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
    prior: Prior, cultivars: Sequence[Sequence[BatchEvidence]]
) -> list[list[Posterior]]:
    """Return what is known of each batch, from its own looks and all others'.

    Args:
        prior: What the crop file says.
        cultivars: Batches of one crop, cultivar by cultivar. One that nobody
            looked at brings nothing, and learns from the others.
    """
    return _Pool(prior, cultivars).done()


# ---------------------------------------------------------------------------- grids


class _Pool:
    """One crop: grids and the sums over them."""

    def __init__(
        self, prior: Prior, cultivars: Sequence[Sequence[BatchEvidence]]
    ) -> None:
        self._prior = prior
        self._cultivars = cultivars
        between = math.hypot(BETWEEN_BATCHES, BETWEEN_CULTIVARS) * 1.5
        middle = math.log(prior.median)
        wide = _REACH * math.hypot(prior.doubt, between)
        self._fine = _grid(middle, wide + 2 * BETWEEN_BATCHES, _FINE)
        self._coarse = _grid(middle, wide, _COARSE)
        top = [_bell((at - middle) / prior.doubt) for at in self._coarse]
        shares = _beta_row(prior.share, prior.weight, _MEAN_SHARES)
        self._top = [[one * share for share in shares] for one in _even(top)]
        self._of_batch = [
            _beta_row(mean, LIKE_CUTTINGS_BATCH, SHARES) for mean in _MEAN_SHARES
        ]
        self._of_cultivar = [
            _beta_row(mean, LIKE_CUTTINGS_CULTIVAR, _MEAN_SHARES)
            for mean in _MEAN_SHARES
        ]
        self._scales = tuple(prior.within * factor for factor, _ in WITHIN_FACTORS)

    def done(self) -> list[list[Posterior]]:
        """Go through all spreads; put together what each says of each batch."""
        sums = [
            [_Sum(self._fine, self._scales) for _ in one] for one in self._cultivars
        ]
        for n, scale in enumerate(self._scales):
            tables = [[self._table(b, scale) for b in one] for one in self._cultivars]
            for factor, chance in BETWEEN_FACTORS:
                weight = math.log(chance * WITHIN_FACTORS[n][1])
                self._add(sums, tables, _Setting(n, factor, weight))
        prior = self._prior.doubt**2
        return [[one.posterior(prior) for one in some] for some in sums]

    def _table(self, batch: BatchEvidence, scale: float) -> "_Told":
        """Return the likelihood of a batch on the fine grid, for one spread."""
        if not batch.tells:
            return _Told(None, None, 0.0)
        logs = likelihood_of(batch, SHARES)
        found = [logs(location, scale) for location in self._fine]
        top = max(map(max, found))
        own = [[math.exp(one - top) for one in row] for row in found]
        means = [[_dot(row, beta) for row in own] for beta in self._of_batch]
        return _Told(own, means, top)

    def _add(
        self, sums: "list[list[_Sum]]", told: "list[list[_Told]]", setting: "_Setting"
    ) -> None:
        """Add what one setting of the spreads says of every batch."""
        to_batch = _bells(self._coarse, self._fine, BETWEEN_BATCHES * setting.between)
        to_cultivar = _bells(
            self._coarse, self._coarse, BETWEEN_CULTIVARS * setting.between
        )
        of = [[self._upward(one, to_batch) for one in some] for some in told]
        whole = [_product(some) for some in of]
        ups = [self._to_crop(one, to_cultivar) for one in whole]
        for c, some in enumerate(told):
            crop = _times(_Scaled(self._top), _without(ups, c))
            down = self._to_mean(crop, to_cultivar)
            for b, one in enumerate(some):
                mean = _times(down, _without(of[c], b))
                self._book(sums[c][b], one, mean, to_batch, setting)

    def _upward(self, told: "_Told", to_batch: Table) -> "_Scaled | None":
        """Return what a batch says of its cultivar: location and mean share."""
        if told.means is None:
            return None
        rows = [[_dot(bell, column) for column in told.means] for bell in to_batch]
        return _Scaled(rows, told.top).even()

    def _to_crop(self, told: "_Scaled | None", to_cultivar: Table) -> "_Scaled | None":
        if told is None:
            return None
        narrowed = [
            [_dot(row, beta) for row in told.rows] for beta in self._of_cultivar
        ]
        rows = [[_dot(bell, column) for column in narrowed] for bell in to_cultivar]
        return _Scaled(rows, told.log).even()

    def _to_mean(self, told: "_Scaled", to_cultivar: Table) -> "_Scaled":
        """Return a cultivar's chances from its crop's."""
        columns = _turned(told.rows)
        moved = [
            [_dot(bell, column) for column in columns] for bell in _turned(to_cultivar)
        ]
        betas = _turned(self._of_cultivar)
        rows = [[_dot(row, beta) for beta in betas] for row in moved]
        return _Scaled(rows, told.log).even()

    def _book(
        self,
        into: "_Sum",
        told: "_Told",
        mean: "_Scaled",
        to_batch: Table,
        setting: "_Setting",
    ) -> None:
        """Add a batch's chances under one setting of the spreads."""
        columns = _turned(mean.rows)
        moved = [
            [_dot(bell, column) for column in columns] for bell in _turned(to_batch)
        ]
        betas = _turned(self._of_batch)
        rows = [[_dot(row, beta) for beta in betas] for row in moved]
        if told.own is not None:
            rows = [list(map(mul, a, b)) for a, b in zip(rows, told.own, strict=True)]
        chance = sum(map(sum, mean.rows))
        center = [sum(row) / chance for row in mean.rows] if chance else []
        variance = _variance(self._coarse, center) if center else 0.0
        log = mean.log + told.top + setting.log
        into.add(setting.at, rows, log, variance)


@dataclass(frozen=True, slots=True)
class _Setting:
    """One way in which spreads may be."""

    at: int
    between: float
    log: float


@dataclass(frozen=True, slots=True)
class _Told:
    """Likelihood of a batch: by location and share, and by mean share and location."""

    own: Table | None
    means: Table | None
    top: float


@dataclass(frozen=True, slots=True)
class _Scaled:
    """A table times e to some power, so that products of many stay in range."""

    rows: Table
    log: float = 0.0

    def even(self) -> "_Scaled":
        """Return the same with its largest entry 1."""
        top = max(map(max, self.rows))
        if top <= 0:
            return self
        return _Scaled(
            [[one / top for one in row] for row in self.rows], self.log + math.log(top)
        )


class _Sum:
    """Chances of one batch, added up over all settings of the spreads."""

    def __init__(self, locations: Row, scales: tuple[float, ...]) -> None:
        self._locations, self._scales = locations, scales
        self._parts: list[tuple[float, int, Row, Row, float]] = []

    def add(self, scale: int, rows: Table, log: float, center: float) -> None:
        """Add the chances of one setting."""
        by_location = [sum(row) for row in rows]
        by_share = [sum(column) for column in _turned(rows)]
        self._parts.append((log, scale, by_location, by_share, center))

    def posterior(self, doubt: float) -> Posterior:
        """Return all of it together."""
        top = max(
            log + math.log(max(sum(row), 1e-300)) for log, _, row, _, _ in self._parts
        )
        weights = [[0.0] * len(self._locations) for _ in self._scales]
        shares = [0.0] * len(SHARES)
        center = 0.0
        total = 0.0
        for log, scale, row, by_share, variance in self._parts:
            factor = math.exp(min(700.0, log - top))
            weights[scale] = [
                a + factor * b for a, b in zip(weights[scale], row, strict=True)
            ]
            shares = [a + factor * b for a, b in zip(shares, by_share, strict=True)]
            center += factor * sum(row) * variance
            total += factor * sum(row)
        chances = [[one / total for one in row] for row in weights]
        by_location = [sum(column) for column in _turned(chances)]
        own = self._own(doubt, center / total, _variance(self._locations, by_location))
        return Posterior(
            tuple(self._locations),
            self._scales,
            tuple(map(tuple, chances)),
            SHARES,
            tuple(one / total for one in shares),
            own,
        )

    def _own(self, doubt: float, center: float, location: float) -> float:
        """Return how much less is in doubt than with the crop file alone."""
        factors = sum(chance * factor**2 for factor, chance in BETWEEN_FACTORS)
        of_center = doubt + factors * BETWEEN_CULTIVARS**2
        of_batch = of_center + factors * BETWEEN_BATCHES**2
        known = max(1 - center / of_center, 1 - location / of_batch)
        return min(1.0, max(0.0, known))


# ----------------------------------------------------------------------- arithmetic


def _dot(one: Iterable[float], other: Iterable[float]) -> float:
    products: Iterable[float] = map(mul, one, other)
    return sum(products)


def _turned(table: Sequence[Sequence[float]]) -> Table:
    return list(map(list, zip(*table, strict=True)))


def _without(some: "Sequence[_Scaled | None]", at: int) -> "list[_Scaled | None]":
    return [one for n, one in enumerate(some) if n != at]


def _product(some: "Iterable[_Scaled | None]") -> "_Scaled | None":
    """Return the product of tables, cell by cell; of none there is none."""
    told = [one for one in some if one is not None]
    return _times(told[0], told[1:]) if told else None


def _times(whole: "_Scaled", some: "Iterable[_Scaled | None]") -> "_Scaled":
    """Return a table times others, cell by cell."""
    for one in some:
        if one is not None:
            pairs = zip(whole.rows, one.rows, strict=True)
            rows = [list(map(mul, a, b)) for a, b in pairs]
            whole = _Scaled(rows, whole.log + one.log).even()
    return whole


def _grid(middle: float, reach: float, step: float) -> Row:
    half = math.ceil(reach / step)
    return [middle + n * step for n in range(-half, half + 1)]


def _bell(standard: float) -> float:
    return math.exp(-0.5 * standard * standard)


def _even(row: Row) -> Row:
    total = sum(row)
    return [one / total for one in row]


def _bells(around: Row, grid: Row, spread: float) -> Table:
    """Return for each centre the chances of each point of a grid."""
    return [_even([_bell((at - centre) / spread) for at in grid]) for centre in around]


def _beta_row(mean: float, weight: float, at: Sequence[float]) -> Row:
    """Return the chances of shares around a mean, as so many cuttings would tell."""
    up, down = mean * weight - 1, (1 - mean) * weight - 1
    logs = [up * math.log(share) + down * math.log1p(-share) for share in at]
    top = max(logs)
    return _even([math.exp(one - top) for one in logs])


def _variance(at: Sequence[float], chances: Sequence[float]) -> float:
    mean = _dot(at, chances)
    return sum(c * (x - mean) ** 2 for x, c in zip(at, chances, strict=True))
