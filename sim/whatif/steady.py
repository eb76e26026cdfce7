"""How near its setpoint a block of lanes is kept, and how evenly.

A mat is warm from when its driving temperature first comes within the band below
its setpoint. What may live here: sums over the scans, most of them from then on.
No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import across, inlined
from sim.whatif.rows import (
    APART,
    COOL,
    DRIVING_IN_BAND,
    HOT,
    LANES,
    LAST,
    ROOT,
    SETPOINT,
    SHUT,
    SQUARED,
    WARM,
)
from sim.whatif.shape import Readings, Shape

SUMS = 3
"""Columns of the answer before those of the trays."""

SHUT_OUT, OPEN = np.float32(np.inf), np.float32(-np.inf)


@inlined
def keep(s: Vector, h: Readings, shape: Shape, k: int) -> None:
    """Count a scan; its driving temperature and setpoint are known."""
    shut = SHUT + (k & LAST) * LANES
    for v in range(across(shape.lanes)):
        off = s[ROOT + v] - s[SETPOINT + v]
        warm = (off >= -shape.band) | (s[WARM + v] > 0.0)
        s[DRIVING_IN_BAND + v] += 1.0 if abs(off) <= shape.band else 0.0
        s[WARM + v] += 1.0 if warm else 0.0
        s[SQUARED + v] += off * off if warm else 0.0
        s[APART + v] += s[HOT + v] - s[COOL + v] if warm else 0.0
        h[shut + v] = OPEN if warm else SHUT_OUT
