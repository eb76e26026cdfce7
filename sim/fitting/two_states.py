"""The smoother's recursions for a zone of two temperatures, written out.

What may live here: these loops, and how they are given what they need.
"""

from math import isfinite

import numpy as np

from sim.fitting.record import Truths
from sim.thermal import Matrix, Vector
from sim.whatif.jit import HAS_NUMBA, compiled
from sim.zone_model import Steps

ANYTHING_K = 100.0
"""Standard deviation of the state before the first reading [K]."""


Column = Vector | list[float]
"""One value for each step: an array for compiled code, a list for Python, which
goes through lists several times as fast."""


def column(values: Vector) -> Column:
    """Return a column of one value for each step."""
    return values.copy() if HAS_NUMBA else values.tolist()


def smoothed_two(
    step: Steps,
    known: Matrix,
    temps: Vector,
    pushed: tuple[Vector, Truths],
    read: tuple[float, int],
) -> tuple[Vector, Vector]:
    """Return the smoothed push and start of a zone of two temperatures.

    Args:
        step: Its exact step.
        known: What heat and room add in each step [K].
        temps: Readings [°C].
        pushed: The spread of the push [K/s], and where it is sudden.
        read: The noise of a reading [K], and which temperature is read.
    """
    (spread, _), (noise, seen) = pushed, read
    first = float(temps[np.isfinite(temps)][0])
    numbers = _numbers(step)
    none = np.zeros(len(temps))
    columns = [column(v) for v in (*known.T, temps, spread, *[none] * 5)]
    rows = columns[0], columns[1], columns[2], columns[3]
    looks = columns[4], columns[5], columns[6], columns[7]
    _forward(numbers, rows, (noise, first), seen, looks)
    pull = column(np.zeros(2))
    _backward(numbers, rows[3], seen, looks, (columns[8], pull))
    return np.asarray(columns[8]), first + ANYTHING_K**2 * np.array(pull)


def stepped_two(step: Steps, start: Vector, added: Matrix) -> Matrix:
    """Return mat and medium where each step begins [°C], shape (N, 2).

    Args:
        step: The zone's exact step.
        start: Both where the first step begins [°C].
        added: What each step adds [K], shape (N, 2).
    """
    none = np.zeros(len(added))
    states = column(none), column(none)
    begun = float(start[0]), float(start[1])
    columns = column(added[:, 0]), column(added[:, 1])
    _step_on(_numbers(step), begun, columns, states)
    return np.column_stack(states)


def _numbers(step: Steps) -> "_Numbers":
    """Return a step's matrix, row by row, and what a push adds."""
    (c00, c01), (c10, c11) = step.carry.tolist()
    g0, g1 = step.by_push.tolist()
    return c00, c01, c10, c11, g0, g1


_Numbers = tuple[float, float, float, float, float, float]
_Four = tuple[Column, Column, Column, Column]

# The loops below are compiled where numba is installed: of what they take it
# must know the types, hence tuples of columns of one length.


@compiled
def _step_on(
    numbers: _Numbers,
    start: tuple[float, float],
    added: tuple[Column, Column],
    states: tuple[Column, Column],
) -> None:
    """Step a state on; write it where each step begins."""
    c00, c01, c10, c11, _, _ = numbers
    x0, x1 = start
    added0, added1 = added
    mat, medium = states
    for n in range(len(mat)):
        mat[n], medium[n] = x0, x1
        x0, x1 = c00 * x0 + c01 * x1 + added0[n], c10 * x0 + c11 * x1 + added1[n]


@compiled
def _forward(
    numbers: _Numbers,
    rows: _Four,
    begin: tuple[float, float],
    seen: int,
    looks: _Four,
) -> None:
    """Write what each reading told: its surprise, the variance of that, the gains.

    A Kalman filter of two states, written out: it is several times as fast as
    with matrices of two by two. A variance of 0: there was no reading.

    Args:
        numbers: Of the step.
        rows: What is added to mat and medium, readings, and spread of the push.
        begin: The noise of a reading, and the first temperature.
        seen: Whether the probe sees the medium, not the mat.
        looks: Where it is written.
    """
    c00, c01, c10, c11, g0, g1 = numbers
    added0, added1, temps, spread = rows
    errors, variances, on_mat, on_medium = looks
    noise, first = begin
    x0 = x1 = first
    p00 = p11 = ANYTHING_K * ANYTHING_K
    p01 = 0.0
    for n in range(len(temps)):
        temp = temps[n]
        if isfinite(temp):
            to0, to1 = (p01, p11) if seen else (p00, p01)
            variance = (p11 if seen else p00) + noise * noise
            error = temp - (x1 if seen else x0)
            k0, k1 = to0 / variance, to1 / variance
            x0, x1 = x0 + k0 * error, x1 + k1 * error
            p00, p01, p11 = p00 - k0 * to0, p01 - k0 * to1, p11 - k1 * to1
            errors[n], variances[n], on_mat[n], on_medium[n] = error, variance, k0, k1
        x0, x1 = c00 * x0 + c01 * x1 + added0[n], c10 * x0 + c11 * x1 + added1[n]
        t00, t01 = c00 * p00 + c01 * p01, c00 * p01 + c01 * p11
        t10, t11 = c10 * p00 + c11 * p01, c10 * p01 + c11 * p11
        q = spread[n] * spread[n]
        p00 = t00 * c00 + t01 * c01 + q * g0 * g0
        p01 = t00 * c10 + t01 * c11 + q * g0 * g1
        p11 = t10 * c10 + t11 * c11 + q * g1 * g1


@compiled
def _backward(
    numbers: _Numbers,
    spread: Column,
    seen: int,
    looks: _Four,
    found: tuple[Column, Column],
) -> None:
    """Write the smoothed push, and what all readings say of the beginning."""
    push, pull = found
    c00, c01, c10, c11, g0, g1 = numbers
    errors, variances, on_mat, on_medium = looks
    pull0 = pull1 = 0.0
    for n in range(len(push) - 1, -1, -1):
        push[n] = spread[n] * spread[n] * (g0 * pull0 + g1 * pull1)
        pull0, pull1 = c00 * pull0 + c10 * pull1, c01 * pull0 + c11 * pull1
        if variances[n] > 0.0:
            told = on_mat[n] * pull0 + on_medium[n] * pull1
            if seen:
                pull1 += errors[n] / variances[n] - told
            else:
                pull0 += errors[n] / variances[n] - told
    pull[0], pull[1] = pull0, pull1
