"""Trials that never were: what would be seen if so much were true.

Each cutting needs some thermal time, Weibull; a unit's cuttings share a part of
their luck; looks come every few days and show who has rooted since. For planning,
and for counting how often verdicts err. What may live here: making such trials.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.trials.censored import Seen
from controller.trials.observed import Observed
from controller.trials.shuffling import Shuffler

HOURS = 24


@dataclass(frozen=True, slots=True)
class Spot:
    """A unit before anything has happened to it.

    Attributes:
        name: What it is called.
        arm: Its treatment.
        block: Its block.
        cuttings: How many.
        temp_c: How warm it is [°C].
    """

    name: str
    arm: str
    block: str
    cuttings: int
    temp_c: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so.

    Attributes:
        median_kh: The thermal time by which one half of those that can have
            rooted [K·h].
        shape: Weibull shape of it.
        base_c: Above which it counts [°C].
        rootable: The share that can root at all.
        faster: By how much one arm needs less of it, by arm; 1: as the others.
        shares: Instead of rootable, by arm.
        spread: How far the units' own luck spreads: standard deviation of its ln.
        every_days: A look every so many days.
        until_days: The last look.
    """

    median_kh: float
    shape: float = 3.0
    base_c: float = 10.0
    rootable: float = 1.0
    faster: tuple[tuple[str, float], ...] = ()
    shares: tuple[tuple[str, float], ...] = ()
    spread: float = 0.0
    every_days: float = 7.0
    until_days: float = 35.0


def grown(
    spots: Sequence[Spot],
    truth: Truth,
    stream: Shuffler,
    bases_c: Sequence[float] = (),
) -> list[Observed]:
    """Return what is seen of some units.

    Args:
        spots: The units.
        truth: What is so.
        stream: Where luck comes from.
        bases_c: Above which thermal time is counted by whoever looks [°C].
    """
    return [_unit(spot, truth, stream, bases_c) for spot in spots]


def _unit(
    spot: Spot, truth: Truth, stream: Shuffler, bases_c: Sequence[float]
) -> Observed:
    luck = math.exp(truth.spread * stream.normal()) if truth.spread else 1.0
    faster = dict(truth.faster).get(spot.arm, 1.0)
    rootable = dict(truth.shares).get(spot.arm, truth.rootable)
    a_day = HOURS * max(0.0, spot.temp_c - truth.base_c)
    scale = truth.median_kh / math.log(2) ** (1 / truth.shape)
    seen: dict[tuple[float, float], int] = {}
    for _ in range(spot.cuttings):
        needs = math.inf
        if stream.unit() < rootable:
            needs = scale * (-math.log(stream.unit())) ** (1 / truth.shape)
            needs *= luck / faster
        days = needs / a_day if a_day else math.inf
        between = _between(days, truth)
        seen[between] = seen.get(between, 0) + 1
    told = tuple(Seen(*ends, count) for ends, count in sorted(seen.items()))
    warm = {base_c: in_kh(told, spot.temp_c, base_c) for base_c in bases_c}
    return Observed(spot.name, spot.arm, spot.block, told, warm, spot.temp_c)


def _between(days: float, truth: Truth) -> tuple[float, float]:
    """Return the looks between which something fell."""
    looks = math.floor(truth.until_days / truth.every_days + 1e-9)
    number = math.ceil(days / truth.every_days) if math.isfinite(days) else looks + 1
    if number > looks:
        return looks * truth.every_days, math.inf
    number = max(1, number)
    return (number - 1) * truth.every_days, number * truth.every_days


def in_kh(seen: Sequence[Seen], temp_c: float, base_c: float) -> tuple[Seen, ...]:
    """Return what was seen in days as thermal time at a steady temperature [K·h]."""
    a_day = HOURS * max(0.0, temp_c - base_c)
    return tuple(
        Seen(
            one.left * a_day,
            one.right if math.isinf(one.right) else one.right * a_day,
            one.count,
        )
        for one in seen
    )
