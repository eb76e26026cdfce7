"""The push that a log's temperatures ask for: what no model knows, step by step.

A fixed-interval smoother in its disturbance form (Koopman 1993, Biometrika
80:117-126, "Disturbance smoother for state space models"; equivalent to
Rauch-Tung-Striebel). With the noise entering as the push does, the model
stepped exactly under the smoothed push goes through the smoothed temperatures,
to the last digits. What may live here: that recursion.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from typing import NamedTuple

import numpy as np

from sim.fitting.fitted import Noise
from sim.fitting.record import Record, Truths, gaps
from sim.thermal import Matrix, Vector
from sim.zone_model import Steps, Zone, steps

USUAL = Noise(push_k_s=2e-5, reading_k=0.03)
"""Chosen: about 1 W of unmeasured heat in a tray, and a one-wire probe's noise."""

_ANY_JUMP_K = 20.0
"""What the temperature may jump where a window begins [K], standard deviation."""

_ANYTHING_K = 100.0
"""Standard deviation of the state before the first reading [K]."""


@dataclass(frozen=True, slots=True)
class Smoothed:
    """What a zone did, by its model and all of its readings.

    Attributes:
        push: In each step [K/s], shape (N,).
        start: Mat and medium where the first step begins [°C], shape (2,).
        states: The same where each step begins [°C], shape (N, 2).
        bridged: Steps of gaps, in which the push is 0 because nothing was
            measured; at the end of a gap one step makes up for it.
    """

    push: Vector
    start: Vector
    states: Matrix
    bridged: Truths


def smoothed_push(
    zone: Zone, record: Record, index: int, noise: Noise = USUAL
) -> Vector:
    """Return the smoothed push of a zone in each step [K/s], shape (N,).

    Args:
        zone: Its model.
        record: What the log tells.
        index: Which of the record's zones.
        noise: How much is push and how much the probe's noise; that of the fit.

    Raises:
        ValueError: The zone or the room was never measured.
    """
    return smoothed(zone, record, index, noise).push


def smoothed(zone: Zone, record: Record, index: int, noise: Noise = USUAL) -> Smoothed:
    """Return what a zone did, by its model and all of its readings.

    Args and errors are those of smoothed_push.
    """
    temps = record.temps_c[:, index]
    if not np.isfinite(temps).any():
        message = f"zone {record.zones[index]}: no temperature was measured"
        raise ValueError(message)
    step = steps(zone, record.step_s)
    room = record.room_everywhere_c() + zone.offset_k
    known = np.outer(record.on_share, step.by_heat) + np.outer(room, step.by_room)
    bridged = gaps(temps)
    spread = np.where(bridged, 0.0, noise.push_k_s)
    jumps = [start for start in record.starts_of(index) if start > 0]
    ends = np.flatnonzero(bridged[:-1] & ~bridged[1:]) + 1
    spread[np.array([*jumps, *ends], dtype=int) - 1] = _ANY_JUMP_K / step.by_push[1]
    seen = 0 if zone.at_mat else 1
    return _smoothed(step, known, temps, spread, noise.reading_k, seen, bridged)


class _Looked(NamedTuple):
    """What a reading told: its surprise, the variance of that, and the gains."""

    error: float
    variance: float
    on_mat: float
    on_medium: float


def _smoothed(
    step: Steps,
    known: Matrix,
    temps: Vector,
    spread: Vector,
    noise: float,
    seen: int,
    bridged: Truths,
) -> Smoothed:
    first = float(temps[np.isfinite(temps)][0])
    looks = list(_forward(step, known, temps, spread, noise, seen, first))
    push = np.empty(len(temps))
    pull = np.zeros(2)
    for n in reversed(range(len(temps))):
        push[n] = spread[n] ** 2 * (step.by_push @ pull)
        pull = step.carry.T @ pull
        look = looks[n]
        if look is not None:
            told = look.on_mat * pull[0] + look.on_medium * pull[1]
            pull[seen] += look.error / look.variance - told
    start = first + _ANYTHING_K**2 * pull
    return Smoothed(push, start, stepped(step, start, known, push), bridged)


def stepped(step: Steps, start: Vector, known: Matrix, push: Vector) -> Matrix:
    """Return mat and medium where each step begins [°C], shape (N, 2).

    Args:
        step: The zone's exact step.
        start: Both where the first step begins [°C].
        known: What heat and room add in each step [K], shape (N, 2).
        push: In each step [K/s].
    """
    states = np.empty((len(known), 2))
    at = start
    added = known + np.outer(push, step.by_push)
    for n in range(len(known)):
        states[n] = at
        at = step.carry @ at + added[n]
    return states


def _forward(
    step: Steps,
    known: Matrix,
    temps: Vector,
    spread: Vector,
    noise: float,
    seen: int,
    first: float,
) -> Iterator[_Looked | None]:
    """Yield, where each step begins, what the reading there told; None: no reading.

    A Kalman filter of two states, written out: it is several times as fast as
    with matrices of two by two.
    """
    (c00, c01), (c10, c11) = step.carry.tolist()
    g0, g1 = step.by_push.tolist()
    x0 = x1 = first
    p00 = p11 = _ANYTHING_K**2
    p01 = 0.0
    rows = zip(known.tolist(), temps.tolist(), spread.tolist(), strict=True)
    for (added0, added1), temp, push in rows:
        if isfinite(temp):
            to0, to1 = (p01, p11) if seen else (p00, p01)
            variance = (p11 if seen else p00) + noise * noise
            error = temp - (x1 if seen else x0)
            k0, k1 = to0 / variance, to1 / variance
            x0, x1 = x0 + k0 * error, x1 + k1 * error
            p00, p01, p11 = p00 - k0 * to0, p01 - k0 * to1, p11 - k1 * to1
            yield _Looked(error, variance, k0, k1)
        else:
            yield None
        x0, x1 = c00 * x0 + c01 * x1 + added0, c10 * x0 + c11 * x1 + added1
        t00, t01 = c00 * p00 + c01 * p01, c00 * p01 + c01 * p11
        t10, t11 = c10 * p00 + c11 * p01, c10 * p01 + c11 * p11
        q = push * push
        p00 = t00 * c00 + t01 * c01 + q * g0 * g0
        p01 = t00 * c10 + t01 * c11 + q * g0 * g1
        p11 = t10 * c10 + t11 * c11 + q * g1 * g1
