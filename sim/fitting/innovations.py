"""Two lags: the model of a zone that makes the best one-step predictions.

How predictions and their errors come about says `filtering`. What may live
here: the search for two times and a noise ratio, with gain and offset free or
given.
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
from sim.fitting.sight import Sight
from sim.thermal import Matrix, Vector
from sim.zone_model import Zone, modes, steps

USUAL_COUPLING = 0.08
"""Chosen: a mat of 4.5 kJ/m²K under 60 mm of medium of about 1 MJ/m³K. A probe
in the medium shows gain and times but not this; only the temperature of the
mat itself leans on it."""

_STARTS = ((700.0, 9_000.0), (250.0, 9_000.0), (250.0, 3_500.0), (700.0, 25_000.0))
"""Chosen: mat_s and medium_s where searches begin, at the best of them."""

_LEAST = np.log([20.0, 300.0, 1e-8, 1e-3])
_MOST = np.log([2e4, 4e5, 0.3, 5.0])
"""Chosen: mat_s, medium_s [s], noise ratio [1/s] and coupling that are searched."""

_START_RATIO = 1e-3

_EDGE = 1e-3
"""Chosen: so near a limit (logarithm) is at it."""

LEAST_GAIN_K = 1.0
"""Chosen: a tray that full power warms by less does not stand on the mat."""


@dataclass(frozen=True, slots=True)
class Found:
    """The model that predicts best.

    Attributes:
        where: The search's own coordinates: logarithms of mat_s, medium_s,
            noise ratio and, for a surface probe, coupling.
        gain_k: Gain [K]; may come out as no bench can have it.
        offset_k: Offset [K].
        noise: Standard deviations.
        errors: Of the predictions in all windows [K]; 0 where none was
            compared.
    """

    where: Vector
    gain_k: float
    offset_k: float
    noise: Noise
    errors: Vector

    @property
    def credible(self) -> bool:
        """Whether a bench can be so: it warms, and no time lies at its limit."""
        times = self.where[:2]
        inside = np.all((times > _LEAST[:2] + _EDGE) & (times < _MOST[:2] - _EDGE))
        return self.gain_k >= LEAST_GAIN_K and bool(inside)

    def zone(self, name: str, *, at_mat: bool) -> Zone:
        """Return it as a zone.

        Raises:
            ValueError: The gain is not above 0.
        """
        return zone_at(self.where, self.gain_k, self.offset_k, name, at_mat=at_mat)


def zone_at(
    where: Vector,
    gain_k: float = 1.0,
    offset_k: float = 0.0,
    name: str = "unit",
    *,
    at_mat: bool = False,
) -> Zone:
    """Return the zone at a place of the search.

    Raises:
        ValueError: The gain is not above 0.
    """
    mat_s, medium_s, _, *coupling = np.exp(where).tolist()
    return Zone(
        name=name,
        gain_k=gain_k,
        mat_s=mat_s,
        medium_s=medium_s,
        coupling=coupling[0] if coupling else USUAL_COUPLING,
        offset_k=offset_k,
        at_mat=at_mat,
    )


def filters(zone: Zone, step_s: float, ratio: float, seen: int) -> Filters:
    """Return the filters of a zone's innovations.

    Args:
        zone: The model; heat is counted for its gain.
        step_s: Length of a step [s].
        ratio: Noise of the push [K/s] over that of a reading [K].
        seen: 1: the probe sees the medium; 0: the mat.
    """
    step, decay = steps(zone, step_s), modes(zone, step_s).decay
    by = step.by_heat, step.by_room, step.by_push
    return filters_of(Stepped(step.carry, decay, *by), ratio, seen)


def best(seen: Sight) -> Found:
    """Return the model that predicts best.

    Args:
        seen: A zone with at least one window.
    """

    def errors(where: Vector) -> Vector:
        return solved(_rows_at(seen, where))[1]

    starts = _starts(3 if seen.seen else 4)
    start = min(starts, key=lambda where: float(np.sum(errors(where) ** 2)))
    bounds = _LEAST[: len(start)], _MOST[: len(start)]
    search = least_squares(errors, start, bounds=bounds, xtol=1e-5, ftol=1e-8)
    (gain_k, offset_k), left = solved(_rows_at(seen, search.x))
    return _found(seen, search.x, float(gain_k), float(offset_k), left)


def held(seen: Sight, gain_k: float, offset_k: float, near: Vector) -> Found:
    """Return the model that predicts best with a given gain and offset.

    Args:
        seen: A zone with at least one window.
        gain_k: The gain [K].
        offset_k: The offset [K].
        near: Where the answer lies not far from.
    """
    whole = np.array([1.0, -gain_k, -1.0, -offset_k])

    def errors(where: Vector) -> Vector:
        return np.asarray(_rows_at(seen, where) @ whole, dtype=np.float64)

    bounds = _LEAST[: len(near)], _MOST[: len(near)]
    search = least_squares(errors, near, bounds=bounds, xtol=1e-5, ftol=1e-8)
    return _found(seen, search.x, gain_k, offset_k, errors(search.x))


def inside(where: Vector) -> Vector:
    """Return the place nearest to one at which no time lies at its limit."""
    near = where.copy()
    near[:2] = np.clip(where[:2], _LEAST[:2] + 2 * _EDGE, _MOST[:2] - 2 * _EDGE)
    return near


def sensitivities(seen: Sight, found: Found) -> Matrix:
    """Return what each parameter changes in each prediction's error [K].

    Columns: ln gain_k, offset_k [per K], and the search's coordinates.
    """

    def rows_at(where: Vector) -> Matrix:
        return _rows_at(seen, where)

    return slopes(rows_at, found.where, found.gain_k, found.offset_k)


def _found(
    seen: Sight, where: Vector, gain_k: float, offset_k: float, left: Vector
) -> Found:
    ratio = float(np.exp(where[2]))
    by = filters(zone_at(where), seen.step_s, ratio, seen.seen)
    reading_k = float(np.sqrt(np.sum(left**2) / seen.counted / by.inflation))
    noise = Noise(ratio * reading_k, reading_k)
    return Found(where, gain_k, offset_k, noise, left)


def _rows_at(seen: Sight, where: Vector) -> Matrix:
    ratio = float(np.exp(where[2]))
    return regressors(seen, filters(zone_at(where), seen.step_s, ratio, seen.seen))


def _starts(size: int) -> list[Vector]:
    rest = [_START_RATIO, 2 * USUAL_COUPLING][: size - 2]
    return [np.log([*times, *rest]) for times in _STARTS]
