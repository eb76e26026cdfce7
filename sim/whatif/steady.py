"""How near its setpoint a block of lanes is kept, and how evenly.

A mat is warm from when its driving temperature first comes within the band below
its setpoint. As with the readings, eight scans are kept and counted together. What
may live here: sums over the scans, most of them from then on. No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked
from sim.whatif.rows import (
    APART,
    APART_LATELY,
    DRIVING_IN_BAND,
    KEPT,
    LANES,
    LAST,
    OFF,
    OFTEN,
    OPENED,
    SPREAD,
    SQUARED,
    WARM_FROM,
)
from sim.whatif.shape import NOT, ONCE, Readings, Shape
from sim.whatif.words import across

SUMS = 3
"""Columns of the answer before those of the trays."""


@inlined
def count(s: Vector, h: Readings, r: Readings, shape: Shape, k: int) -> None:
    """Count what was kept of the last eight scans, up to scan k."""
    first, cold = k - (k & LAST), 0
    if k & OFTEN == OFTEN:
        _put_by(s, h, shape.lanes)
    for v in range(across(shape.lanes)):
        cold += 1 if s[WARM_FROM + v] > first else 0
    if cold > 0 or k & LAST != LAST:
        for row in range((k & LAST) + 1):
            _one(s, h, r, shape, row * LANES, float(first + row))
        return
    band = np.float32(shape.band)
    for v in range(across(shape.lanes)):
        near, apart = NOT, NOT
        for row in range(0, KEPT * LANES, LANES):
            near += ONCE if abs(r[row + OFF + v]) <= band else NOT
            apart += r[row + SPREAD + v]
        h[DRIVING_IN_BAND + v] += near
        h[APART_LATELY + v] += apart
    for v in range(across(shape.lanes)):
        squared = 0.0
        for row in range(0, KEPT * LANES, LANES):
            off = np.float64(r[row + OFF + v])
            squared += off * off
        s[SQUARED + v] += squared


@inlined
def _put_by(s: Vector, h: Readings, lanes: int) -> None:
    for v in range(across(lanes)):
        s[APART + v] += np.float64(h[APART_LATELY + v])
        h[APART_LATELY + v] = NOT


@inlined
def _one(
    s: Vector, h: Readings, r: Readings, shape: Shape, row: int, at: float
) -> None:
    """Count one of them; some lane may become warm in it."""
    opened = 0
    for v in range(across(shape.lanes)):
        off, since = np.float64(r[row + OFF + v]), s[WARM_FROM + v]
        opens = (off >= -shape.band) & (since > at)
        since = at if opens else since
        s[WARM_FROM + v] = unmasked(since)
        warm = since <= at
        h[DRIVING_IN_BAND + v] += ONCE if abs(off) <= shape.band else NOT
        s[SQUARED + v] += off * off if warm else 0.0
        s[APART + v] += float(r[row + SPREAD + v]) if warm else 0.0
        opened += 1 if opens else 0
    if opened > 0:
        s[OPENED] = at
