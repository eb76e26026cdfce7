"""The same log asked once more: what if the heat that nobody measures lasts?

Two lags, and three (`layered`), take the push for new in each step. Real sun,
evaporation and draughts last for hours, which a log of one setpoint cannot tell
from a slow medium or another gain, and no day that is left out says so: all of
them share it. So three lags are sought again with a push that fades over hours,
and a mat that loses a part of its heat past the medium (either alone bends gain
and lags in benches that have both). What that answers otherwise is an error.
What may live here: that other model and its search.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from sim.fitting.filtering import Stepped, filters_of, regressors, solved
from sim.fitting.innovations import LEAST_GAIN_K, Found
from sim.fitting.layered import (
    INSIDE,
    PROBE,
    fading,
    lags_at,
    rates_at,
    starts,
    stepped,
)
from sim.fitting.sight import Sight
from sim.thermal import Matrix, Vector

LEAK = 0.2
"""Chosen: what the mat loses past the medium, for 1 that it gives to it. 20 mm of
foam let 1.3 W/m²K through, a contact and half of a medium 7 and more."""

LASTS_S = 7_200.0
"""Chosen: after so long a push has faded to 1/e."""


@dataclass(frozen=True, slots=True)
class Lasting:
    """The model with a push that lasts that predicts best.

    Attributes:
        gain_k: Rise of the probe above room and offset at full power [K].
        offset_k: What it is warmer than the room without heat [K].
        lags_s: The three time constants, the slow one first [s].
    """

    gain_k: float
    offset_k: float
    lags_s: Vector


def lasting(seen: Sight, two: Found) -> Lasting | None:
    """Return the best model with a push that lasts; None: no bench can be so.

    Args:
        seen: What a probe in a medium offers.
        two: The best model of two lags.
    """

    def errors(where: Vector) -> Vector:
        return solved(_rows_at(seen, where))[1]

    start = min(starts(two), key=lambda where: float(np.sum(errors(where) ** 2)))
    # A way that is an error need not be found to the last digit.
    search = least_squares(errors, start, bounds=INSIDE, xtol=1e-3, ftol=1e-6)
    gain_k, offset_k = solved(_rows_at(seen, search.x))[0].tolist()
    if gain_k < LEAST_GAIN_K:
        return None
    return Lasting(gain_k, offset_k, lags_at(search.x, LEAK))


def _rows_at(seen: Sight, where: Vector) -> Matrix:
    ratio = float(np.exp(where[3]))
    step = lasting_step(where, seen.step_s)
    return regressors(seen, filters_of(step, ratio, PROBE))


def lasting_step(where: Vector, step_s: float) -> Stepped:
    """Return the exact step of three temperatures, and of the push as a fourth.

    Args:
        where: A place of the search.
        step_s: Length of the step [s].
    """
    bare = stepped(rates_at(where, LEAK), step_s)
    return fading(bare, float(np.exp(-step_s / LASTS_S)))
