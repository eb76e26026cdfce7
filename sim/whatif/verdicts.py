"""Whether a lane's mat may be heated: the twin of protect.

Only lanes for which something may refuse heat come here. Probes are heard in
every scan and nobody has hands on the bench, so that limits, cut-outs and the
response guards are all there is. What may live here: reasons to refuse, the
strongest first. Nothing here asks for heat.
"""

from controller.core.judge import SECOND
from sim.thermal import Vector
from sim.whatif.doubts import read_at
from sim.whatif.jit import inlined
from sim.whatif.relay import switch
from sim.whatif.rows import (
    ALERT,
    CLIMB_UNTIL,
    COUNTED_AT,
    CUTOUT,
    CYCLE_HAS,
    HOT,
    LANES,
    NEXT_ACT,
    ON,
    OVER,
    REFUSED,
    REST_UNTIL,
    SETTLE,
    SINCE,
    SPENT,
    SURFACE_CUTOUT,
    SURFACE_HOT,
    SURFACE_LIMIT,
    TRIP,
    TRIP_AT,
    UP_MISSED,
    WATCH,
    ZONE,
)
from sim.whatif.shape import NOT, ONCE, Readings, Shape
from sim.whatif.wishes import tray_limit
from sim.whatif.words import EVEN

CLEAR = -1
TRIPPED, NOT_FELT, CUT, TRAY, SURFACE_CUT, SURFACE, ABOVE, CLIMBS, LONG, DAY = range(10)
"""Indices of span.REFUSALS."""


@inlined
def verdict(
    s: Vector, z: Vector, h: Readings, r: Readings, v: int, shape: Shape, k: int
) -> int:
    """Return the strongest reason to refuse a lane heat, or CLEAR."""
    now = k * shape.step
    if s[TRIP + v] >= 0.0:
        return int(s[TRIP + v])
    twice = _counted(s, z, r, v, shape, k)
    from_above = h[ON + v] == NOT and now - s[SINCE + v] > s[SETTLE + v]
    trip = CLEAR
    if twice:
        trip = CLEAR if from_above else TRIPPED
    elif h[UP_MISSED + v] > NOT:
        trip = NOT_FELT
    if trip != CLEAR:
        s[TRIP + v], s[TRIP_AT + v] = float(trip), now
        h[WATCH + v], s[ALERT] = ONCE, s[ALERT] + 1.0
        return trip
    limited = _limited(s, h, v, now)
    if limited != CLEAR:
        return ABOVE if from_above else limited
    return _answered(s, v, now)


@inlined
def _counted(s: Vector, z: Vector, r: Readings, v: int, shape: Shape, k: int) -> bool:
    """Count readings in a row over each cut-out; whether one is the second.

    In a scan that did not come here every probe was below its cut-out.
    """
    in_a_row = s[COUNTED_AT + v] == k - 1.0
    s[COUNTED_AT + v] = float(k)
    twice = False
    for i in range(shape.zones):
        at = i * ZONE + v
        cutout = s[CUTOUT + v] if i < shape.trays else s[SURFACE_CUTOUT + v]
        count = z[at + OVER] + 1.0 if in_a_row else 1.0
        z[at + OVER] = count if float(r[read_at(i, k) + v] - EVEN) >= cutout else 0.0
        twice = twice or z[at + OVER] >= SECOND
    return twice


@inlined
def _limited(s: Vector, h: Readings, v: int, now: float) -> int:
    hot, surface = float(h[HOT + v]), float(h[SURFACE_HOT + v])
    if hot >= tray_limit(s, v, now):
        return CUT if hot >= s[CUTOUT + v] else TRAY
    if surface >= s[SURFACE_LIMIT + v]:
        return SURFACE_CUT if surface >= s[SURFACE_CUTOUT + v] else SURFACE
    return CLEAR


@inlined
def _answered(s: Vector, v: int, now: float) -> int:
    """Return what the response guards refuse for."""
    if s[CLIMB_UNTIL + v] >= 0.0:
        return CLIMBS
    if s[REST_UNTIL + v] >= 0.0 and now < s[REST_UNTIL + v]:
        return LONG
    return DAY if s[SPENT + v] > 0.0 else CLEAR


@inlined
def refuse(s: Vector, h: Readings, v: int, cause: int, now: float) -> None:
    """Keep a lane off for a cause; minimum times do not delay it."""
    s[REFUSED + cause * LANES + v] += 1.0
    s[CYCLE_HAS + v], h[NEXT_ACT + v] = 0.0, NOT
    switch(s, h, v, NOT, now)
