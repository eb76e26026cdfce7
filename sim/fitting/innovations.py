"""One-step predictions of a zone, and the model that makes them best.

The push is taken as noise, anew in each step, and the readings have noise of
their own. Then the best prediction is a Kalman filter, after a short while
with a steady gain, and its errors (the innovations) are one linear filter of
what was measured (Ljung 1999, "System Identification", 2nd ed., 7.2 and 10.6:
prediction error method, innovations form). With the noise of the readings
free, the most likely model is the one whose squared errors are least.

The errors are linear in gain, offset and what each window begins with: those
are solved for exactly, and a search is left over two times and the noise ratio
(variable projection: Golub, Pereyra 1973). Simulating without correcting by
the readings (output error) would be simpler, and wrong: what no model knows is
then taken for slowness. What may live here: that.
"""

from dataclasses import dataclass
from math import ceil, log

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import lfilter

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
class Filters:
    """What turns measurements into errors of one-step predictions.

    Attributes:
        temp: Coefficients on the temperature seen.
        heat: On the share of full power, for a gain of 1 K.
        room: On the room.
        poles: Of all of them, the denominator.
        inflation: Variance of an error over that of a reading's noise [-].
    """

    temp: Vector
    heat: Vector
    room: Vector
    poles: Vector
    inflation: float

    @property
    def memory(self) -> int:
        """Steps after which a beginning has faded to a millionth."""
        slowest = float(np.abs(np.roots(self.poles)).max())
        return 2 + ceil(log(1e-6) / log(min(max(slowest, 0.1), 0.9999)))


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
        unit = _unit_zone(self.where)
        return Zone(
            name=name,
            gain_k=self.gain_k,
            mat_s=unit.mat_s,
            medium_s=unit.medium_s,
            coupling=unit.coupling,
            offset_k=self.offset_k,
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
    step = steps(zone, step_s)
    trace, det = float(np.trace(step.carry)), float(np.prod(modes(zone, step_s).decay))
    adjugate = trace * np.eye(2) - step.carry

    def seen_of(by: Vector) -> Vector:
        return np.array([0.0, by[seen], -(adjugate @ by)[seen]])

    push = seen_of(step.by_push)
    poles, inflation = _factor(modes(zone, step_s).decay, ratio * push[1:])
    temp = np.array([1.0, -trace, det])
    heat, room = seen_of(step.by_heat), seen_of(step.by_room)
    return Filters(temp, heat, room, poles, inflation)


def _factor(decay: Vector, push: Vector) -> tuple[Vector, float]:
    """Return the steady filter's poles, by spectral factorisation.

    The spectrum of the readings is |temp|² + |push|² over |temp|². In
    d = 2 - z - 1/z each |1 - p z|² is (1 - p)² + p d, so that the sum is a
    polynomial of second degree, exact also where poles lie close to 1.
    """
    p, q = decay.tolist()
    whole, cross = float(push.sum()) ** 2, float(push[0] * push[1])
    square = p * q
    line = p * (1 - q) ** 2 + q * (1 - p) ** 2 - cross
    level = ((1 - p) * (1 - q)) ** 2 + whole
    half = np.sqrt(complex(line * line - 4 * square * level))
    # Of the two forms of a root the one without cancellation.
    far = -(line + (half if line >= 0 else -half)) / 2
    roots = np.array([far / square, level / far])
    turned = 2 - roots
    inner = (turned - np.sqrt(turned - 2) * np.sqrt(turned + 2)) / 2
    inner = np.where(np.abs(inner) > 1, 1 / inner, inner)
    together = (inner[0] * inner[1]).real
    poles = np.array([1.0, -(inner[0] + inner[1]).real, together])
    return poles, square / together


def regressors(seen: Sight, by: Filters) -> Matrix:
    """Return errors per input: temperature, heat, room, and a constant offset.

    Rows are the steps of all windows, 0 where nothing is compared; how each
    window begins is projected out of them. Errors = first - gain * second -
    third - offset * fourth.
    """
    rows = [_window(seen, by, begin, end) for begin, end in seen.spans]
    return np.concatenate(rows) if rows else np.empty((0, 4))


def _window(seen: Sight, by: Filters, begin: int, end: int) -> Matrix:
    inputs = (
        (by.temp, seen.temps_c[begin:end]),
        (by.heat, seen.on_share[begin:end]),
        (by.room, seen.room_c[begin:end]),
        (by.room, np.ones(end - begin)),
    )
    rows = np.empty((end - begin, 4))
    for column, (taps, values) in enumerate(inputs):
        rows[:, column] = lfilter(taps, by.poles, values)
    counts = seen.counts[begin:end]
    rows[~counts] = 0.0
    # What the window began with is forgotten as fast as the filter's slow pole.
    memory = min(end - begin, by.memory)
    pulse = np.zeros(memory)
    pulse[0] = 1.0
    first = lfilter([1.0], by.poles, pulse)
    second = np.concatenate([[0.0], first[:-1]])
    begun = np.column_stack([first, second]) * counts[:memory, np.newaxis]
    beginning, _ = np.linalg.qr(begun)
    rows[:memory] -= beginning @ (beginning.T @ rows[:memory])
    return rows


def best(seen: Sight, near: Vector | None = None) -> Found:
    """Return the model that predicts best.

    Args:
        seen: A zone with at least one window.
        near: Where the answer lies not far from; None: anywhere.
    """
    size = 3 if seen.seen else 4
    bounds = _LEAST[:size], _MOST[:size]

    def errors(where: Vector) -> Vector:
        return _solved(seen, where)[1]

    starts = [near] if near is not None else _starts(size)
    start = min(starts, key=lambda where: float(np.sum(errors(where) ** 2)))
    close = (1e-5, 1e-8) if near is None else (1e-3, 1e-6)
    search = least_squares(errors, start, bounds=bounds, xtol=close[0], ftol=close[1])
    where = search.x
    (gain_k, offset_k), left = _solved(seen, where)
    ratio = float(np.exp(where[2]))
    by = filters(_unit_zone(where), seen.step_s, ratio, seen.seen)
    reading_k = float(np.sqrt(np.sum(left**2) / seen.counted / by.inflation))
    noise = Noise(ratio * reading_k, reading_k)
    return Found(where, float(gain_k), float(offset_k), noise, left)


def sensitivities(seen: Sight, found: Found) -> Matrix:
    """Return what each parameter changes in each prediction's error [K].

    Columns: ln gain_k, offset_k [per K], and the search's coordinates.
    """
    at = _regressors_at(seen, found.where)
    whole = np.array([1.0, -found.gain_k, -1.0, -found.offset_k])
    columns = [-found.gain_k * at[:, 1], -at[:, 3]]
    for number in range(len(found.where)):
        there = found.where.copy()
        there[number] += _NUDGE
        changed = _regressors_at(seen, there) @ whole
        columns.append((changed - at @ whole) / _NUDGE)
    return np.column_stack(columns)


_NUDGE = 1e-4
"""Chosen: a step in a logarithm, for differences."""


def _regressors_at(seen: Sight, where: Vector) -> Matrix:
    ratio = float(np.exp(where[2]))
    by = filters(_unit_zone(where), seen.step_s, ratio, seen.seen)
    return regressors(seen, by)


def _solved(seen: Sight, where: Vector) -> tuple[Vector, Vector]:
    """Return the best gain and offset, and the errors they leave."""
    rows = _regressors_at(seen, where)
    wanted, by = rows[:, 0] - rows[:, 2], rows[:, [1, 3]]
    linear = np.linalg.lstsq(by.T @ by, by.T @ wanted, rcond=1e-12)[0]
    return np.asarray(linear, dtype=np.float64), wanted - by @ linear


def _starts(size: int) -> list[Vector]:
    rest = [_START_RATIO, 2 * USUAL_COUPLING][: size - 2]
    return [np.log([*times, *rest]) for times in _STARTS]


def _unit_zone(where: Vector) -> Zone:
    mat_s, medium_s, _, *coupling = np.exp(where).tolist()
    return Zone(
        name="unit",
        gain_k=1.0,
        mat_s=mat_s,
        medium_s=medium_s,
        coupling=coupling[0] if coupling else USUAL_COUPLING,
    )
