"""From measurements to errors of one-step predictions, for models of any order.

The push is taken as noise, anew in each step, and the readings have noise of
their own. Then the best prediction is a Kalman filter, after a short while
with a steady gain, and its errors (the innovations) are one linear filter of
what was measured (Ljung 1999, "System Identification", 2nd ed., 7.2 and 10.6:
prediction error method, innovations form). With the noise of the readings
free, the most likely model is the one whose squared errors are least.

The errors are linear in gain, offset and what each window begins with: those
are solved for exactly, and a search is left over times and the noise ratio
(variable projection: Golub, Pereyra 1973). Simulating without correcting by
the readings (output error) would be simpler, and wrong: what no model knows is
then taken for slowness. What may live here: that. No model, no search.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, log

import numpy as np
from scipy.signal import lfilter

from sim.fitting.sight import Sight
from sim.thermal import Matrix, Vector

RowsAt = Callable[[Vector], Matrix]
"""The regressors at a place of a search."""

_NUDGE = 1e-4
"""Chosen: a step in a logarithm, for differences."""


@dataclass(frozen=True, slots=True)
class Stepped:
    """A model's exact step, inputs standing still within it.

    Attributes:
        carry: Shape (n, n).
        decay: Its eigenvalues, shape (n,).
        by_heat: What the share of full power adds, for a gain of 1 K, shape (n,).
        by_room: What the room adds, shape (n,).
        by_push: What a push adds [s], shape (n,).
    """

    carry: Matrix
    decay: Vector
    by_heat: Vector
    by_room: Vector
    by_push: Vector


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


def filters_of(step: Stepped, ratio: float, seen: int) -> Filters:
    """Return the filters of a model's innovations.

    Args:
        step: The model.
        ratio: Noise of the push [K/s] over that of a reading [K].
        seen: Which of its temperatures the probe sees.
    """
    temp = np.asarray(np.poly(step.decay), dtype=np.float64)

    def taps(by: Vector) -> Vector:
        """Return the numerator of what an input does to the temperature seen."""
        answers, state = [0.0], by
        for _ in step.decay:
            answers.append(float(state[seen]))
            state = step.carry @ state
        return np.convolve(temp, answers)[: len(temp)]

    poles, inflation = _factor(step.decay, ratio * taps(step.by_push)[1:])
    return Filters(temp, taps(step.by_heat), taps(step.by_room), poles, inflation)


def _factor(decay: Vector, push: Vector) -> tuple[Vector, float]:
    """Return the steady filter's poles, by spectral factorisation.

    The spectrum of the readings is |temp|² + |push|² over |temp|². In
    d = 2 - z - 1/z each |1 - p z|² is (1 - p)² + p d, so that the sum is a
    polynomial in d, exact also where poles lie close to 1.
    """
    whole = np.ones(1)
    for p in decay:
        whole = np.convolve(whole, [p, (1 - p) ** 2])
    roots = np.roots(whole + _spectrum(push, len(whole)))
    turned = 2 - roots.astype(complex)
    inner = (turned - np.sqrt(turned - 2) * np.sqrt(turned + 2)) / 2
    inner = np.where(np.abs(inner) > 1, 1 / inner, inner)
    poles = np.asarray(np.poly(inner).real, dtype=np.float64)
    return poles, float(np.prod(decay) / np.prod(inner).real)


def _spectrum(taps: Vector, size: int) -> Vector:
    """Return |taps|² as a polynomial in d, highest power first."""
    found, before, now = np.zeros(size), np.zeros(size), np.zeros(size)
    before[-1], now[-2:] = 2.0, (-1.0, 2.0)  # z^k + z^-k for k = 0 and 1
    for lag in range(1, len(taps)):
        found += float(taps[lag:] @ taps[:-lag]) * now
        before, now = now, np.convolve(now, [-1.0, 2.0])[-size:] - before
    found[-1] = float(taps.sum()) ** 2
    return found


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
    begun = np.zeros((memory, len(by.poles) - 1))
    for late in range(begun.shape[1]):
        begun[late:, late] = first[: memory - late]
    beginning, _ = np.linalg.qr(begun * counts[:memory, np.newaxis])
    rows[:memory] -= beginning @ (beginning.T @ rows[:memory])
    return rows


def solved(rows: Matrix) -> tuple[Vector, Vector]:
    """Return the best gain and offset, and the errors they leave."""
    wanted, by = rows[:, 0] - rows[:, 2], rows[:, [1, 3]]
    linear = np.linalg.lstsq(by.T @ by, by.T @ wanted, rcond=1e-12)[0]
    return np.asarray(linear, dtype=np.float64), wanted - by @ linear


def slopes(rows_at: RowsAt, where: Vector, gain_k: float, offset_k: float) -> Matrix:
    """Return what each parameter changes in each prediction's error [K].

    Columns: ln gain_k, offset_k [per K], and the search's coordinates.
    """
    at = rows_at(where)
    whole = np.array([1.0, -gain_k, -1.0, -offset_k])
    columns = [-gain_k * at[:, 1], -at[:, 3]]
    for number in range(len(where)):
        there = where.copy()
        there[number] += _NUDGE
        columns.append((rows_at(there) @ whole - at @ whole) / _NUDGE)
    return np.column_stack(columns)
