"""What is counted of the readings of a block of lanes.

The readings of eight scans are kept and counted together, so that a sum is
fetched and put back once in eight scans. A reading is a whole number that half
the width holds exactly, and so are the sums of eight. What may live here: sums
over readings. No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import across, inlined, unmasked
from sim.whatif.rows import (
    BAND_FROM,
    BAND_TO,
    BASE,
    FAR,
    HEAT,
    IN_BAND,
    KEPT,
    LANES,
    LAST,
    LEAST,
    PEAK,
    READ,
    READS,
    SETPOINT,
    SHUT,
    UPPER,
    ZONE,
)
from sim.whatif.shape import Readings, Shape

NOT, ONCE, NEVER = np.float32(0.0), np.float32(1.0), np.float32(np.inf)


@inlined
def set_band(s: Vector, h: Readings, shape: Shape, k: int) -> None:
    """Keep what counts as in band at scan k."""
    row = (k & LAST) * LANES
    for v in range(across(shape.lanes)):
        h[row + BAND_FROM + v] = s[SETPOINT + v] - shape.band
        h[row + BAND_TO + v] = s[SETPOINT + v] + shape.band


@inlined
def tally(z: Vector, h: Readings, shape: Shape) -> None:
    """Count the readings of the last eight scans."""
    for i in range(shape.zones):
        at, read = (i * ZONE) & FAR, (READ + i * READS) & FAR
        for v in range(across(shape.lanes)):
            temp = h[read + v]
            high, low, total = temp, max(temp, h[SHUT + v]), temp
            near = (temp >= h[BAND_FROM + v]) & (temp <= h[BAND_TO + v])
            times = ONCE if near else NOT
            for row in range(LANES, KEPT * LANES, LANES):
                temp = h[read + row + v]
                high, total = max(high, temp), total + temp
                low = min(low, max(temp, h[SHUT + row + v]))
                near = (temp >= h[BAND_FROM + row + v]) & (temp <= h[BAND_TO + row + v])
                times += ONCE if near else NOT
            z[at + PEAK + v] = unmasked(max(z[at + PEAK + v], float(high)))
            z[at + LEAST + v] = unmasked(min(z[at + LEAST + v], float(low)))
            z[at + HEAT + v] += float(total)
            z[at + IN_BAND + v] += float(times)
        if shape.crosses and i < shape.trays:
            _between(z, h, at, read, shape.lanes)


@inlined
def _between(z: Vector, h: Readings, at: int, read: int, lanes: int) -> None:
    """Put the sum right by what lies below a base or above an upper cut-off."""
    own, rows = at & FAR, read & FAR
    for row in range(KEPT):
        for v in range(across(lanes)):
            temp = float(h[rows + row * LANES + v])
            cut = min(max(temp, z[own + BASE + v]), z[own + UPPER + v])
            z[own + HEAT + v] += cut - temp


@inlined
def pad(h: Readings, shape: Shape, scans: int) -> None:
    """Fill what is left of eight scans after the last.

    The rows repeat the last reading, out of every band: only the sum has them;
    see spare.
    """
    last = ((scans - 1) & LAST) * LANES
    for row in range(LANES + last, KEPT * LANES, LANES):
        for v in range(shape.lanes):
            h[BAND_FROM + row + v], h[SHUT + row + v] = NEVER, h[SHUT + last + v]
            for i in range(shape.zones):
                h[READ + i * READS + row + v] = h[READ + i * READS + last + v]


def spare(scans: int) -> int:
    """Return how often the last reading is in the sum besides its own scan."""
    return -scans & LAST
