"""The same recursions for a zone of three temperatures: a medium of two halves.

What may live here: these loops, and how they are given what they need.
"""

from math import isfinite

import numpy as np

from sim.fitting.record import Truths
from sim.fitting.two_states import ANYTHING_K, Column, column
from sim.thermal import Matrix, Vector
from sim.whatif.jit import compiled, inlined
from sim.zone_model import Steps


def smoothed_three(
    step: Steps,
    known: Matrix,
    temps: Vector,
    pushed: tuple[Vector, Truths],
    read: tuple[float, int],
) -> tuple[Vector, Vector]:
    """Return the same of a zone of three temperatures; arguments are the same."""
    (spread, sudden), (noise, seen) = pushed, read
    first = float(temps[np.isfinite(temps)][0])
    carry, pushes = _numbers(step)
    none = np.zeros(len(temps))
    inputs = (*known.T, temps, spread, sudden.astype(np.float64))
    columns = [column(v) for v in (*inputs, *[none] * 6)]
    added = columns[0], columns[1], columns[2]
    told = columns[3], columns[4], columns[5]
    looks = columns[6], columns[7], columns[8], columns[9], columns[10]
    _forward((carry, pushes), added, told, (noise, first, seen), looks)
    push, pull = columns[11], column(np.zeros(3))
    _backward((carry, pushes), told, seen, looks, (push, pull))
    return np.asarray(push), first + ANYTHING_K**2 * np.array(pull)


def stepped_three(step: Steps, start: Vector, added: Matrix) -> Matrix:
    """Return mat, near and outer half where each step begins [°C], shape (N, 3).

    Args:
        step: The zone's exact step.
        start: All three where the first step begins [°C].
        added: What each step adds [K], shape (N, 3).
    """
    none = np.zeros(len(added))
    states = column(none), column(none), column(none)
    begun = float(start[0]), float(start[1]), float(start[2])
    columns = column(added[:, 0]), column(added[:, 1]), column(added[:, 2])
    _step_on(_numbers(step)[0], begun, columns, states)
    return np.column_stack(states)


def _numbers(step: Steps) -> "tuple[_Nine, _Six]":
    """Return a step's matrix, row by row, and what a push adds, usual and sudden."""
    (c00, c01, c02), (c10, c11, c12), (c20, c21, c22) = step.carry.tolist()
    g0, g1, g2 = step.by_push.tolist()
    s0, s1, s2 = (step.by_push + step.by_near).tolist()
    return (c00, c01, c02, c10, c11, c12, c20, c21, c22), (g0, g1, g2, s0, s1, s2)


_Six = tuple[float, float, float, float, float, float]
_Nine = tuple[float, float, float, float, float, float, float, float, float]
_Three = tuple[Column, Column, Column]
_Five = tuple[Column, Column, Column, Column, Column]


@inlined
def _pushes(pushes: _Six, sudden: float) -> tuple[float, float, float]:
    """Return what a push adds to three temperatures."""
    g0, g1, g2, s0, s1, s2 = pushes
    return (s0, s1, s2) if sudden > 0.0 else (g0, g1, g2)


@compiled
def _step_on(
    carry: _Nine, start: tuple[float, float, float], added: _Three, states: _Three
) -> None:
    """Step a state of three on; write it where each step begins."""
    c00, c01, c02, c10, c11, c12, c20, c21, c22 = carry
    x0, x1, x2 = start
    added0, added1, added2 = added
    mat, near, outer = states
    for n in range(len(mat)):
        mat[n], near[n], outer[n] = x0, x1, x2
        x0, x1, x2 = (
            c00 * x0 + c01 * x1 + c02 * x2 + added0[n],
            c10 * x0 + c11 * x1 + c12 * x2 + added1[n],
            c20 * x0 + c21 * x1 + c22 * x2 + added2[n],
        )


@compiled
def _forward(
    step: tuple[_Nine, _Six],
    added: _Three,
    told: _Three,
    begin: tuple[float, float, int],
    looks: _Five,
) -> None:
    """Do what two_states does for two, written out as well.

    Args:
        step: Its matrix, and what a push adds.
        added: What is added to mat, near and outer half.
        told: Readings, spread of the push, and whether it is sudden.
        begin: The noise of a reading, the first temperature, and whether the
            probe sees the near half, not the mat.
        looks: Where it is written: surprise, its variance, three gains.
    """
    c00, c01, c02, c10, c11, c12, c20, c21, c22 = step[0]
    added0, added1, added2 = added
    temps, spread, sudden = told
    errors, variances, on_mat, on_near, on_outer = looks
    noise, first, seen = begin
    x0 = x1 = x2 = first
    p00 = p11 = p22 = ANYTHING_K * ANYTHING_K
    p01 = p02 = p12 = 0.0
    for n in range(len(temps)):
        temp = temps[n]
        if isfinite(temp):
            to0, to1, to2 = (p01, p11, p12) if seen else (p00, p01, p02)
            variance = (p11 if seen else p00) + noise * noise
            error = temp - (x1 if seen else x0)
            k0, k1, k2 = to0 / variance, to1 / variance, to2 / variance
            x0, x1, x2 = x0 + k0 * error, x1 + k1 * error, x2 + k2 * error
            p00, p01, p02 = p00 - k0 * to0, p01 - k0 * to1, p02 - k0 * to2
            p11, p12, p22 = p11 - k1 * to1, p12 - k1 * to2, p22 - k2 * to2
            errors[n], variances[n] = error, variance
            on_mat[n], on_near[n], on_outer[n] = k0, k1, k2
        x0, x1, x2 = (
            c00 * x0 + c01 * x1 + c02 * x2 + added0[n],
            c10 * x0 + c11 * x1 + c12 * x2 + added1[n],
            c20 * x0 + c21 * x1 + c22 * x2 + added2[n],
        )
        t00 = c00 * p00 + c01 * p01 + c02 * p02
        t01 = c00 * p01 + c01 * p11 + c02 * p12
        t02 = c00 * p02 + c01 * p12 + c02 * p22
        t10 = c10 * p00 + c11 * p01 + c12 * p02
        t11 = c10 * p01 + c11 * p11 + c12 * p12
        t12 = c10 * p02 + c11 * p12 + c12 * p22
        t20 = c20 * p00 + c21 * p01 + c22 * p02
        t21 = c20 * p01 + c21 * p11 + c22 * p12
        t22 = c20 * p02 + c21 * p12 + c22 * p22
        g0, g1, g2 = _pushes(step[1], sudden[n])
        q = spread[n] * spread[n]
        p00 = t00 * c00 + t01 * c01 + t02 * c02 + q * g0 * g0
        p01 = t00 * c10 + t01 * c11 + t02 * c12 + q * g0 * g1
        p02 = t00 * c20 + t01 * c21 + t02 * c22 + q * g0 * g2
        p11 = t10 * c10 + t11 * c11 + t12 * c12 + q * g1 * g1
        p12 = t10 * c20 + t11 * c21 + t12 * c22 + q * g1 * g2
        p22 = t20 * c20 + t21 * c21 + t22 * c22 + q * g2 * g2


@compiled
def _backward(
    step: tuple[_Nine, _Six],
    told: _Three,
    seen: int,
    looks: _Five,
    found: tuple[Column, Column],
) -> None:
    """Write the smoothed push, and what all readings say of the beginning."""
    push, pull = found
    c00, c01, c02, c10, c11, c12, c20, c21, c22 = step[0]
    _, spread, sudden = told
    errors, variances, on_mat, on_near, on_outer = looks
    pull0 = pull1 = pull2 = 0.0
    for n in range(len(push) - 1, -1, -1):
        g0, g1, g2 = _pushes(step[1], sudden[n])
        push[n] = spread[n] * spread[n] * (g0 * pull0 + g1 * pull1 + g2 * pull2)
        pull0, pull1, pull2 = (
            c00 * pull0 + c10 * pull1 + c20 * pull2,
            c01 * pull0 + c11 * pull1 + c21 * pull2,
            c02 * pull0 + c12 * pull1 + c22 * pull2,
        )
        if variances[n] > 0.0:
            by = on_mat[n] * pull0 + on_near[n] * pull1 + on_outer[n] * pull2
            if seen:
                pull1 += errors[n] / variances[n] - by
            else:
                pull0 += errors[n] / variances[n] - by
    pull[0], pull[1], pull[2] = pull0, pull1, pull2
