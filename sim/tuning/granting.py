"""Which candidate grants a wish, which are as good, and what to say if none does.

What may live here: that choice. A constraint holds when the unfavourable end of
its interval does; among candidates that the log does not tell apart the one that
changes the least is taken, but none that may be no better than the present way
where the best surely is.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.tuning.changes import changes
from sim.tuning.figures import Figures
from sim.tuning.jackknifed import Predicted, half_width, tied_with
from sim.tuning.slack import slack
from sim.tuning.wishes import Constraint, Wish

OWN = 0
"""Index of the mat as it is kept now, among its candidates."""

Truths = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Granted:
    """A wish that can be had.

    Attributes:
        chosen: The candidate that is recommended.
        best: The one with least of what there shall be least of.
        tied: Candidates that the log does not tell from the best, it included,
            best first.
        meeting: How many candidates meet all that must hold.
        surely: Whether the chosen one is told to be better than the present way.
    """

    chosen: int
    best: int
    tied: tuple[int, ...]
    meeting: int
    surely: bool


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A constraint, and how near candidates come to it.

    Attributes:
        constraint: What must hold.
        best: The candidate that comes nearest to this one by itself.
        best_slack: By how much it meets it, at the unfavourable end.
        nearest_slack: By how much the nearest to all of them meets it.
    """

    constraint: Constraint
    best: int
    best_slack: float
    nearest_slack: float


@dataclass(frozen=True, slots=True)
class Impossible:
    """A wish that cannot be had.

    Attributes:
        nearest: The candidate that misses by least; None: there is none at all.
        shortfalls: For each constraint how near one comes to it.
    """

    nearest: int | None
    shortfalls: tuple[Shortfall, ...]


def grant(wish: Wish, figures: Figures, allowed: Truths) -> Granted | Impossible:
    """Return what grants a wish, or how near one comes to it.

    Args:
        wish: The wish.
        figures: What became of each candidate; the first is the present way.
        allowed: Which candidates may be recommended, shape (C,).

    Raises:
        WishError: It asks for what is not there.
    """
    among = allowed & meeting(wish, figures)
    if not among.any():
        return _impossible(wish, figures, allowed)
    cost = figures.costs(wish.goal)
    best = int(np.argmin(np.where(among, cost[:, 0], np.inf)))
    tied = tied_with(cost, best) & among
    better = _better(cost) & tied
    chosen = _least_changed(
        _ordered(better if better[best] else _near(cost, best) & tied, cost), figures
    )
    meet = int(among.sum())
    return Granted(chosen, best, _ordered(tied, cost), meet, bool(better[chosen]))


def meeting(wish: Wish, figures: Figures) -> Truths:
    """Return which candidates meet all that must hold, shape (C,).

    Raises:
        WishError: It asks for what is not there.
    """
    found = np.ones(len(figures.plans), dtype=np.bool_)
    for constraint in wish.constraints:
        found &= _surely(slack(figures, constraint)) >= 0
    return found


def best_of_kind(
    wish: Wish, figures: Figures, allowed: Truths, kind: str
) -> int | None:
    """Return the best candidate of a policy for a wish; None: none grants it."""
    of_kind = np.array([plan.policy.kind == kind for plan in figures.plans])
    found = grant(wish, figures, allowed & of_kind)
    return found.best if isinstance(found, Granted) else None


def _better(cost: Predicted) -> Truths:
    """Return which candidates are told to cost less than the present way does."""
    found: Truths = (cost[:, 0] < cost[OWN, 0]) & ~tied_with(cost, OWN)
    return found


def _near(cost: Predicted, best: int) -> Truths:
    """Return which candidates are expected no further from the best than the present.

    A tie may be as wide as a log is poor: the warmest of all settings is not to
    be recommended for the least energy because it is one.
    """
    away = np.abs(cost[:, 0] - cost[best, 0])
    found: Truths = ~(away > away[OWN])  # all, where the present way was never warm
    return found


def _ordered(among: Truths, cost: Predicted) -> tuple[int, ...]:
    """Return candidates, those that cost least first."""
    indices = np.flatnonzero(among).tolist()
    return tuple(sorted(indices, key=lambda index: float(cost[index, 0])))


def _surely(left: Predicted) -> NDArray[np.float64]:
    """Return the unfavourable end of each slack; without replicates the slack."""
    half = half_width(left)
    lower: NDArray[np.float64] = left[:, 0] - np.where(np.isfinite(half), half, 0.0)
    return lower


def _least_changed(tied: Sequence[int], figures: Figures) -> int:
    own = figures.plans[OWN]

    def turned(index: int) -> tuple[int, float, int]:
        keys = changes(own, figures.plans[index])
        operations = float(figures.operations[index, 0])
        return len(keys), operations, tied.index(index)

    return min(tied, key=turned)


def _impossible(wish: Wish, figures: Figures, allowed: Truths) -> Impossible:
    if not allowed.any():
        return Impossible(None, ())
    slacks = [_surely(slack(figures, one)) for one in wish.constraints]
    missed = np.zeros(len(allowed))
    for left in slacks:
        # Each in parts of what the candidates differ by in it: kWh and K together.
        spread = float(np.std(left[allowed])) or 1.0
        missed = np.maximum(missed, np.maximum(-left, 0) / spread)
    nearest = int(np.argmin(np.where(allowed, missed, np.inf)))
    found = []
    for constraint, left in zip(wish.constraints, slacks, strict=True):
        best = int(np.argmax(np.where(allowed, left, -np.inf)))
        best_slack, near_slack = float(left[best]), float(left[nearest])
        found.append(Shortfall(constraint, best, best_slack, near_slack))
    return Impossible(nearest, tuple(found))
