"""How far the zones can get at all, whatever a plan does.

A root zone that is heated more is nowhere cooler, so that no candidate leaves
the band between never heated and always heated. What may live here: that band,
and which checks of readings it makes needless.
"""

from collections.abc import Iterator
from math import ceil
from typing import NamedTuple

import numpy as np

from controller.core.judge import HIGHEST_MC, LOWEST_MC, RATE_MK_PER_S, STEP_MK
from controller.core.response import CLIMB_MS, LOOK_MS
from sim.thermal import Matrix, Vector
from sim.whatif.heat import MILLI
from sim.whatif.shape import (
    BY_HEAT,
    BY_NEAR,
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

BLOCK = 64
"""Chosen: steps that are done in one product of matrices."""

STRETCH = 2048
"""Chosen: steps that stay near the processor while all is asked of them."""

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


def reach(heat: Heat, step_ms: float) -> Reach:
    """Return how far each zone can get in steps of a length."""
    low, high, apart, exposed, step = _ends(heat)
    fades, shown = _fades(heat), heat.by[SHOWN : SHOWN + PARTS]
    off = READ + HALF_WIDTH * (np.abs(shown) / fades).sum(axis=0)
    # It compares until the first look after so long.
    window = ceil(CLIMB_MS / step_ms) + ceil(LOOK_MS / step_ms)
    heated = [_climb(heat, zone, window) for zone in range(heat.by.shape[1])]
    climb = window * step + np.array(heated) + 2 * off
    return Reach(low - off, high + off, apart, exposed, climb, off)


def _ends(heat: Heat) -> tuple[Vector, Vector, Vector, Vector, Vector]:
    """Return of each zone, never heated and always heated, how far it gets.

    Lowest and highest reading; most that mat and medium, and the medium and what it
    loses its heat to, are apart; most that it warms in a step without heat.
    """
    zones, halved = heat.by.shape[1], heat.by[HALVED, :, np.newaxis] > 0.0
    of = np.stack([_modes(heat, row) for row in (SHOWN, MAT, OUTER)], axis=1)
    of = np.concatenate([of, np.ones_like(of[:, :1])], axis=1)
    low, high = np.full(zones, np.inf), np.full(zones, -np.inf)
    apart, exposed, step = np.zeros((3, zones))
    last = np.full((zones, 1), np.inf)
    for begin, cold, heated in _stepped(heat):
        read, mat, outer, medium = (of @ cold).swapaxes(0, 1)
        hot_read, hot_mat, hot_outer, hot = (of @ (cold + heated)).swapaxes(0, 1)
        low = np.minimum(low, read.min(axis=1))
        high = np.maximum(high, hot_read.max(axis=1))
        step = np.maximum(step, np.diff(read, axis=1, prepend=last).max(axis=1))
        last = read[:, -1:]
        apart = np.maximum(apart, (hot_mat - medium).max(axis=1))
        apart = np.maximum(apart, (hot - mat).max(axis=1))
        room = heat.room_c[begin : begin + read.shape[1]] + heat.by[OFFSET, :, None]
        side = np.where(halved, outer, MILLI * room)
        hot_side = np.where(halved, hot_outer, side)
        exposed = np.maximum(exposed, (hot - side).max(axis=1))
        exposed = np.maximum(exposed, (hot_side - medium).max(axis=1))
    return low, high, apart, exposed, step


def _modes(heat: Heat, row: int) -> Matrix:
    """Return a coefficient of each mode that there is, shape (zones, modes)."""
    found: Matrix = heat.by[row : row + heat.driven.shape[1]].T
    return found


def _stepped(heat: Heat) -> Iterator[tuple[int, Matrix, Matrix]]:
    """Step the modes of all zones through the span, some thousand steps at a time.

    Yields the first step of some; the modes where each of them begins, never heated,
    shape (zones, modes, steps); and what heat from the first step of all on has added
    to that by then, since it adds up.
    """
    decay, near = _modes(heat, DECAY)[..., np.newaxis], _modes(heat, BY_NEAR)
    by_heat = _modes(heat, BY_HEAT)[..., np.newaxis]
    ages = np.arange(BLOCK + 1)
    before = ages - 1 - ages[:BLOCK, np.newaxis]  # steps since each of a block's
    kept = np.where(before >= 0, decay[..., np.newaxis] ** np.maximum(0, before), 0.0)
    fades, risen = decay**ages, by_heat * kept.sum(axis=-2)
    cold, heated = _modes(heat, START), np.zeros(decay.shape[:2])
    for begin in range(0, len(heat.room_c), STRETCH):
        some = slice(begin, begin + STRETCH)
        drive = heat.driven[some].astype(np.float64)
        if len(heat.sudden) > 0:
            poured = np.where(heat.sudden[some], heat.push[some], 0.0)
            drive += near.T * poured[:, np.newaxis]
        steps = len(drive)
        padded = np.zeros((*cold.shape, -(-steps // BLOCK), BLOCK))
        padded.reshape(*cold.shape, -1)[..., :steps] = drive.T
        within = padded @ kept
        begins = np.empty((2, *within.shape[:3], 1))
        for block in range(within.shape[2]):
            begins[:, :, :, block, 0] = cold, heated
            cold = cold * fades[..., BLOCK] + within[:, :, block, BLOCK]
            heated = heated * fades[..., BLOCK] + risen[..., BLOCK]
        both = begins * fades[:, :, np.newaxis, :BLOCK]
        both[0] += within[..., :BLOCK]
        both[1] += risen[:, :, np.newaxis, :BLOCK]
        flat = both.reshape(2, *cold.shape, -1)[..., :steps]
        yield begin, flat[0], flat[1]


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
