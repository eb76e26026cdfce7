"""How steadily a block of lanes is kept, once each is warm.

A mat is warm from when its driving temperature first comes within the band below
its setpoint. What may live here: sums over the scans from then on, in rows of
their own behind those of the zones. No decisions.
"""

from sim.thermal import Vector
from sim.whatif.jit import inlined
from sim.whatif.rows import FAR, LANES, MOST, ROOT, SETPOINT, TEMP, ZONE, ZONES
from sim.whatif.shape import Shape

WARM = 0 * LANES  # scans since it was warm
SQUARED = 1 * LANES  # of the driving temperature less the setpoint [mK²]
APART = 2 * LANES  # of the warmest tray less the coolest [mK]
COOL = 3 * LANES  # coolest tray, a scratch row [m°C]
WARMEST = 4 * LANES  # warmest tray, a scratch row [m°C]
LOW = 5 * LANES  # lowest reading of the first tray; a row for each [m°C]

SUMS = 3
"""Columns of the answer before those of the trays."""

NEVER = 1e18


@inlined
def rows_of(trays: int) -> int:
    """Return how much room these rows take."""
    return LOW + trays * LANES


@inlined
def ready(s: Vector, shape: Shape) -> None:
    """Put the lowest readings where any reading is below them."""
    low = ZONES + shape.zones * ZONE + LOW
    for i in range(shape.trays * LANES):
        s[low + i] = NEVER


@inlined
def keep(s: Vector, shape: Shape) -> None:
    """Count a scan; its driving temperature and setpoint are known."""
    own = (ZONES + shape.zones * ZONE) & FAR
    for v in range(shape.lanes & MOST):
        s[own + COOL + v], s[own + WARMEST + v] = NEVER, -NEVER
        near = s[ROOT + v] >= s[SETPOINT + v] - shape.band
        warm = near | (s[own + WARM + v] > 0.0)
        off = s[ROOT + v] - s[SETPOINT + v]
        s[own + WARM + v] += 1.0 if warm else 0.0
        s[own + SQUARED + v] += off * off if warm else 0.0
    for i in range(shape.trays):
        at = (ZONES + i * ZONE + TEMP) & FAR
        low = (own + LOW + i * LANES) & FAR
        for v in range(shape.lanes & MOST):
            temp = s[at + v]
            s[own + COOL + v] = min(s[own + COOL + v], temp)
            s[own + WARMEST + v] = max(s[own + WARMEST + v], temp)
            warm = s[own + WARM + v] > 0.0
            s[low + v] = min(s[low + v], temp) if warm else s[low + v]
    for v in range(shape.lanes & MOST):
        apart = s[own + WARMEST + v] - s[own + COOL + v]
        s[own + APART + v] += apart if s[own + WARM + v] > 0.0 else 0.0


@inlined
def answer(s: Vector, v: int, shape: Shape, steady: Vector) -> None:
    """Write down a lane's sums, then the lowest reading of each tray."""
    own = (ZONES + shape.zones * ZONE) & FAR
    steady[0] = s[own + WARM + v]
    steady[1] = s[own + SQUARED + v]
    steady[2] = s[own + APART + v]
    for i in range(shape.trays):
        steady[SUMS + i] = s[own + LOW + i * LANES + v]
