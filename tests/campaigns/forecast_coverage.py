"""Rooting foretold, and then rooted: do the windows hold what they say?

    ./dev forecasts [--batches 480] [--seed 1] [--workers 2] [--only census]

Each case is one batch of its own world, drawn from the population that the crop
file's values stand for: a crop's true thermal time, its cultivar's, its batches',
their spread, the share that roots, and then every single cutting. Before it the
grower had nought to six other batches of the crop, looked at in the usual ways. The
batch is foretold when it is stuck, again with half of the thermal time gone and
nobody having looked, and again after looks of three kinds. What is scored is the
very event: the half-way cutting of those that root. Degree-hours to come are off by
the 5 % that the forecast allows for. The window of 90 % must hold it in 85 to 95 of
100 cases of every row; the last row draws the crop two standard deviations off and
is shown apart, since no such promise is made there. Exit 1 if a row misses.
"""

import argparse
import math
import multiprocessing
import random
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from controller.cli.output import table
from controller.review.looks_as_evidence import half_of
from controller.trials.crops import prior_of
from controller.trials.forecast import AHEAD, HalfRooted, Known, rooting_of
from controller.trials.pooling import (
    BETWEEN_BATCHES,
    BETWEEN_CULTIVARS,
    LIKE_CUTTINGS_BATCH,
    LIKE_CUTTINGS_CULTIVAR,
    Posterior,
    Prior,
    Tables,
    posteriors,
)
from controller.trials.rooting_evidence import BatchEvidence, Extent, Pulled, Seen

LEAST, MOST = 0.85, 0.95
SPREADS_SD = 0.45
"""Spreads are drawn without steps, as wide as the three steps of the forecast."""

PRIORS = (
    Prior(median=1_900, doubt=0.13, within=0.18, share=0.9, weight=4),
    Prior(median=5_500, doubt=0.19, within=0.18, share=0.85, weight=4),
    Prior(median=10_000, doubt=0.36, within=0.26, share=0.65, weight=4),
    prior_of(None),
)
"""What crop files say: nearly known, roughly known, guessed, and unknown."""

WAYS = ("census", "some", "wall and tug")
HEAD = ("when", "cases", "in 90 %", "in 50 %", "median off", "window of 90 %")


@dataclass(frozen=True)
class Row:
    """One forecast and what came of it.

    Attributes:
        when: When it was made.
        in_90: Whether the window of 90 % held.
        in_50: Whether that of 50 % did.
        off: How far the median was off, as a logarithm.
        ratio: Upper end of the window of 90 % by its lower end.
    """

    when: str
    in_90: bool
    in_50: bool
    off: float
    ratio: float


def main(words: list[str] | None = None) -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(prog="./dev forecasts", description=__doc__)
    parser.add_argument("--batches", type=int, default=480, help="foretold (480)")
    parser.add_argument("--seed", type=int, default=1, help="of all draws (1)")
    parser.add_argument("--only", choices=WAYS, help="one way of looking alone")
    parser.add_argument("--workers", type=int, default=2, help="processes (2)")
    args = parser.parse_args(words)
    seeds = range(args.seed * 100_000, args.seed * 100_000 + args.batches)
    rows: list[Row] = []
    for done, one in enumerate(
        _cases([(seed, args.only) for seed in seeds], args.workers), start=1
    ):
        rows += one
        if sys.stderr.isatty():
            print(f"\r{done} of {args.batches}", end="", file=sys.stderr)
    cells, missed = told(rows)
    print(table(HEAD, cells))
    print(f"\noutside of {LEAST:.0%} to {MOST:.0%}: {', '.join(missed) or 'none'}")
    return 1 if missed else 0


def _cases(
    seeds: Sequence[tuple[int, str | None]], workers: int
) -> Iterator[list[Row]]:
    if workers == 1:
        yield from map(_case, seeds)
        return
    with multiprocessing.Pool(workers) as pool:
        yield from pool.imap_unordered(_case, seeds, chunksize=4)


def told(rows: Sequence[Row]) -> tuple[list[list[str]], list[str]]:
    """Return the table, and which of its rows miss."""
    cells, missed = [], []
    for when in dict.fromkeys(row.when for row in rows):
        own = [row for row in rows if row.when == when]
        held = sum(row.in_90 for row in own) / len(own)
        half = sum(row.in_50 for row in own) / len(own)
        off = math.sqrt(sum(row.off**2 for row in own) / len(own))
        ratio = sorted(row.ratio for row in own)[len(own) // 2]
        cells.append(
            [
                *(when, str(len(own)), f"{held:.1%}", f"{half:.1%}"),
                *(f"{100 * off:.0f} %", f"a factor of {ratio:.2f}"),
            ]
        )
        if not LEAST <= held <= MOST and when != APART:
            missed.append(when)
    return cells, missed


APART = "crop two deviations off"


def _case(asked: tuple[int, str | None]) -> list[Row]:
    return case(*asked)


def case(seed: int, only: str | None = None) -> list[Row]:
    """Foretell one batch, again and again; return how each time did."""
    draw = random.Random(seed)
    prior = PRIORS[seed % len(PRIORS)]
    rows = list(_rows(World(prior, draw), draw, only))
    if only is not None:
        return rows
    off = World(prior, draw, crop_sd=2.0 if draw.random() < 0.5 else -2.0)
    first = next(_rows(off, draw, None))
    return [*rows, replace(first, when=APART)]


class World:
    """A crop as it truly is."""

    def __init__(
        self, prior: Prior, draw: random.Random, crop_sd: float | None = None
    ) -> None:
        self.prior, self._draw = prior, draw
        self.known: Tables = {}
        standard = draw.gauss(0, 1) if crop_sd is None else crop_sd
        self._crop = math.log(prior.median) + prior.doubt * standard
        self._share = _beta(draw, prior.share, prior.weight)
        self._between = math.exp(draw.gauss(0, SPREADS_SD))
        self._within = prior.within * math.exp(draw.gauss(0, 0.75 * SPREADS_SD))
        self._cultivars: dict[int, tuple[float, float]] = {}

    def batch(self, cultivar: int, count: int | None = None) -> "Rooted":
        """Return a batch of a cultivar: when each of its cuttings roots.

        Args:
            cultivar: Which one.
            count: How many cuttings; None: that is drawn, too.
        """
        draw = self._draw
        if cultivar not in self._cultivars:
            wide = BETWEEN_CULTIVARS * self._between
            share = _beta(draw, self._share, LIKE_CUTTINGS_CULTIVAR)
            self._cultivars[cultivar] = draw.gauss(self._crop, wide), share
        at, mean = self._cultivars[cultivar]
        median = draw.gauss(at, BETWEEN_BATCHES * self._between)
        share = _beta(draw, mean, LIKE_CUTTINGS_BATCH)
        count = draw.choice((6, 10, 24, 50)) if count is None else count
        times = [
            math.exp(draw.gauss(median, self._within))
            if draw.random() < share
            else math.inf
            for _ in range(count)
        ]
        return Rooted(times)


@dataclass(frozen=True)
class Rooted:
    """When each cutting of a batch roots [K·h]; infinite: never."""

    times: Sequence[float]

    @property
    def half(self) -> float | None:
        """When the half-way one of those that root did; None: none roots."""
        rooting = sorted(time for time in self.times if time < math.inf)
        return rooting[math.ceil(len(rooting) / 2) - 1] if rooting else None

    def looked_at(
        self, way: str, ats: Sequence[float], draw: random.Random
    ) -> BatchEvidence:
        """Return the evidence of looks at some thermal times, of one kind."""
        count = len(self.times)
        seen: list[Seen] = []
        pulled: list[Pulled] = []
        some = max(3, count // 3)
        for at in ats:
            if way == "census":
                rooted = sum(time <= at for time in self.times)
                seen.append(Seen(at, count, rooted, Extent.ALL))
                continue
            picked = draw.sample(list(self.times), some)
            rooted = sum(time <= at for time in picked)
            if way == "some":
                seen.append(Seen(at, some, rooted, Extent.SOME))
                continue
            shown = sum(time <= at and draw.random() < 0.5 for time in picked)
            if shown:
                seen.append(Seen(at, some, shown, Extent.AT_LEAST))
            held = sum(draw.random() < (0.9 if time <= at else 0.25) for time in picked)
            pulled.append(Pulled(at, held, some - held, 0.9, 0.25))
        return BatchEvidence(count, tuple(seen), tuple(pulled))


def _rows(world: World, draw: random.Random, only: str | None) -> Iterator[Row]:
    earlier = [_earlier(world, draw) for _ in range(draw.randrange(7))]
    batch = world.batch(0)
    while batch.half is None:
        batch = world.batch(0)
    count = len(batch.times)
    fresh = BatchEvidence(count)
    if only is None:
        yield _row("when stuck", world, earlier, batch, fresh, 0.0, draw)
    so_far = world.prior.median / 2
    if only is None and so_far < batch.half:
        yield _row("half-way, no look", world, earlier, batch, fresh, so_far, draw)
    ats = [world.prior.median * part for part in (0.5, 0.75, 1.0)]
    for way in (only,) if only else WAYS:
        upto = [at for at in ats if at < batch.half][:3] or ats[:1]
        seen = batch.looked_at(way, upto, draw)
        yield _row(f"after looks: {way}", world, earlier, batch, seen, upto[-1], draw)


def _earlier(world: World, draw: random.Random) -> tuple[int, BatchEvidence]:
    cultivar = draw.randrange(3)
    batch = world.batch(cultivar)
    ats = [world.prior.median * part for part in (0.5, 0.8, 1.1, 1.5, 2.5)]
    return cultivar, batch.looked_at(draw.choice(WAYS), ats, draw)


def _row(
    when: str,
    world: World,
    earlier: Sequence[tuple[int, BatchEvidence]],
    batch: Rooted,
    seen: BatchEvidence,
    so_far: float,
    draw: random.Random,
) -> Row:
    cultivars: dict[int, list[BatchEvidence]] = {0: []}
    for cultivar, evidence in earlier:
        cultivars.setdefault(cultivar, []).append(evidence)
    cultivars[0].append(seen)
    last = len(cultivars[0]) - 1
    found = posteriors(
        world.prior,
        list(cultivars.values()),
        lambda c, b: (c, b) == (0, last),
        world.known,
    )
    of = found[0][-1]
    assert of is not None
    known = _known(seen, of, so_far)
    low, quarter, median, three, high = HalfRooted(of, known).quantiles(
        (0.05, 0.25, 0.5, 0.75, 0.95)
    )
    half = batch.half or math.nan
    if half > so_far:  # what is to come is not kept to the last degree-hour
        half = so_far + (half - so_far) * math.exp(draw.gauss(0, AHEAD))
    return Row(
        when,
        low <= half <= high,
        quarter <= half <= three,
        math.log(median / half),
        high / low,
    )


def _known(seen: BatchEvidence, of: Posterior, so_far: float) -> Known:
    """Return what is certain of the half-way one, as the bench works it out."""
    rooting = rooting_of(of, seen)
    first, last = half_of(rooting.low), half_of(rooting.high)
    after, by = 0.0, None
    for one in seen.seen:
        without = 0 if one.extent is Extent.AT_LEAST else one.of - one.rooted
        if one.rooted >= last and by is None:
            by = one.at
        if (seen.count or 0) - without < first:
            after = max(after, one.at)
    if by is not None and after >= by:
        return Known(so_far, rooting=rooting.mean)
    return Known(so_far, after, by, rooting.mean)


def _beta(draw: random.Random, mean: float, weight: float) -> float:
    return min(0.999, max(0.001, draw.betavariate(mean * weight, (1 - mean) * weight)))


if __name__ == "__main__":
    sys.exit(main())
