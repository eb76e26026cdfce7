"""A simulated probe: its body, its lag, and where it is.

It is in its place, or where an accident put it: in the air over the bench, or
on the mat. What may live here: how a probe follows what it is in and what it
then shows. Nothing about the bench around it.
"""

import math
from dataclasses import dataclass

import numpy as np

from controller.core.plan import ProbePlan
from controller.core.scan import Reading
from controller.core.units import Millis
from sim.thermal import Vector

STEPS_PER_K = 16
"""A 12-bit digital thermometer counts in sixteenths of a kelvin (its data
sheet, from memory)."""

AIR_LAG_S = 90.0
"""Chosen: a steel sleeve in still air follows within one to two minutes."""

MAT_LAG_S = 20.0
"""Chosen: the same sleeve pressed on a warm surface."""


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a probe is.

    Attributes:
        in_air: In the air over the bench.
        on_mat: On the mat under its tray.
        above_room_k: How much warmer that air is than the room [K].
        lag_s: Time constant of the probe there [s]; 0: as in its medium.
    """

    in_air: bool = False
    on_mat: bool = False
    above_room_k: float = 0.0
    lag_s: float = 0.0


IN_PLACE = Whereabouts()
ON_MAT = Whereabouts(on_mat=True, lag_s=MAT_LAG_S)


def in_air(above_room_k: float) -> Whereabouts:
    """Return the whereabouts of a probe that slipped out of its medium."""
    return Whereabouts(in_air=True, above_room_k=above_room_k, lag_s=AIR_LAG_S)


@dataclass(slots=True)
class Probe:
    """A probe.

    Attributes:
        plan: What it is.
        next_ms: When it speaks next [ms].
        noise: Where its noise comes from.
        heard_ms: When its body was last followed [ms].
        body_c: How warm its body was then [°C].
        where: Where it is.
        weights: How it sees the bench's modes; None: it sees the room.
    """

    plan: ProbePlan
    next_ms: int
    noise: np.random.Generator
    heard_ms: int
    body_c: float = 0.0
    where: Whereabouts = IN_PLACE
    weights: Vector | None = None


def follow(probe: Probe, seen_c: float, now_ms: int, lag_s: float) -> None:
    """Let a probe's body follow, with a lag, what it has been in until now.

    Args:
        probe: The probe.
        seen_c: How warm that is [°C].
        now_ms: Now [ms].
        lag_s: Time constant in its medium [s].
    """
    lag_s = probe.where.lag_s or lag_s
    lasting_s = (now_ms - probe.heard_ms) / 1000
    share = -math.expm1(-lasting_s / lag_s) if lag_s > 0 else 1.0
    probe.body_c += (seen_c - probe.body_c) * share
    probe.heard_ms = now_ms


def shown(probe: Probe, noise_k: float) -> Reading:
    """Return what a probe says, and set when it speaks again."""
    now_ms = probe.heard_ms
    probe.next_ms = now_ms + probe.plan.every_ms
    noise_k *= probe.noise.standard_normal()
    shown_c = probe.body_c - probe.plan.offset_mk / 1000 + noise_k
    steps = round(shown_c * STEPS_PER_K)
    return Reading(probe.plan.name, Millis(now_ms), steps * 1000 // STEPS_PER_K)
