"""How far the zones can get at all, whatever a plan does.

A root zone that is heated more is nowhere cooler, so that no candidate leaves
the band between never heated and always heated. What may live here: that band,
and which checks of single readings it makes needless.
"""

from typing import NamedTuple

import numpy as np

from controller.core.judge import HIGHEST_MC, LOWEST_MC, RATE_MK_PER_S, STEP_MK
from sim.thermal import Matrix, Vector
from sim.whatif.heat import MILLI
from sim.whatif.jit import compiled, inlined
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
from sim.zone_model import MatModel

MARGIN_MC = 5.0
"""Far more than sums of floats can be off, and a reading be rounded."""

FASTER = 1.5
"""Chosen: between two scans a zone may move faster than at either."""


class Reach(NamedTuple):
    """The band of each zone over a span; shape (zones,).

    Attributes:
        low_mc: Lowest reading possible [m°C].
        high_mc: Highest reading possible [m°C].
        apart_mk: Most that mat and medium can be apart [mK].
        exposed_mk: Most that can be apart what the probe's medium is and what it
            loses its heat to, the room or the outer half [mK].
    """

    low_mc: Vector
    high_mc: Vector
    apart_mk: Vector
    exposed_mk: Vector


@inlined
def _reach_of_halves(heat: Heat, i: int, found: Matrix) -> None:
    """Do the same for a zone whose medium is of two halves."""
    by, sudden = heat.by[i], len(heat.sudden) > 0
    cold0, cold1, cold2 = by[START], by[START + 1], by[START + 2]
    hot0, hot1, hot2 = cold0, cold1, cold2
    shown0, shown1, shown2 = by[SHOWN], by[SHOWN + 1], by[SHOWN + 2]
    mat0, mat1, mat2 = by[MAT], by[MAT + 1], by[MAT + 2]
    outer0, outer1, outer2 = by[OUTER], by[OUTER + 1], by[OUTER + 2]
    low, high, apart, exposed = 1e18, -1e18, 0.0, 0.0
    for k in range(len(heat.room_c)):
        low = min(low, shown0 * cold0 + shown1 * cold1 + shown2 * cold2)
        high = max(high, shown0 * hot0 + shown1 * hot1 + shown2 * hot2)
        cold, hot = cold0 + cold1 + cold2, hot0 + hot1 + hot2
        cold_mat = mat0 * cold0 + mat1 * cold1 + mat2 * cold2
        hot_mat = mat0 * hot0 + mat1 * hot1 + mat2 * hot2
        apart = max(apart, hot_mat - cold, hot - cold_mat)
        cold_outer = outer0 * cold0 + outer1 * cold1 + outer2 * cold2
        hot_outer = outer0 * hot0 + outer1 * hot1 + outer2 * hot2
        exposed = max(exposed, hot - cold_outer, hot_outer - cold)
        room, push = heat.room_c[k] + by[OFFSET], heat.push[k, i]
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
    found[i, 0], found[i, 1], found[i, 2], found[i, 3] = low, high, apart, exposed


def _reach(heat: Heat, found: Matrix) -> None:
    """Run each zone never heated and always heated side by side."""
    for i in range(len(heat.by)):
        if heat.by[i, HALVED] > 0.0:
            _reach_of_halves(heat, i, found)
            continue
        by = heat.by[i]
        cold0, cold1 = by[START], by[START + 1]
        hot0, hot1 = cold0, cold1
        shown0, shown1 = by[SHOWN], by[SHOWN + 1]
        mat0, mat1 = by[MAT], by[MAT + 1]
        low, high, apart, exposed = 1e18, -1e18, 0.0, 0.0
        for k in range(len(heat.room_c)):
            room = heat.room_c[k] + by[OFFSET]
            low = min(low, shown0 * cold0 + shown1 * cold1)
            high = max(high, shown0 * hot0 + shown1 * hot1)
            cold_mat, hot_mat = mat0 * cold0 + mat1 * cold1, mat0 * hot0 + mat1 * hot1
            apart = max(apart, hot_mat - cold0 - cold1, hot0 + hot1 - cold_mat)
            outside = 1000.0 * room
            exposed = max(exposed, hot0 + hot1 - outside, outside - cold0 - cold1)
            push = heat.push[k, i]
            drive0 = by[BY_ROOM] * room + by[BY_PUSH] * push
            drive1 = by[BY_ROOM + 1] * room + by[BY_PUSH + 1] * push
            cold0 = by[DECAY] * cold0 + drive0
            cold1 = by[DECAY + 1] * cold1 + drive1
            hot0 = by[DECAY] * hot0 + by[BY_HEAT] + drive0
            hot1 = by[DECAY + 1] * hot1 + by[BY_HEAT + 1] + drive1
        found[i, 0], found[i, 1], found[i, 2], found[i, 3] = low, high, apart, exposed


reach_compiled = compiled(_reach)
reach_plain = _reach


def reach(heat: Heat, *, bare: bool) -> Reach:
    """Return how far each zone can get."""
    found = np.zeros((len(heat.by), 4))
    (reach_plain if bare else reach_compiled)(heat, found)
    low, high, apart, exposed = found.T
    return Reach(low - MARGIN_MC, high + MARGIN_MC, apart, exposed)


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
        if FASTER * fastest * span.step_s + MARGIN_MC > allowed_mk:
            return False
    return True
