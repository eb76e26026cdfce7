"""What is counted of the readings of a block of lanes.

The readings of eight scans are kept and counted together, so that a sum is
fetched and put back once in eight scans. A reading is a whole number that half
the width holds exactly, and so are the sums of eight. What may live here: sums
over readings. No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import inlined
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
    OFTEN,
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
from sim.whatif.words import (
    EVEN,
    across,
    higher,
    larger,
    lower,
    minus,
    plus,
    plus_if,
    smaller,
)

COLDEST, FARTHEST = EVEN - np.float32(2**22), EVEN + np.float32(2**22 - 1)
"""Below and above anything that can be read, with EVEN."""


@inlined
def set_aim(h: Readings, shape: Shape, k: int) -> None:
    """Keep what readings shall be near to at scan k."""
    row, band = (k & LAST) * LANES, np.float32(shape.band)
    for v in range(shape.lanes):
        h[row + AIM + v] = (h[SETPOINT + v] - band) + EVEN


@inlined
def tally(
    s: Vector,
    z: Vector,
    h: Readings,
    r: Readings,
    shape: Shape,
    k: int,
    held: bool,
) -> None:
    """Count the readings of the last eight scans, up to scan k.

    Args:
        s: Rows of the mats.
        z: Of the zones.
        h: Of the mats, of half the width.
        r: Of the zones, the same.
        shape: What is the same for all lanes.
        k: The scan.
        held: Readings shall have been near to the same in all of them.
    """
    wide = EVEN + np.float32(2.0 * shape.band)
    # What a compiler does not know to be 1 it adds in one go where it shall.
    one = EVEN + (ONCE if shape.trays > 0 else NOT)
    for i in range(shape.zones):
        read = (READ + i * READS) & FAR
        if held:
            _count(h, r, read, shape.lanes, 0, wide, one)
        else:
            _count(h, r, read, shape.lanes, 1, wide, one)
        if k & OFTEN == OFTEN:
            _add(z, r, (i * ZONE) & FAR, read, shape.lanes)
        if shape.crosses and i < shape.trays:
            _between(z, r, i * ZONE, read, shape.lanes)
    if s[OPENED] >= k - (k & LAST):
        _open(s, r, shape, k)


@inlined
def _count(
    h: Readings,
    r: Readings,
    read: int,
    lanes: int,
    by: int,
    wide: np.float32,
    one: np.float32,
) -> None:
    """Count eight readings of a zone; by 0, all are held to the first aim.

    Written out: a sum of whole numbers of which each has EVEN in it is put right at
    its end, where a compiler sees all of it.
    """
    for v in range(across(lanes)):
        at, aim, row = read + v, AIM + v, by * LANES
        a, b, c, d = r[at], r[at + LANES], r[at + 2 * LANES], r[at + 3 * LANES]
        at += 4 * LANES
        e, f, g, last = r[at], r[at + LANES], r[at + 2 * LANES], r[at + 3 * LANES]
        high = higher(higher(higher(a, b), higher(c, d)), higher(e, f))
        high = higher(high, higher(g, last))
        low = lower(lower(lower(a, b), lower(c, d)), lower(e, f))
        low = lower(low, lower(g, last))
        total = plus(plus(plus(a, b), plus(c, d)), plus(plus(e, f), plus(g, last)))
        times = plus_if(EVEN, minus(a, h[aim]), wide, one)
        times = plus_if(times, minus(b, h[aim + row]), wide, one)
        times = plus_if(times, minus(c, h[aim + 2 * row]), wide, one)
        times = plus_if(times, minus(d, h[aim + 3 * row]), wide, one)
        times = plus_if(times, minus(e, h[aim + 4 * row]), wide, one)
        times = plus_if(times, minus(f, h[aim + 5 * row]), wide, one)
        times = plus_if(times, minus(g, h[aim + 6 * row]), wide, one)
        times = plus_if(times, minus(last, h[aim + 7 * row]), wide, one)
        r[read + PEAK + v] = higher(r[read + PEAK + v], high)
        r[read + LEAST + v] = lower(r[read + LEAST + v], low)
        r[read + IN_BAND + v] += times - EVEN
        r[read + TOTAL + v] += total - EVEN


@inlined
def _add(z: Vector, r: Readings, at: int, read: int, lanes: int) -> None:
    for v in range(across(lanes)):
        z[at + HEAT + v] += np.float64(r[read + TOTAL + v])
        r[read + TOTAL + v] = NOT


@inlined
def _open(s: Vector, r: Readings, shape: Shape, k: int) -> None:
    """Begin with the lowest readings of lanes that were first warm just now."""
    for v in range(shape.lanes):
        since = s[WARM_FROM + v]
        if k - (k & LAST) <= since <= k:
            for i in range(shape.zones):
                read = READ + i * READS + v
                low = FARTHEST
                for row in range((int(since) & LAST) * LANES, KEPT * LANES, LANES):
                    low = smaller(low, r[read + row])
                r[read + LEAST] = low


@inlined
def _between(z: Vector, r: Readings, at: int, read: int, lanes: int) -> None:
    """Put the sum right by what lies below a base or above an upper cut-off."""
    own, rows = at & FAR, read & FAR
    for row in range(KEPT):
        for v in range(across(lanes)):
            temp = float(r[rows + row * LANES + v] - EVEN)
            cut = smaller(larger(temp, z[own + BASE + v]), z[own + UPPER + v])
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
            h[AIM + row + v] = FARTHEST
            for i in range(shape.zones):
                r[READ + i * READS + row + v] = r[READ + i * READS + last + v]


def spare(scans: int) -> int:
    """Return how often the last reading is in the sum besides its own scan."""
    return -scans & LAST
