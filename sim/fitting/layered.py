"""Three lags: the medium in two halves, where a log shows that it takes two.

Heat climbs through the medium: the half near the mat, in which the probe lies,
warms before the rest. Taken for one, its slow lag comes out too short by a
seventh, and gain and offset lean on how the log was written. So a log is asked
whether two halves predict its readings better (by likelihood, as Bacher,
Madsen 2011, Energy and Buildings 43:1511-1522, choose the order of a model;
from memory), and if so gain, offset and lags are theirs:

    dx1/dt = -(x1 - x2) / mat_s + heat * u
    dx2/dt = 2 coupling * (x1 - x2) / mat_s - (x2 - x3) / between_s
    dx3/dt = (x2 - x3) / between_s - (x3 - room - offset_k) / outer_s + push

with x2 what the probe sees. What may live here: this model and its search.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from sim.fitting.filtering import (
    Filters,
    Stepped,
    filters_of,
    regressors,
    slopes,
    solved,
)
from sim.fitting.fitted import Noise
from sim.fitting.innovations import LEAST_GAIN_K, USUAL_COUPLING, Found
from sim.fitting.sight import Sight
from sim.thermal import Matrix, Vector
from sim.zone_model import Zone

PROVEN = 20.0
"""Chosen: twice the logarithm of the likelihood ratio that says it takes two
halves. By chance alone 10.8 is exceeded once in a thousand logs (chi-square,
one degree of freedom); real errors are not quite as chance has them."""

_LEAST = np.log([20.0, 100.0, 200.0, 1e-8])
_MOST = np.log([2e4, 1e5, 4e5, 0.3])
"""Chosen: mat_s, between_s, outer_s [s] and noise ratio [1/s] that are searched."""

_STARTS = ((3_000.0, 0.55), (1_000.0, 0.8), (8_000.0, 0.4))
"""Chosen: between_s [s], and outer_s as a share of the slow time of two lags."""

INSIDE = _LEAST, _MOST

_FEW = 15
_TIMES = 3
_EDGE = 1e-3

PROBE = 1
"""The temperature that the probe sees."""


@dataclass(frozen=True, slots=True)
class Layered:
    """The model of three lags that predicts best.

    Attributes:
        where: Logarithms of mat_s, between_s, outer_s and the noise ratio.
        gain_k: Rise of the probe above room and offset at full power [K].
        offset_k: What it is warmer than the room without heat [K].
        noise: Standard deviations.
        errors: Of the predictions in all windows [K].
    """

    where: Vector
    gain_k: float
    offset_k: float
    noise: Noise
    errors: Vector

    @property
    def credible(self) -> bool:
        """Whether a bench can be so: it warms, and no time lies at its limit."""
        times = self.where[:_TIMES]
        low, high = _LEAST[:_TIMES] + _EDGE, _MOST[:_TIMES] - _EDGE
        inside = np.all((times > low) & (times < high))
        return self.gain_k >= LEAST_GAIN_K and bool(inside)

    @property
    def lags_s(self) -> Vector:
        """The three time constants, the slow one first [s]."""
        return lags_at(self.where)

    def zone(self, name: str, *, at_mat: bool) -> Zone:
        """Return it as a zone.

        Raises:
            ValueError: The gain is not above 0.
        """
        mat_s, between_s, outer_s, _ = np.exp(self.where).tolist()
        return Zone(
            name=name,
            gain_k=self.gain_k,
            mat_s=mat_s,
            medium_s=outer_s,
            coupling=USUAL_COUPLING,
            offset_k=self.offset_k,
            at_mat=at_mat,
            between_s=between_s,
        )


def layered(seen: Sight, two: Found) -> Layered | None:
    """Return the best model of three lags; None: two say as much.

    Args:
        seen: What a probe in a medium offers.
        two: The best model of two lags.
    """

    def errors(where: Vector) -> Vector:
        return solved(_rows_at(seen, where))[1]

    start = min(starts(two), key=lambda where: float(np.sum(errors(where) ** 2)))
    # Where two lags say it all the search finds no end: some steps will show it.
    first = least_squares(errors, start, bounds=INSIDE, ftol=1e-5, max_nfev=_FEW)
    if not _proven(seen, two, first.fun):
        return None
    search = least_squares(errors, first.x, bounds=INSIDE, xtol=1e-4, ftol=1e-8)
    (gain_k, offset_k), left = solved(_rows_at(seen, search.x))
    noise = _noise(seen, search.x, left)
    found = Layered(search.x, float(gain_k), float(offset_k), noise, left)
    return found if found.credible else None


def starts(two: Found) -> list[Vector]:
    """Return where a search of three lags may begin, given the best of two."""
    mat, medium, ratio = two.where[:3].tolist()
    return [
        np.clip(
            [mat, np.log(between), medium + np.log(share), ratio],
            _LEAST + _EDGE,
            _MOST - _EDGE,
        )
        for between, share in _STARTS
    ]


def _proven(seen: Sight, two: Found, left: Vector) -> bool:
    """Return whether the errors left are too small for two lags."""
    better = np.log(np.sum(two.errors**2) / np.sum(left**2))
    return bool(seen.counted * better > PROVEN)


def layer_sensitivities(seen: Sight, found: Layered) -> Matrix:
    """Return what each parameter changes in each prediction's error [K].

    Columns: ln gain_k, offset_k [per K], and the search's coordinates.
    """

    def rows_at(where: Vector) -> Matrix:
        return _rows_at(seen, where)

    return slopes(rows_at, found.where, found.gain_k, found.offset_k)


def lags_at(where: Vector, leak: float = 0.0) -> Vector:
    """Return the time constants at a place of the search, the slow one first [s].

    Args:
        where: The place.
        leak: As for rates_at.
    """
    decays = -np.linalg.eigvals(rates_at(where, leak)).real
    return np.sort(1 / decays)[::-1]


def inside(where: Vector) -> Vector:
    """Return the place nearest to one at which no time lies at its limit."""
    near = where.copy()
    low, high = _LEAST[:_TIMES] + 2 * _EDGE, _MOST[:_TIMES] - 2 * _EDGE
    near[:_TIMES] = np.clip(where[:_TIMES], low, high)
    return near


def held(seen: Sight, gain_k: float, offset_k: float, near: Layered) -> Layered:
    """Return the three lags that predict best with a given gain and offset.

    Args:
        seen: What a probe in a medium offers.
        gain_k: The gain [K].
        offset_k: The offset [K].
        near: A model from which the answer lies not far.
    """
    whole = np.array([1.0, -gain_k, -1.0, -offset_k])

    def errors(where: Vector) -> Vector:
        return np.asarray(_rows_at(seen, where) @ whole, dtype=np.float64)

    start = inside(near.where)
    search = least_squares(errors, start, bounds=INSIDE, xtol=1e-5, ftol=1e-8)
    left = errors(search.x)
    return Layered(search.x, gain_k, offset_k, _noise(seen, search.x, left), left)


def _noise(seen: Sight, where: Vector, left: Vector) -> Noise:
    by = _filters_at(seen, where)
    reading_k = float(np.sqrt(np.sum(left**2) / seen.counted / by.inflation))
    return Noise(float(np.exp(where[3])) * reading_k, reading_k)


def _rows_at(seen: Sight, where: Vector) -> Matrix:
    return regressors(seen, _filters_at(seen, where))


def _filters_at(seen: Sight, where: Vector) -> Filters:
    step = stepped(rates_at(where), seen.step_s)
    return filters_of(step, float(np.exp(where[3])), PROBE)


def rates_at(where: Vector, leak: float = 0.0) -> Matrix:
    """Return how fast each temperature follows each [1/s].

    Args:
        where: A place of the search.
        leak: What the mat loses to the room past the medium, for 1 that it
            gives to the medium.
    """
    mat_s, between_s, outer_s, _ = np.exp(where).tolist()
    up, across, out = 1 / mat_s, 1 / between_s, 1 / outer_s
    into = 2 * USUAL_COUPLING * up
    return np.array(
        [
            [-up - leak * up, up, 0],
            [into, -into - across, across],
            [0, across, -across - out],
        ]
    )


def stepped(rates: Matrix, step_s: float) -> Stepped:
    """Return the exact step, by the modes: real, since capacities exchange heat.

    Args:
        rates: How fast each temperature follows each; what a row leaves is how
            fast it follows the room [1/s].
        step_s: Length of the step [s].
    """
    turned, vectors = np.linalg.eig(rates)
    to_state = np.asarray(np.real(vectors), dtype=np.float64)
    of_state = np.linalg.inv(to_state)
    decays = np.asarray(-np.real(turned), dtype=np.float64)
    inputs = np.zeros((3, 3))
    inputs[0, 0] = 1 / float(to_state[PROBE] @ (of_state[:, 0] / decays))
    inputs[:, 1], inputs[2, 2] = -rates.sum(axis=1), 1.0
    decay = np.exp(-decays * step_s)
    gains = -np.expm1(-decays * step_s) / decays
    by = to_state @ (gains[:, np.newaxis] * (of_state @ inputs))
    carry = to_state @ (decay[:, np.newaxis] * of_state)
    return Stepped(carry, decay, by[:, 0], by[:, 1], by[:, 2])
