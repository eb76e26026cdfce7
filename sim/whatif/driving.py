"""The driving temperature of a block of lanes: the twin of root_zone.

What may live here: how one temperature stands for several trays.
"""

from math import floor

from sim.thermal import Vector
from sim.whatif.demands import whole
from sim.whatif.jit import inlined
from sim.whatif.rows import (
    FAR,
    HOT,
    MOST,
    PAD_HIGH,
    PAD_LOW,
    ROOT,
    SUM,
    TEMP,
    ZONE,
    ZONES,
)
from sim.whatif.shape import COOLEST, MEAN, MEDIAN, TRAY, Shape

WIRES = 8
"""As many trays a network of comparisons sorts in all lanes at once."""


@inlined
def drive(s: Vector, shape: Shape) -> None:
    """Find each lane's driving temperature."""
    lanes, trays = shape.lanes, shape.trays
    if shape.way == TRAY:
        at = (ZONES + shape.tray * ZONE + TEMP) & FAR
        for v in range(lanes & MOST):
            s[ROOT + v] = s[at + v]
    elif shape.way == MEAN:
        for v in range(lanes & MOST):
            s[ROOT + v] = whole(s[SUM + v] / trays)
    elif shape.way == COOLEST:
        _coolest(s, lanes, trays)
    elif shape.way == MEDIAN:
        if trays <= WIRES:
            _median(s, lanes, trays)
        else:
            _median_of_many(s, lanes, trays)
    else:
        for v in range(lanes & MOST):
            s[ROOT + v] = s[HOT + v]


@inlined
def _coolest(s: Vector, lanes: int, trays: int) -> None:
    for v in range(lanes & MOST):
        s[ROOT + v] = s[ZONES + TEMP + v]
    for i in range(1, trays):
        at = (ZONES + i * ZONE + TEMP) & FAR
        for v in range(lanes & MOST):
            s[ROOT + v] = min(s[ROOT + v], s[at + v])


@inlined
def _median_of_many(s: Vector, lanes: int, trays: int) -> None:
    for v in range(lanes & MOST):
        low = _ranked(s, v, trays, (trays - 1) // 2)
        high = _ranked(s, v, trays, trays // 2)
        s[ROOT + v] = float(floor((low + high) / 2.0))


@inlined
def _ranked(s: Vector, v: int, trays: int, rank: int) -> float:
    """Return the reading of a rank among the trays, from the coolest as 0."""
    found = 0.0
    for i in range(trays):
        temp, below, alike = s[ZONES + i * ZONE + TEMP + v], 0, 0
        for j in range(trays):
            other = s[ZONES + j * ZONE + TEMP + v]
            below += 1 if other < temp else 0
            alike += 1 if other == temp else 0
        if below <= rank < below + alike:
            found = temp
    return found


@inlined
def _wire(number: int, trays: int) -> int:
    """Return the row on a wire: a tray, or padding that keeps the middle there."""
    if number < trays:
        return (ZONES + number * ZONE + TEMP) & FAR
    return PAD_LOW if number < trays + (WIRES - trays) // 2 else PAD_HIGH


@inlined
def _median(s: Vector, lanes: int, trays: int) -> None:
    """Sort eight wires as far as the two in the middle need it.

    Batcher's odd-even merge of two sorted fours. With an odd number of trays
    there is one more padding above than below, and the lower of the two in the
    middle is the median.
    """
    r0, r1, r2, r3 = _wire(0, trays), _wire(1, trays), _wire(2, trays), _wire(3, trays)
    r4, r5, r6, r7 = _wire(4, trays), _wire(5, trays), _wire(6, trays), _wire(7, trays)
    odd = trays % 2 == 1
    for v in range(lanes & MOST):
        a, b, c, d = _sorted(s[r0 + v], s[r1 + v], s[r2 + v], s[r3 + v])
        e, f, g, h = _sorted(s[r4 + v], s[r5 + v], s[r6 + v], s[r7 + v])
        # Of each pair from opposite ends the lower one is among the lower four.
        low = _higher(_higher(min(a, h), min(b, g)), _higher(min(c, f), min(d, e)))
        high = _lower(_lower(max(a, h), max(b, g)), _lower(max(c, f), max(d, e)))
        high = low if odd else high
        s[ROOT + v] = whole((low + high) / 2.0 - 0.25)


@inlined
def _sorted(
    a: float, b: float, c: float, d: float
) -> tuple[float, float, float, float]:
    a, b = min(a, b), max(a, b)
    c, d = min(c, d), max(c, d)
    a, c = min(a, c), max(a, c)
    b, d = min(b, d), max(b, d)
    return a, min(b, c), max(b, c), d


@inlined
def _higher(a: float, b: float) -> float:
    return max(a, b)


@inlined
def _lower(a: float, b: float) -> float:
    return min(a, b)
