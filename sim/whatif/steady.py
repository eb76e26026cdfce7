"""How near its setpoint a block of lanes is kept, and how evenly.

A mat is warm from when its driving temperature first comes within the band below
its setpoint. What may live here: sums over the scans, most of them from then on.
No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import across, inlined, unmasked
from sim.whatif.rows import (
    APART,
    COOL,
    DRIVING_IN_BAND,
    HOT,
    OPENED,
    ROOT,
    SETPOINT,
    SQUARED,
    WARM_FROM,
)
from sim.whatif.shape import Readings, Shape

SUMS = 3
"""Columns of the answer before those of the trays."""


@inlined
def keep(s: Vector, h: Readings, shape: Shape, k: int) -> None:
    """Count a scan; its driving temperature and setpoint are known."""
    opened, at = 0, float(k)
    for v in range(across(shape.lanes)):
        off, since = np.float64(h[ROOT + v] - h[SETPOINT + v]), s[WARM_FROM + v]
        opens = (off >= -shape.band) & (since > at)
        since = at if opens else since
        s[WARM_FROM + v] = unmasked(since)
        warm = since <= at
        s[DRIVING_IN_BAND + v] += 1.0 if abs(off) <= shape.band else 0.0
        s[SQUARED + v] += off * off if warm else 0.0
        s[APART + v] += float(h[HOT + v] - h[COOL + v]) if warm else 0.0
        opened += 1 if opens else 0
    if opened > 0:
        s[OPENED] = at
