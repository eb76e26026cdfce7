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

with x2 what the probe sees. A place of such a search may have two coordinates
more: what the mat leaks past the medium, and how long a push lasts (`leaking`).
What may live here: this model with and without these, and its search without.
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

MOST_LEAK = 1.0
"""Chosen: a mat that gave as much to the room as to the medium would be noticed."""

_LEAST = np.array([*np.log([20.0, 100.0, 200.0, 1e-8]), 0.0, np.log(300.0)])
_MOST = np.array([*np.log([2e4, 1e5, 4e5, 0.3]), MOST_LEAK, np.log(1e5)])
"""Chosen: mat_s, between_s, outer_s [s], noise ratio [1/s], leak [-] and how long a
push lasts [s] that are searched; of the leak itself, of the others logarithms."""

_STARTS = ((3_000.0, 0.55), (1_000.0, 0.8), (8_000.0, 0.4))
"""Chosen: between_s [s], and outer_s as a share of the slow time of two lags."""

PLAIN = 4
"""So many coordinates a place has without leak and lasting push."""

INSIDE = _LEAST[:PLAIN], _MOST[:PLAIN]
INSIDE_LEAKING = _LEAST, _MOST

_FEW = 15
_TIMES, _RATIO, _LEAK, _LASTS = 3, 3, 4, 5
_EDGE = 1e-3

PROBE = 1
"""The temperature that the probe sees."""


@dataclass(frozen=True, slots=True)
class Layered:
    """The model of three lags that predicts best.

    Attributes:
        where: Logarithms of mat_s, between_s, outer_s and the noise ratio; then,
            if it is so, the leak and the logarithm of how long a push lasts.
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
        low, high = _LEAST + _EDGE, _MOST - _EDGE
        low[_RATIO], high[_RATIO] = -np.inf, np.inf
        low[_LEAK] = -np.inf  # none at all is one, too
        size = len(self.where)
        within = (self.where > low[:size]) & (self.where < high[:size])
        return self.gain_k >= LEAST_GAIN_K and bool(within.all())

    @property
    def lags_s(self) -> Vector:
        """The three time constants, the slow one first [s]."""
        return lags_at(self.where, leak_at(self.where))

    def zone(self, name: str, *, at_mat: bool) -> Zone:
        """Return it as a zone.

        Raises:
            ValueError: The gain is not above 0.
        """
        mat_s, between_s, outer_s = np.exp(self.where[:_TIMES]).tolist()
        return Zone(
            name=name,
            gain_k=self.gain_k,
            mat_s=mat_s,
            medium_s=outer_s,
            coupling=USUAL_COUPLING,
            offset_k=self.offset_k,
            at_mat=at_mat,
            between_s=between_s,
            leak=leak_at(self.where),
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
    found = best_from(seen, first.x, INSIDE)
    return found if found.credible else None


def starts(two: Found) -> list[Vector]:
    """Return where a search of three lags may begin, given the best of two."""
    mat, medium, ratio = two.where[:3].tolist()
    return [
        np.clip(
            [mat, np.log(between), medium + np.log(share), ratio],
            INSIDE[0] + _EDGE,
            INSIDE[1] - _EDGE,
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


def leak_at(where: Vector) -> float:
    """Return what the mat leaks at a place of a search; 0 below 0, as by a move."""
    return max(0.0, float(where[_LEAK])) if len(where) > PLAIN else 0.0


def inside(where: Vector) -> Vector:
    """Return the place nearest to one at which nothing but noise is at a limit."""
    size = len(where)
    low, high = _LEAST + 2 * _EDGE, _MOST - 2 * _EDGE
    low[_RATIO], high[_RATIO] = -np.inf, np.inf
    return np.clip(where, low[:size], high[:size])


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
    bounds = _LEAST[: len(start)], _MOST[: len(start)]
    search = least_squares(errors, start, bounds=bounds, xtol=1e-5, ftol=1e-8)
    left = errors(search.x)
    return Layered(search.x, gain_k, offset_k, _noise(seen, search.x, left), left)


def best_from(seen: Sight, start: Vector, bounds: tuple[Vector, Vector]) -> Layered:
    """Return the model that predicts best, from where a search may begin.

    Args:
        seen: What a probe in a medium offers.
        start: A place, with or without leak and lasting push.
        bounds: Within which to search.
    """

    def errors(where: Vector) -> Vector:
        return solved(_rows_at(seen, where))[1]

    search = least_squares(errors, start, bounds=bounds, xtol=1e-4, ftol=1e-8)
    (gain_k, offset_k), left = solved(_rows_at(seen, search.x))
    noise = _noise(seen, search.x, left)
    return Layered(search.x, float(gain_k), float(offset_k), noise, left)


def _noise(seen: Sight, where: Vector, left: Vector) -> Noise:
    by = _filters_at(seen, where)
    reading_k = float(np.sqrt(np.sum(left**2) / seen.counted / by.inflation))
    return Noise(float(np.exp(where[3])) * reading_k, reading_k)


def _rows_at(seen: Sight, where: Vector) -> Matrix:
    return regressors(seen, _filters_at(seen, where))


def _filters_at(seen: Sight, where: Vector) -> Filters:
    step = stepped(rates_at(where, leak_at(where)), seen.step_s)
    if len(where) > PLAIN:
        step = fading(step, float(np.exp(-seen.step_s / np.exp(where[_LASTS]))))
    return filters_of(step, float(np.exp(where[_RATIO])), PROBE)


def rates_at(where: Vector, leak: float = 0.0) -> Matrix:
    """Return how fast each temperature follows each [1/s].

    Args:
        where: A place of the search.
        leak: What the mat loses to the room past the medium, for 1 that it
            gives to the medium.
    """
    mat_s, between_s, outer_s = np.exp(where[:_TIMES]).tolist()
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


def fading(bare: Stepped, stays: float) -> Stepped:
    """Return the exact step of three temperatures, and of the push as a fourth.

    Args:
        bare: The step of the temperatures.
        stays: What is left of a push after a step [-].
    """
    size = len(bare.decay)
    carry = np.zeros((size + 1, size + 1))
    carry[:size, :size], carry[:size, size] = bare.carry, bare.by_push
    carry[size, size] = stays
    return Stepped(
        carry,
        np.append(bare.decay, stays),
        np.append(bare.by_heat, 0.0),
        np.append(bare.by_room, 0.0),
        np.eye(size + 1)[size],
    )
