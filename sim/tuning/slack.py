"""By how much candidates meet what must hold.

What may live here: that, constraint by constraint.
"""

import numpy as np

from sim.tuning.figures import Figures
from sim.tuning.jackknifed import Predicted
from sim.tuning.wishes import (
    ROOTING_ASK,
    AtMostEnergy,
    AtMostOperations,
    Constraint,
    NeverAbove,
    NeverBelow,
    RootedBy,
    SumBy,
    WishError,
)


def slack(figures: Figures, constraint: Constraint) -> Predicted:
    """Return by how much each candidate meets a constraint; below 0 it does not.

    In K, kWh, operations, or hours before the end of the day. Of several trays
    the worst counts.

    Raises:
        WishError: It asks for a tray that is not there, for a day that no log
            answers for, or for a date of rooting where nobody said what stands
            for rooted.
    """
    if isinstance(constraint, NeverBelow | NeverAbove):
        found = _warmth(figures, constraint)
    elif isinstance(constraint, AtMostEnergy):
        found = constraint.energy_kwh - figures.energy_kwh
    elif isinstance(constraint, AtMostOperations):
        found = constraint.operations - figures.operations
    else:
        try:
            hours = figures.season.hours_to(constraint.day)
        except ValueError as error:
            raise WishError(f"{constraint}: {error}") from None
        found = hours - _after_h(figures, constraint)
    return found


def _warmth(figures: Figures, constraint: NeverBelow | NeverAbove) -> Predicted:
    found: Predicted
    if isinstance(constraint, NeverBelow):
        found = np.stack(figures.low_c).min(axis=0) - constraint.temp_c
    else:
        found = constraint.temp_c - np.stack(figures.high_c).max(axis=0)
    return found


def _after_h(figures: Figures, constraint: RootedBy | SumBy) -> Predicted:
    """Return after how many hours the sum is there."""
    if isinstance(constraint, RootedBy):
        if figures.rooting is None:
            raise WishError(ROOTING_ASK)
        trays = range(len(figures.trays))
        after: Predicted = np.stack([figures.rooted_after_h(n) for n in trays]).max(
            axis=0
        )
        return after
    if constraint.tray not in figures.trays:
        there = ", ".join(figures.trays)
        raise WishError(f"tray {constraint.tray}: there are {there}")
    gathered = figures.heat_k_h[figures.trays.index(constraint.tray)]
    return figures.season.after_h(gathered, constraint.heat_k_h)
