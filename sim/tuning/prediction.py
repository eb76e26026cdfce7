"""The interval in which a figure of a time to come is expected.

It joins what is unsure of the model with what no model knows of the days to
come. What may live here: that arithmetic, and the order of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from controller.core.plan import MatPlan
from sim.fitting.fitted import Fitted
from sim.fitting.record import Record
from sim.thermal import Vector
from sim.tuning.coming import Come, Coming, come
from sim.tuning.days import whole_days
from sim.tuning.extremes import Highest, highest
from sim.tuning.jackknifed import LEVEL, Interval, standard_error
from sim.tuning.retold import retold
from sim.tuning.stretch import counted
from sim.tuning.worlds import Tell, World

_SEED = 1
"""The same log is told the same whenever it is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """Figures of a time to come and their standard errors, each by its cause.

    Attributes:
        names: What each figure is, as stretch counts it.
        value: The mean over the draws, shape (F,).
        model: Of the fit, by jackknife, shape (F,).
        days: Of what the days will bring, shape (F,).
        lift: Of a lift above the room that the log does not have, shape (F,).
        loop: Of the loop, as the log's own days are told again, shape (F,).
        freedom: Degrees of freedom.
    """

    names: tuple[str, ...]
    value: Vector
    model: Vector
    days: Vector
    lift: Vector
    loop: Vector
    freedom: int

    def half(self, level: float = LEVEL) -> Vector:
        """Return half of each prediction interval, shape (F,).

        Raises:
            ValueError: The level is no share.
        """
        if not 0 < level < 1:
            raise ValueError(f"level = {level}: a share between 0 and 1 is needed")
        parts = self.model, self.days, self.lift, self.loop
        whole = np.sqrt(np.sum(np.square(parts), axis=0))
        return np.asarray(whole * stdtrit(self.freedom, (1 + level) / 2))

    def interval(self, name: str, level: float = LEVEL) -> Interval:
        """Return a figure with the interval in which it is expected.

        Raises:
            ValueError: There is no such figure, or the level is no share.
        """
        at = self.names.index(name)
        value, half = float(self.value[at]), float(self.half(level)[at])
        if not np.isfinite(half):
            return Interval(value, None, None)
        return Interval(value, value - half, value + half)


def foretell(
    record: Record,
    fits: Sequence[Fitted],
    found: Sequence[World],
    own: MatPlan,
    plan: MatPlan,
    coming: Coming,
    tell: Tell,
) -> Foretold:
    """Return what is to be expected of a candidate in a time to come.

    Args:
        record: What the log tells.
        fits: What was fitted to it.
        found: The fitted model, then its replicates, in the days of the log.
        own: How the mat was kept.
        plan: How it shall be kept.
        coming: The time to come.
        tell: Told of progress.

    Raises:
        ValueError: The record has too few whole days, or the time to come is
            not in whole days of its steps.
    """
    came = come(record, found, coming, plan, _SEED, tell)
    days = whole_days(record, int(coming.minutes[0]))
    what, value, of_days = counted(plan), came.drawn.mean(axis=0), _of_days(came)
    at = what.names.index("peak")
    value[at], of_days[at] = _peak(came, value[at], of_days[at])
    noises = [fit.noise.reading_k for fit in fits if fit.noise and not fit.at_mat]
    # A loop holds the reading, which errs by its noise and its resolution.
    told = retold(record, found[0], own, plan, days)
    off = np.maximum(told, what.hours * max(noises))
    return Foretold(
        names=what.names,
        value=value,
        model=_of_model(came),
        days=of_days,
        lift=_of_lift(came),
        loop=np.where(what.by_share > 0, off * value, off),
        freedom=came.days - 1,
    )


def _of_model(came: Come) -> Vector:
    """Return the jackknife's errors, of means over the same draws."""
    means = came.again.mean(axis=1)
    fitted = came.drawn.mean(axis=0)
    return standard_error(np.column_stack([fitted, means.T]))


def _of_days(came: Come) -> Vector:
    """Return the errors by what the days will bring.

    The spread of the draws, whose square is taken times n / (n - 1), since n
    days differ less from their own mean than from that of all days; and times
    1 + m / n for m days to come, since that mean is known from n days only: as
    for the mean of m further values of a sample of n (Hahn, Meeker 1991,
    Statistical Intervals, chapter 4, from memory).
    """
    n, m = came.days, came.taken
    variance: Vector = came.drawn.var(axis=0, ddof=1) * n / (n - 1) * (1 + m / n)
    return np.sqrt(variance)


def _peak(came: Come, value: float, error: float) -> Highest:
    """Return the highest temperature, which drawn days tell too low.

    The first day is left out, in which another setpoint is still approached,
    unless it is all there is; where it is what is highest, it stays so.
    """
    daily = came.daily_peak[:, 1:] if came.taken > 1 else came.daily_peak
    found = highest(daily, came.days)
    if found.value + found.error < value:
        return Highest(value, error)
    return Highest(max(value, found.value), max(error, found.error))


def _of_lift(came: Come) -> Vector:
    """Return the errors by a lift that the log does not have."""
    same = came.drawn[: came.lifted.shape[1]].mean(axis=0)
    away = came.lifted.mean(axis=1) - same
    total: Vector = np.sqrt(np.square(away).sum(axis=0))
    return total
