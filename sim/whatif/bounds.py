"""How far the zones can get at all, whatever a plan does.

A root zone that is heated more is nowhere cooler, so that no candidate leaves
the band between never heated and always heated. What may live here: that band,
and which checks of readings it makes needless.
"""

from math import ceil
from typing import NamedTuple

import numpy as np

from controller.core.judge import HIGHEST_MC, LOWEST_MC, RATE_MK_PER_S, STEP_MK
from controller.core.response import CLIMB_MS, LOOK_MS
from sim.thermal import Matrix, Vector
from sim.whatif.heat import MILLI
from sim.whatif.jit import compiled
from sim.whatif.shape import (
    BY_HEAT,
    BY_NEAR,
    BY_PUSH,
    BY_ROOM,
    DECAY,
    HALVED,
    MAT,
    OFFSET,
    OUTER,
    SHOWN,
    START,
    Heat,
)
from sim.whatif.span import Span
from sim.whatif.words import larger, smaller
from sim.zone_model import PARTS, MatModel

HALF_WIDTH = 2.0**-6
"""Two roundings of half the width are off by no more in a step, below 2**17 [m°C]."""

READ = 1.0
"""More than a reading is rounded by [m°C]."""

FASTER = 1.5
"""Chosen: between two scans a zone may move faster than at either."""

FADED = 12.0
"""Time constants after which heat is felt no more: 6e-6 of it, less than 1 mK."""

LEAST_SHARE = 2.0**-25
"""Less than half the width can tell from nothing."""

LOOKED_AT = 12
"""Chosen: windows of which the most that a reading can rise is found."""


class Reach(NamedTuple):
    """The band of each zone over a span; shape (zones,).

    Attributes:
        low_mc: Lowest reading possible [m°C].
        high_mc: Highest reading possible [m°C].
        apart_mk: Most that mat and medium can be apart [mK].
        exposed_mk: Most that can be apart what the probe's medium is and what it
            loses its heat to, the room or the outer half [mK].
        climb_mk: Most that a reading can rise while the guard against warming too
            fast compares [mK].
        off_mk: No reading is off by more, of all that is rounded [mK].
    """

    low_mc: Vector
    high_mc: Vector
    apart_mk: Vector
    exposed_mk: Vector
    climb_mk: Vector
    off_mk: Vector


def _reach(heat: Heat, found: Matrix) -> None:
    """Run each zone never heated and always heated side by side."""
    sudden = len(heat.sudden) > 0
    for i in range(heat.by.shape[1]):
        by, last = heat.by[:, i], -1e18
        cold0, cold1, cold2 = by[START], by[START + 1], by[START + 2]
        hot0, hot1, hot2 = cold0, cold1, cold2
        shown0, shown1, shown2 = by[SHOWN], by[SHOWN + 1], by[SHOWN + 2]
        mat0, mat1, mat2 = by[MAT], by[MAT + 1], by[MAT + 2]
        outer0, outer1, outer2 = by[OUTER], by[OUTER + 1], by[OUTER + 2]
        low, high, apart, exposed, step = 1e18, -1e18, 0.0, 0.0, 0.0
        for k in range(len(heat.room_c)):
            room, push = heat.room_c[k] + by[OFFSET], heat.push[k, i]
            read = shown0 * cold0 + shown1 * cold1 + shown2 * cold2
            low, step = smaller(low, read), larger(step, read - last if k > 0 else 0.0)
            last = read
            high = larger(high, shown0 * hot0 + shown1 * hot1 + shown2 * hot2)
            cold, hot = cold0 + cold1 + cold2, hot0 + hot1 + hot2
            cold_mat = mat0 * cold0 + mat1 * cold1 + mat2 * cold2
            hot_mat = mat0 * hot0 + mat1 * hot1 + mat2 * hot2
            apart = larger(apart, larger(hot_mat - cold, hot - cold_mat))
            cold_side, hot_side = 1000.0 * room, 1000.0 * room
            if by[HALVED] > 0.0:
                cold_side = outer0 * cold0 + outer1 * cold1 + outer2 * cold2
                hot_side = outer0 * hot0 + outer1 * hot1 + outer2 * hot2
            exposed = larger(exposed, larger(hot - cold_side, hot_side - cold))
            drive0 = by[BY_ROOM] * room + by[BY_PUSH] * push
            drive1 = by[BY_ROOM + 1] * room + by[BY_PUSH + 1] * push
            drive2 = by[BY_ROOM + 2] * room + by[BY_PUSH + 2] * push
            if sudden and heat.sudden[k, i]:
                drive0 += by[BY_NEAR] * push
                drive1 += by[BY_NEAR + 1] * push
                drive2 += by[BY_NEAR + 2] * push
            cold0 = by[DECAY] * cold0 + drive0
            cold1 = by[DECAY + 1] * cold1 + drive1
            cold2 = by[DECAY + 2] * cold2 + drive2
            hot0 = by[DECAY] * hot0 + by[BY_HEAT] + drive0
            hot1 = by[DECAY + 1] * hot1 + by[BY_HEAT + 1] + drive1
            hot2 = by[DECAY + 2] * hot2 + by[BY_HEAT + 2] + drive2
        found[0, i], found[1, i], found[2, i], found[3, i] = low, high, apart, exposed
        found[4, i] = step


reach_compiled = compiled(_reach)
reach_plain = _reach


def reach(heat: Heat, step_ms: float, *, bare: bool) -> Reach:
    """Return how far each zone can get in steps of a length."""
    found = np.zeros((5, heat.by.shape[1]))
    (reach_plain if bare else reach_compiled)(heat, found)
    low, high, apart, exposed, step = found
    fades, shown = _fades(heat), heat.by[SHOWN : SHOWN + PARTS]
    off = READ + HALF_WIDTH * (np.abs(shown) / fades).sum(axis=0)
    # It compares until the first look after so long.
    window = ceil(CLIMB_MS / step_ms) + ceil(LOOK_MS / step_ms)
    heated = [_climb(heat, zone, window) for zone in range(heat.by.shape[1])]
    climb = window * step + np.array(heated) + 2 * off
    return Reach(low - off, high + off, apart, exposed, climb, off)


def _fades(heat: Heat) -> Matrix:
    """Return which share of each mode fades in a step, above 0; shape (3, zones)."""
    fades: Matrix = np.maximum(1 - heat.by[DECAY : DECAY + PARTS], LEAST_SHARE)
    return fades


def _climb(heat: Heat, zone: int, window: int) -> float:
    """Return the most that heat can raise a reading by within a window of steps.

    A rise is a sum over all steps before: what each of them adds if it is heated,
    which fades. The most is the sum of those that add something. Windows are looked
    at a few steps apart; over the steps in between it rises as fast as ever.
    """
    by, apart = heat.by[:, zone], -(-window // LOOKED_AT)
    oldest = min(len(heat.room_c), ceil(FADED / _fades(heat)[:, zone].min()))
    age, felt = np.arange(oldest), np.zeros(oldest)
    for mode in range(PARTS):
        felt += by[SHOWN + mode] * by[BY_HEAT + mode] * by[DECAY + mode] ** age

    def within(steps: int) -> float:
        rise = felt.copy()
        rise[steps:] -= felt[:-steps]
        return float(np.maximum(0.0, rise).sum())

    if oldest <= window:  # all heat there can have been
        most = float(np.maximum(0.0, felt).sum())
    else:
        most = max(within(steps) for steps in range(apart, window + apart, apart))
    return most + (apart - 1) * within(1)


def doubtless(model: MatModel, span: Span, far: Reach) -> bool:
    """Whether no reading can be one that the core would doubt at sight."""
    if far.low_mc.min() < LOWEST_MC or far.high_mc.max() > HIGHEST_MC:
        return False
    pushed = np.maximum(span.push.max(axis=0), -span.push.min(axis=0))
    poured = np.zeros(len(pushed))
    if span.sudden is not None:
        poured = np.where(span.sudden, np.abs(span.push), 0.0).max(axis=0)
    allowed_mk = STEP_MK + RATE_MK_PER_S * span.step_ms // 1000
    for number, zone in enumerate(model.zones):
        mat = far.apart_mk[number] + zone.heats_k_s * zone.mat_s * MILLI
        if zone.at_mat:  # and then what it reads is how warm the mat is
            room_mc = MILLI * (span.room_c + zone.offset_k)
            above_mk = far.high_mc[number] - room_mc.min()
            below_mk = room_mc.max() - far.low_mc[number]
            mat += zone.leak * max(above_mk, below_mk)
        medium = zone.coupling * far.apart_mk[number] / zone.mat_s
        if zone.between_s is None:
            medium += far.exposed_mk[number] / zone.medium_s
            medium += MILLI * pushed[number]
        else:
            medium *= 2  # of half the capacity
            # Within a step a push moves the outer half before the next scan sees it.
            outer = far.exposed_mk[number] + MILLI * pushed[number] * span.step_s
            medium += outer / zone.between_s + MILLI * poured[number]
        fastest = mat / zone.mat_s if zone.at_mat else medium
        if FASTER * fastest * span.step_s + 2 * far.off_mk[number] > allowed_mk:
            return False
    return True
