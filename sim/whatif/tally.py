"""What is counted of the readings of a block of lanes.

The readings of eight scans are kept and counted together, so that a sum is
fetched and put back once in eight scans. A reading is a whole number that half
the width holds exactly, and so are the sums of eight. What may live here: sums
over readings. No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import across, inlined, unmasked_half
from sim.whatif.rows import (
    AIM,
    BASE,
    FAR,
    HEAT,
    IN_BAND,
    KEPT,
    LANES,
    LAST,
    LEAST,
    OPENED,
    PEAK,
    READ,
    READS,
    SETPOINT,
    TOTAL,
    UPPER,
    WARM_FROM,
    ZONE,
)
from sim.whatif.shape import NOT, ONCE, Readings, Shape

NEVER = np.float32(np.inf)


@inlined
def set_aim(h: Readings, shape: Shape, k: int) -> None:
    """Keep what readings shall be near to at scan k."""
    row = (k & LAST) * LANES
    for v in range(shape.lanes):
        h[row + AIM + v] = h[SETPOINT + v]


@inlined
def tally(s: Vector, z: Vector, h: Readings, r: Readings, shape: Shape, k: int) -> None:
    """Count the readings of the last eight scans, up to scan k."""
    band = np.float32(shape.band)
    for i in range(shape.zones):
        read = (READ + i * READS) & FAR
        for v in range(across(shape.lanes)):
            temp = r[read + v]
            high, low, total = temp, temp, temp
            times = ONCE if abs(temp - h[AIM + v]) <= band else NOT
            for row in range(LANES, KEPT * LANES, LANES):
                temp = r[read + row + v]
                high, low, total = max(high, temp), min(low, temp), total + temp
                times += ONCE if abs(temp - h[AIM + row + v]) <= band else NOT
            r[read + PEAK + v] = unmasked_half(max(r[read + PEAK + v], high))
            r[read + LEAST + v] = unmasked_half(min(r[read + LEAST + v], low))
            r[read + IN_BAND + v] += times
            h[TOTAL + v] = total
        _add(z, h, (i * ZONE) & FAR, shape.lanes)
        if shape.crosses and i < shape.trays:
            _between(z, r, i * ZONE, read, shape.lanes)
    if s[OPENED] >= k - (k & LAST):
        _open(s, r, shape, k)


@inlined
def _add(z: Vector, h: Readings, at: int, lanes: int) -> None:
    for v in range(across(lanes)):
        z[at + HEAT + v] += float(h[TOTAL + v])


@inlined
def _open(s: Vector, r: Readings, shape: Shape, k: int) -> None:
    """Begin with the lowest readings of lanes that were first warm just now."""
    for v in range(shape.lanes):
        since = s[WARM_FROM + v]
        if k - (k & LAST) <= since <= k:
            for i in range(shape.zones):
                read = READ + i * READS + v
                low = NEVER
                for row in range((int(since) & LAST) * LANES, KEPT * LANES, LANES):
                    low = min(low, r[read + row])
                r[read + LEAST] = low


@inlined
def _between(z: Vector, r: Readings, at: int, read: int, lanes: int) -> None:
    """Put the sum right by what lies below a base or above an upper cut-off."""
    own, rows = at & FAR, read & FAR
    for row in range(KEPT):
        for v in range(across(lanes)):
            temp = float(r[rows + row * LANES + v])
            cut = min(max(temp, z[own + BASE + v]), z[own + UPPER + v])
            z[own + HEAT + v] += cut - temp


@inlined
def pad(h: Readings, r: Readings, shape: Shape, scans: int) -> None:
    """Fill what is left of eight scans after the last.

    The rows repeat the last reading, out of every band: only the sum has them;
    see spare.
    """
    last = ((scans - 1) & LAST) * LANES
    for row in range(LANES + last, KEPT * LANES, LANES):
        for v in range(shape.lanes):
            h[AIM + row + v] = NEVER
            for i in range(shape.zones):
                r[READ + i * READS + row + v] = r[READ + i * READS + last + v]


def spare(scans: int) -> int:
    """Return how often the last reading is in the sum besides its own scan."""
    return -scans & LAST
