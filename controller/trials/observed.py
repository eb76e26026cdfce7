"""What came of each unit of a trial: a pot or tray, its arm, its block, its times.

What may live here: that shape, and what is counted from it alone.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from controller.trials.censored import Seen
from controller.trials.permutation import Unit
from controller.trials.scores import Score, scores


@dataclass(frozen=True, slots=True)
class Observed:
    """One unit.

    Attributes:
        name: What it is called.
        arm: Its treatment.
        block: Within which its arm could have been another; empty: anywhere.
        seen: When its cuttings reached the end-point [days]; every one is in it,
            those not seen to reach it too.
        warm: The same in thermal time [K·h], by the base it is counted above [°C].
        mean_c: How warm it was on the whole [°C]; None: nobody knows.
    """

    name: str
    arm: str
    block: str
    seen: tuple[Seen, ...]
    warm: Mapping[float, tuple[Seen, ...]] = field(default_factory=dict)
    mean_c: float | None = None

    @property
    def n(self) -> int:
        """How many cuttings it has."""
        return round(sum(one.count for one in self.seen))

    def rooted(self, by: float = math.inf) -> int:
        """Return how many were seen to reach the end-point, by a time [days].

        Those of which the looks cannot tell do not count.
        """
        return round(
            sum(
                one.count
                for one in self.seen
                if one.right <= by and not math.isinf(one.right)
            )
        )


def arms_of(units: Iterable[Observed]) -> list[str]:
    """Return the arms, in the order in which they come."""
    return list(dict.fromkeys(unit.arm for unit in units))


def of_arms(units: Iterable[Observed], *arms: str) -> list[Observed]:
    """Return the units of some arms."""
    return [unit for unit in units if unit.arm in arms]


def seen_in(units: Iterable[Observed], base_c: float | None = None) -> list[Seen]:
    """Return what was seen of some units together.

    Args:
        units: The units.
        base_c: In thermal time above that base [K·h]; None: in days.
    """
    return [
        one
        for unit in units
        for one in (unit.seen if base_c is None else unit.warm[base_c])
    ]


def by_shares(units: Sequence[Observed], by: float = math.inf) -> list[Unit]:
    """Return each unit's share that reached the end-point, to be tested."""
    return [Unit(one.arm, one.block, one.rooted(by) / one.n) for one in units]


def by_times(
    units: Sequence[Observed], base_c: float | None = None, kind: Score = Score.SUN
) -> list[Unit]:
    """Return how early each unit's cuttings came, to be tested: mean log-rank scores.

    Args:
        units: The units, each with one cutting at least.
        base_c: In thermal time above that base; None: in days.
        kind: Which scores.
    """
    all_scores = iter(scores(seen_in(units, base_c), kind))
    found = []
    for unit in units:
        told = unit.seen if base_c is None else unit.warm[base_c]
        total = sum(next(all_scores) * one.count for one in told)
        found.append(Unit(unit.arm, unit.block, total / unit.n))
    return found


def mean_temp_c(units: Sequence[Observed]) -> float | None:
    """Return how warm units were on the whole [°C]; None: of one nobody knows."""
    temps = [unit.mean_c for unit in units if unit.mean_c is not None]
    return sum(temps) / len(temps) if temps and len(temps) == len(units) else None


def bases_of(units: Sequence[Observed]) -> list[float]:
    """Return the bases that thermal time of every unit is counted above [°C]."""
    if not units:
        return []
    common = set.intersection(*(set(unit.warm) for unit in units))
    return sorted(common)
