"""A ceiling on heat given beyond the usual, where all of it is not worth knowing.

Whether heat is felt costs as much as all that a mat does with it, and on a bench
that is held the answer is never in doubt. A ceiling on the excess that the core sums
up is found with a few sums of half the width: as long as that lies below the
allowance no heat can have been missed, whatever was felt meanwhile. A lane whose
ceiling reaches its allowance is run again with every look. What may live here: when
a block may do so, the ceiling, and which lanes it leaves in doubt. Nothing here
refuses heat.
"""

import numpy as np

from controller.core import uptake as core
from sim.thermal import Vector
from sim.whatif.jit import across, inlined, unmasked_half
from sim.whatif.relay import DUTY_MEMORY, mean_duty
from sim.whatif.rows import (
    ALERT,
    ALLOWANCE,
    ALLOWED,
    CEILING,
    DOUBTED,
    MEAN_DUTY,
    ON,
    SINCE,
    SPARED,
    UP_ANEW,
    UP_EXCESS,
    USUAL,
)
from sim.whatif.shape import NOT, ONCE, Readings

RELIEF = np.float32(core.RELIEF_MS)
CALM = 4.0
"""Chosen: a block whose lanes have given less than this part of their allowance
beyond the usual is not warming up."""

ANEW = 8
"""Looks after which the usual is found anew."""

HIGHEST_ALLOWANCE = 2.0**25
"""Below it half the width is off by no more than SLACK in a look [ms]."""

SLACK = np.float32(4.0)


@inlined
def calm(s: Vector, lanes: int) -> bool:
    """Whether no lane is near a heat allowance, and nothing else is amiss."""
    near = 0
    for v in range(across(lanes)):
        near += 1 if s[UP_EXCESS + v] * CALM > s[ALLOWANCE + v] else 0
    return near == 0 and s[ALERT] == 0.0


@inlined
def begin_sparing(s: Vector, h: Readings, lanes: int, k: int) -> None:
    """Begin with what each lane has given beyond the usual."""
    s[SPARED] = float(k)
    for v in range(across(lanes)):
        h[CEILING + v] = s[UP_EXCESS + v] + float(SLACK)


@inlined
def lift(s: Vector, h: Readings, lanes: int, k: int, now: float, passed: float) -> None:
    """Lift the ceilings by the heat of the last step, but for the usual.

    The core's own sum is no higher, since each of its terms is not: it takes off
    what is usual now, and once heat was felt nothing is left.
    """
    if (k - int(s[SPARED])) % ANEW == 0:
        _refer(s, h, lanes, now, passed)
    step = np.float32(passed)
    reached = 0
    for v in range(across(lanes)):
        given = step if h[ON + v] > NOT else NOT
        ceiling = max(NOT, h[CEILING + v] + given - h[USUAL + v])
        left = max(NOT, ceiling - RELIEF) if h[UP_ANEW + v] > ONCE else NOT
        ceiling = left if h[UP_ANEW + v] > NOT else ceiling
        h[CEILING + v] = unmasked_half(ceiling)
        reached += 1 if ceiling >= h[ALLOWED + v] else 0
    if reached > 0:
        for v in range(lanes):
            if h[CEILING + v] >= h[ALLOWED + v]:
                s[DOUBTED + v] = 1.0


@inlined
def _refer(s: Vector, h: Readings, lanes: int, now: float, passed: float) -> None:
    """Find what at least is usual until this is done again.

    With no more heat a mean over a memory M becomes, after a time t, no less than
    its share 1 - t/M.
    """
    share = max(0.0, 1.0 - ANEW * passed / DUTY_MEMORY)
    for v in range(across(lanes)):
        usual = mean_duty(float(h[ON + v]), s[SINCE + v], s[MEAN_DUTY + v], now)
        h[USUAL + v] = np.floor(usual * share * passed) - float(SLACK)
