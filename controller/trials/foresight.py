"""What a trial could tell, before a single cutting is stuck.

The smallest p that can come out, and how often a stated difference would be found.
Exactly where single cuttings are compared by Boschloo's test, else by trials that
never were, drawn from the plan's own seed. What may live here: that.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations, product

from controller.trials.dispersion import design_effect
from controller.trials.exact import needed_fisher, power_boschloo, smallest_boschloo
from controller.trials.observed import by_times
from controller.trials.permutation import (
    Sizes,
    Unit,
    by_randomisation,
    labellings,
    smallest_p,
)
from controller.trials.shuffling import Shuffler
from controller.trials.simulated import HOURS, Spot, Truth, grown
from controller.trials.verdict import ALPHA, Chosen

RUNS = 1_000
"""Chosen: a power of one half is then known to within 3 in a hundred."""

_LABELLINGS = 499
_STEADY_C = 20.0
_BASE_C = 10.0


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference that one would not want to miss.

    Attributes:
        low: The share of the poorer arm.
        high: That of the better one.
        alike: Correlation of two cuttings of one unit.
        faster: By how much the better arm is faster.
        median_days: When one half of the poorer arm has rooted.
        every_days: Looks every so many days.
        until_days: The last look.
    """

    low: float = 0.6
    high: float = 0.8
    alike: float = 0.05
    faster: float = 1.5
    median_days: float = 18.0
    every_days: float = 7.0
    until_days: float = 35.0


@dataclass(frozen=True, slots=True)
class Foresight:
    """What a trial could tell.

    Attributes:
        smallest: The smallest p that can come out, of two arms.
        alpha: The p at which a difference is said to be one, of two arms.
        power: How often the stated difference would be found.
        cuttings: How many each arm has.
        needed: How many each arm would need for power 0.8 if every cutting stood
            for itself (Fisher's test; shares only); None: more than 2,000.
        effect: By how much more, since cuttings share a unit.
    """

    smallest: float
    alpha: float
    power: float
    cuttings: int
    needed: int | None
    effect: float

    @property
    def can_answer(self) -> bool:
        """Whether any outcome at all could lead to a verdict."""
        return self.smallest <= self.alpha


@dataclass(frozen=True, slots=True)
class Design:
    """A plan as far as its power goes.

    Attributes:
        blocks: Units of two of its arms, "a" and "b", block by block.
        cuttings: In each unit.
        arms: How many arms there are in all.
        chosen: The test.
        seed: Of the plan.
        alpha: The p at which a difference is said to be one.
    """

    blocks: Sizes
    cuttings: int
    arms: int
    chosen: Chosen
    seed: int
    alpha: float = ALPHA


def foreseen(design: Design, stated: Difference, runs: int = RUNS) -> Foresight:
    """Return what a trial of two arms, or two of its arms, could tell.

    With more arms, each pair is tested at alpha over the number of pairs.

    Args:
        design: The plan.
        stated: The difference.
        runs: How many trials that never were.
    """
    alpha = design.alpha / math.comb(design.arms, 2)
    units = _units(design.blocks)
    each = sum(arm == "a" for arm, _ in units)
    if design.chosen is Chosen.BOSCHLOO:
        smallest = smallest_boschloo(each, each)
        power = power_boschloo(stated.low, each, stated.high, each, alpha)
    else:
        smallest = smallest_p(design.blocks)
        power = 0.0
        if smallest <= alpha:
            power = _simulated(design, stated, alpha, runs)
    times = design.chosen is Chosen.TIMES
    needed = None if times else needed_fisher(stated.low, stated.high, alpha=alpha)
    effect = design_effect(design.cuttings, stated.alike)
    return Foresight(smallest, alpha, power, each * design.cuttings, needed, effect)


def _units(blocks: Sizes) -> list[tuple[str, str]]:
    return [
        (arm, f"{n}")
        for n, block in enumerate(blocks)
        for arm, count in block.items()
        for _ in range(count)
    ]


# ------------------------------------------------------------ trials that never were


def _simulated(design: Design, stated: Difference, alpha: float, runs: int) -> float:
    """Return the power of a test by randomisation.

    Of single cuttings few numbers differ, and every labelling is counted; else one
    set of labellings, all of them or as many drawn, serves every run.
    """
    stream = Shuffler(design.seed)
    units = _units(design.blocks)
    one = _by_times if design.chosen is Chosen.TIMES else _by_shares
    draw = one(units, design.cuttings, stated)
    p_of = _counted(units)
    if design.cuttings > 1:
        labels = list(_labellings(design.blocks, stream))
        p_of = partial(_p, labels)
    return sum(p_of(draw(stream)) <= alpha for _ in range(runs)) / runs


def _counted(units: Sequence[tuple[str, str]]) -> Callable[[Sequence[float]], float]:
    def p_of(values: Sequence[float]) -> float:
        told = zip(units, values, strict=True)
        return by_randomisation([Unit(*unit, value) for unit, value in told]).p

    return p_of


def _p(labels: Sequence[Sequence[float]], values: Sequence[float]) -> float:
    apart = [
        abs(sum(weight * value for weight, value in zip(label, values, strict=True)))
        for label in labels
    ]
    least = apart[0] - 1e-9
    return sum(one >= least for one in apart) / len(apart)


def _labellings(blocks: Sizes, stream: Shuffler) -> Iterator[tuple[float, ...]]:
    """Yield weights of the units under labellings; the first is the plan's own."""
    own = [_weights(block["a"], sum(block.values())) for block in blocks]
    if labellings(blocks) <= _LABELLINGS:
        every = [list(_choices(block["a"], sum(block.values()))) for block in blocks]
        for several in product(*every):
            yield tuple(weight for block in several for weight in block)
        return
    yield tuple(weight for block in own for weight in block)
    for _ in range(_LABELLINGS):
        yield tuple(weight for block in own for weight in stream.shuffled(block))


def _weights(chosen: int, total: int) -> list[float]:
    return [1 - chosen / total] * chosen + [-chosen / total] * (total - chosen)


def _choices(chosen: int, total: int) -> Iterator[list[float]]:
    for taken in combinations(range(total), chosen):
        yield [(n in taken) - chosen / total for n in range(total)]


_Draw = Callable[[Shuffler], list[float]]


def _by_shares(
    units: Sequence[tuple[str, str]], cuttings: int, stated: Difference
) -> _Draw:
    def draw(stream: Shuffler) -> list[float]:
        return [
            stream.successes(
                cuttings, stated.high if arm == "a" else stated.low, stated.alike
            )
            for arm, _ in units
        ]

    return draw


def _by_times(
    units: Sequence[tuple[str, str]], cuttings: int, stated: Difference
) -> _Draw:
    a_day = HOURS * (_STEADY_C - _BASE_C)
    truth = Truth(
        stated.median_days * a_day,
        base_c=_BASE_C,
        faster=(("a", stated.faster),),
        spread=spread_of(stated.alike),
        every_days=stated.every_days,
        until_days=stated.until_days,
    )
    spots = [
        Spot(f"{n}", arm, block, cuttings, _STEADY_C)
        for n, (arm, block) in enumerate(units)
    ]

    def draw(stream: Shuffler) -> list[float]:
        values: Sequence[Unit] = by_times(grown(spots, truth, stream))
        return [unit.value for unit in values]

    return draw


def spread_of(alike: float, shape: float = 3.0) -> float:
    """Return the spread of units that correlates the ln of times of two cuttings so.

    The ln of a Weibull time has the variance pi^2 / 6 / shape^2.
    """
    own = math.pi**2 / 6 / shape**2
    return math.sqrt(own * alike / (1 - alike)) if alike < 1 else math.inf
