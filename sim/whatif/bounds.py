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
from sim.whatif.jit import compiled
from sim.whatif.shape import (
    BY_HEAT,
    BY_PUSH,
    BY_ROOM,
    DECAY,
    MAT,
    OFFSET,
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
        exposed_mk: Most that medium and room can be apart [mK].
    """

    low_mc: Vector
    high_mc: Vector
    apart_mk: Vector
    exposed_mk: Vector


def _reach(heat: Heat, found: Matrix) -> None:
    """Run each zone never heated and always heated side by side."""
    for i in range(len(heat.by)):
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
    allowed_mk = STEP_MK + RATE_MK_PER_S * span.step_ms // 1000
    for number, zone in enumerate(model.zones):
        mat = far.apart_mk[number] + zone.heat_k * MILLI
        medium = zone.coupling * far.apart_mk[number] / zone.mat_s
        medium += far.exposed_mk[number] / zone.medium_s
        medium += MILLI * pushed[number]
        fastest = mat / zone.mat_s if zone.at_mat else medium
        if FASTER * fastest * span.step_s + MARGIN_MC > allowed_mk:
            return False
    return True
