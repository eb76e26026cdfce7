"""The lanes of a block in which something may refuse heat.

What may live here: who protect must look at. No reasons; see verdicts.
"""

from sim.thermal import Vector
from sim.whatif.jit import inlined
from sim.whatif.rows import ALERT, HOT, HOT_LINE, SURFACE_HOT, SURFACE_LINE, WATCH
from sim.whatif.shape import NOT, Readings, Shape
from sim.whatif.words import flagged, within


@inlined
def asked(h: Readings, v: int) -> bool:
    """Whether protect must look at a lane."""
    hot = (h[HOT + v] >= h[HOT_LINE + v]) | (h[SURFACE_HOT + v] >= h[SURFACE_LINE + v])
    found: bool = hot | (h[WATCH + v] > NOT)
    return found


@inlined
def all_asked(s: Vector, h: Readings, shape: Shape) -> int:
    """Return a bit for each lane of a block that protect must look at."""
    bits = within(h, HOT_LINE, HOT)
    if shape.zones > shape.trays:
        bits |= within(h, SURFACE_LINE, SURFACE_HOT)
    if s[ALERT] > 0.0:
        bits |= flagged(h, WATCH)
    return bits
