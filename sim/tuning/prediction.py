"""The interval in which a figure of a time to come is expected.

It joins what is unsure of the model with what no model knows of the days to
come. What may live here: that arithmetic.
"""

from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sim.tuning.jackknifed import LEVEL, Interval, standard_error

_LEAST_DAYS = 2


def prediction(
    drawn: NDArray[np.float64],
    again: NDArray[np.float64],
    days: int,
    taken: int,
    level: float = LEVEL,
) -> Interval:
    """Return a figure of a time to come, with the interval it is expected in.

    The variance is the sum of two. Of the model: the jackknife's, of the means
    of each replicate over the same draws. Of the days: that of the draws, times
    n / (n - 1), since n days differ less from their own mean than from that of
    all days; and times 1 + m / n for m days drawn, since that mean is known from
    n days only (as for the mean of m further values of a sample of n; Hahn,
    Meeker 1991, Statistical Intervals, section 4.7, from memory). Student's t
    of n - 1 degrees of freedom.

    Args:
        drawn: By the fitted model, one for each draw of days, shape (D,).
        again: By each replicate, over some of the same draws, shape (n, A).
        days: From how many days was drawn.
        taken: How many days each draw has.
        level: Share of such intervals that shall hold what comes.

    Raises:
        ValueError: Fewer than two days, or the level is no share.
    """
    if days < _LEAST_DAYS or not 0 < level < 1:
        raise ValueError(f"{days} days, level {level}: two days and a share are needed")
    value = float(drawn.mean())
    of_model = float(standard_error(np.append(value, again.mean(axis=1))[None])[0])
    if of_model == inf:
        return Interval(value, None, None)
    of_days = float(drawn.var(ddof=1)) * days / (days - 1) * (1 + taken / days)
    half = float(np.sqrt(of_model**2 + of_days)) * float(
        stdtrit(days - 1, (1 + level) / 2)
    )
    return Interval(value, value - half, value + half)
