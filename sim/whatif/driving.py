"""What all trays of a block of lanes are to the policy and the limits.

The twin of root_zone. What may live here: the warmest of them, how far apart they
are, and how one temperature stands for several. No decisions.
"""

from math import floor

import numpy as np

from sim.whatif.jit import inlined, unmasked_half
from sim.whatif.rows import (
    FAR,
    HOT,
    LANES,
    LAST,
    OFF,
    PAD_HIGH,
    PAD_LOW,
    READ,
    READS,
    ROOT,
    SETPOINT,
    SPREAD,
    SUM,
    SURFACE_HOT,
)
from sim.whatif.shape import COOLEST, MEAN, MEDIAN, NOT, TRAY, Readings, Shape
from sim.whatif.words import (
    EVEN,
    across,
    divided,
    higher,
    larger,
    lower,
    plus,
    rounded,
    rounded_half,
    smaller,
)

WIRES = 8
"""As many trays a network of comparisons sorts in all lanes at once.

The mean of as many is rounded alike at half the width: what is not halfway between
two whole numbers is a sixteenth off at least, and half the width has hundredths."""

EIGHTH = np.float32(1 / WIRES)

COLDEST = np.float32(-1e18)


@inlined
def heed(h: Readings, r: Readings, shape: Shape, k: int) -> bool:
    """Find what is warmest, and how far apart trays are, at scan k.

    Returns whether the driving temperature is found with it.
    """
    row, mean = (k & LAST) * LANES, shape.way == MEAN and shape.trays == WIRES
    spread, read = (SPREAD + row) & FAR, (READ + row) & FAR
    done = 1
    if mean:
        _mean_of_eight(h, r, read, row, shape.lanes)
        done = WIRES
    elif shape.trays >= WIRES:
        _heed_eight(h, r, read, spread, shape.lanes)
        done = WIRES
    else:
        for v in range(across(shape.lanes)):
            temp = r[read + v] - EVEN
            h[HOT + v], h[SUM + v], r[spread + v] = temp, temp, NOT
    for i in range(done, shape.trays):
        at = (read + i * READS) & FAR
        for v in range(across(shape.lanes)):
            temp, hot = r[at + v] - EVEN, h[HOT + v]
            cool, hotter = hot - r[spread + v], unmasked_half(larger(hot, temp))
            h[HOT + v] = hotter
            r[spread + v] = hotter - smaller(cool, temp)
            h[SUM + v] += temp
    for i in range(shape.trays, shape.zones):
        at = (read + i * READS) & FAR
        for v in range(across(shape.lanes)):
            before = h[SURFACE_HOT + v] if i > shape.trays else COLDEST
            h[SURFACE_HOT + v] = unmasked_half(larger(before, r[at + v] - EVEN))
    return mean


@inlined
def _heed_eight(h: Readings, r: Readings, at: int, spread: int, lanes: int) -> None:
    for v in range(across(lanes)):
        hot, cool, total = _of_eight(r, at + v)
        h[HOT + v], r[spread + v] = hot - EVEN, hot - cool
        h[SUM + v] = total - EVEN


@inlined
def _mean_of_eight(h: Readings, r: Readings, at: int, row: int, lanes: int) -> None:
    """Do the same, and find their mean: an eighth is exact, and needs no division."""
    for v in range(across(lanes)):
        hot, cool, total = _of_eight(r, at + v)
        h[HOT + v], r[row + SPREAD + v] = hot - EVEN, hot - cool
        _driving(h, r, row, v, rounded_half((total - EVEN) * EIGHTH))


@inlined
def _of_eight(r: Readings, at: int) -> tuple[np.float32, np.float32, np.float32]:
    """Return the highest, the lowest and the sum of eight readings, with EVEN."""
    a, b, c, d = r[at], r[at + READS], r[at + 2 * READS], r[at + 3 * READS]
    at += 4 * READS
    e, f, g, top = r[at], r[at + READS], r[at + 2 * READS], r[at + 3 * READS]
    warm, warmer = (
        higher(higher(a, b), higher(c, d)),
        higher(higher(e, f), higher(g, top)),
    )
    cool, cooler = lower(lower(a, b), lower(c, d)), lower(lower(e, f), lower(g, top))
    total = plus(plus(plus(a, b), plus(c, d)), plus(plus(e, f), plus(g, top)))
    return higher(warm, warmer), lower(cool, cooler), total


@inlined
def drive(h: Readings, r: Readings, shape: Shape, k: int) -> None:
    """Find each lane's driving temperature at scan k."""
    row = (k & LAST) * LANES
    lanes, trays = shape.lanes, shape.trays
    if shape.way == TRAY:
        at = (READ + shape.tray * READS + row) & FAR
        for v in range(across(lanes)):
            _driving(h, r, row, v, r[at + v] - EVEN)
    elif shape.way == MEAN:
        if trays <= WIRES:
            number = np.float32(trays)
            for v in range(across(lanes)):
                _driving(h, r, row, v, rounded_half(divided(h[SUM + v], number)))
        else:
            for v in range(across(lanes)):
                root = np.float32(rounded(np.float64(h[SUM + v]) / trays))
                _driving(h, r, row, v, root)
    elif shape.way == COOLEST:
        for v in range(across(lanes)):
            _driving(h, r, row, v, h[HOT + v] - r[row + SPREAD + v])
    elif shape.way == MEDIAN:
        if trays <= WIRES:
            _median(h, r, lanes, trays, row)
        else:
            _median_of_many(h, r, lanes, trays, row)
    else:
        for v in range(across(lanes)):
            _driving(h, r, row, v, h[HOT + v])


@inlined
def _driving(h: Readings, r: Readings, row: int, v: int, root: np.float32) -> None:
    """Keep a driving temperature, and how far it is off, for a scan's row."""
    h[ROOT + v] = root
    r[row + OFF + v] = root - h[SETPOINT + v]


@inlined
def _median_of_many(h: Readings, r: Readings, lanes: int, trays: int, row: int) -> None:
    for v in range(across(lanes)):
        low = _ranked(r, row + v, trays, (trays - 1) // 2)
        high = _ranked(r, row + v, trays, trays // 2)
        _driving(h, r, row, v, np.float32(floor((low + high) / 2.0)))


@inlined
def _ranked(r: Readings, at: int, trays: int, rank: int) -> float:
    """Return the reading of a rank among the trays, from the coolest as 0."""
    found = 0.0
    for i in range(trays):
        temp, below, alike = float(r[READ + i * READS + at]), 0, 0
        for j in range(trays):
            other = float(r[READ + j * READS + at])
            below += 1 if other < temp else 0
            alike += 1 if other == temp else 0
        if below <= rank < below + alike:
            found = temp
    return found - float(EVEN)


@inlined
def _wire(number: int, trays: int, row: int) -> int:
    """Return the row on a wire: a tray, or padding that keeps the middle there."""
    if number < trays:
        return (READ + number * READS + row) & FAR
    return PAD_LOW if number < trays + (WIRES - trays) // 2 else PAD_HIGH


@inlined
def _median(h: Readings, r: Readings, lanes: int, trays: int, row: int) -> None:
    """Sort eight wires as far as the two in the middle need it.

    Batcher's odd-even merge of two sorted fours. With an odd number of trays
    there is one more padding above than below, and the lower of the two in the
    middle is the median.
    """
    r0, r1 = _wire(0, trays, row), _wire(1, trays, row)
    r2, r3 = _wire(2, trays, row), _wire(3, trays, row)
    r4, r5 = _wire(4, trays, row), _wire(5, trays, row)
    r6, r7 = _wire(6, trays, row), _wire(7, trays, row)
    odd = trays % 2 == 1
    for v in range(across(lanes)):
        a, b, c, d = _sorted(r[r0 + v], r[r1 + v], r[r2 + v], r[r3 + v])
        e, f, g, top = _sorted(r[r4 + v], r[r5 + v], r[r6 + v], r[r7 + v])
        # Of each pair from opposite ends the lower one is among the lower four.
        low = larger(
            larger(smaller(a, top), smaller(b, g)),
            larger(smaller(c, f), smaller(d, e)),
        )
        high = smaller(
            smaller(larger(a, top), larger(b, g)), smaller(larger(c, f), larger(d, e))
        )
        high = low if odd else high
        both = float(low - EVEN) + float(high - EVEN)
        middle = np.float32(rounded(both / 2.0 - 0.25))
        _driving(h, r, row, v, middle)


@inlined
def _sorted(
    a: float, b: float, c: float, d: float
) -> tuple[float, float, float, float]:
    a, b = smaller(a, b), larger(a, b)
    c, d = smaller(c, d), larger(c, d)
    a, c = smaller(a, c), larger(a, c)
    b, d = smaller(b, d), larger(b, d)
    return a, smaller(b, c), larger(b, c), d
