"""A ceiling on heat given beyond the usual, where all of it is not worth knowing.

To ask in each look whether heat is felt takes a fifth of the time, and on a bench
that is held the answer is never in doubt. A ceiling on the excess that the core
sums up is found with a few sums of half the width: as long as it lies below the
allowance no heat can have been missed, whatever was felt meanwhile. A lane whose
ceiling reaches its allowance is run again with every look. What may live here: when
a block may do so, the ceiling, and which lanes it leaves in doubt. Nothing here
refuses heat.
"""

import numpy as np

from controller.core import uptake as core
from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked_half
from sim.whatif.relay import DUTY_MEMORY
from sim.whatif.rows import (
    ALERT,
    ALLOWANCE,
    ALLOWED,
    CEILING,
    DOUBTED,
    GIVEN,
    MEAN_DUTY,
    MOST_DUE,
    ON,
    ROOT,
    SETPOINT,
    SINCE,
    SPARED,
    UP_COOLED,
    UP_EXCESS,
    USUAL,
)
from sim.whatif.shape import NOT, ONCE, Readings
from sim.whatif.words import across, larger, smaller

RELIEF = np.float32(core.RELIEF_MS)
ALIKE_BY = np.float32(core.ALIKE_MK)
CLEAR_RISE = np.float32(core.CLEAR_RISE_MK)
COOLS_IN = float(core.COOLS_IN_MS)

CALM = 4.0
"""Chosen: a block whose lanes have given less than this part of their allowance
beyond the usual is not warming up."""

ANEW = 8
"""Chosen: looks after which it is seen what is usual and what was felt. After more
of them many lanes come into doubt (16: a sixth of the benchmark's, not a hundredth)."""

HIGHEST_ALLOWANCE = 2.0**25
"""Below it half the width is off by no more than SLACK in a look [ms]."""

SLACK = np.float32(4.0)

SATISFIED = np.float32(1e18)
"""Instead of what a tray would have cooled to, since it begins anew."""


@inlined
def calm(s: Vector, lanes: int) -> bool:
    """Whether no lane is near a heat allowance, and nothing else is amiss."""
    near = 0
    for v in range(across(lanes)):
        near += 1 if s[UP_EXCESS + v] * CALM > s[ALLOWANCE + v] else 0
    return near == 0 and s[ALERT] == 0.0


@inlined
def begin_sparing(
    s: Vector, h: Readings, lanes: int, k: int, now: float, step: float
) -> None:
    """Begin with what each lane has given beyond the usual up to the look at k."""
    s[SPARED] = float(k)
    for v in range(across(lanes)):
        h[CEILING + v] = s[UP_EXCESS + v] + float(SLACK)
        h[UP_COOLED + v], h[GIVEN + v] = h[ROOT + v], NOT
    _refer(s, h, lanes, now, step)


@inlined
def lift(
    s: Vector, h: Readings, heard: Vector, lanes: int, k: int, now: float, step: float
) -> None:
    """Lift the ceilings by the heat of the last step, but for the usual.

    The core's own sum is no higher, since each of its terms is not: it takes off
    what is usual now, and at a setpoint that is reached as much as is taken off here.
    """
    given = np.float32(step)
    for v in range(across(lanes)):
        on = given if h[ON + v] > NOT else NOT
        satisfied, cooled = h[ROOT + v] >= h[SETPOINT + v], h[UP_COOLED + v]
        relief = RELIEF if satisfied else NOT
        more = on - h[USUAL + v]
        ceiling = larger(NOT, h[CEILING + v] + more)
        h[CEILING + v] = larger(NOT, ceiling - relief)
        h[GIVEN + v] = larger(NOT, h[GIVEN + v] + more)
        h[UP_COOLED + v] = unmasked_half(SATISFIED if satisfied else cooled)
    if (k - int(s[SPARED])) % ANEW == 0:
        warmest = heard[k]
        for back in range(1, ANEW):
            warmest = larger(warmest, heard[k - back])
        _lower(h, lanes, np.float32(heard[k]), np.float32(warmest), step)
        _refer(s, h, lanes, now, step)


@inlined
def _lower(
    h: Readings, lanes: int, room: np.float32, warmest: np.float32, step: float
) -> None:
    """Lower the ceilings of lanes that must have felt heat since they began anew.

    A lane begins anew where its setpoint is reached, or here. Had it felt none since,
    what it would have cooled to in the looks since then (at most: in a room as it
    was at its warmest, each fall rounded by less than a unit) would be so far
    below it that it feels it now. Once it did, the core's sum was 0, and no more
    than what was given since it began anew can have come after that.
    """
    looks = np.float32(ANEW)
    share = np.float32(ANEW * step / COOLS_IN)
    over, slack = np.float32(1.0) + share, looks + np.float32(1.0)
    for v in range(across(lanes)):
        root, began = h[ROOT + v], h[UP_COOLED + v]
        cooled = smaller(began, (began + share * warmest + slack) / over)
        due = larger(CLEAR_RISE, h[MOST_DUE + v]) + np.float32(1.0)
        felt = (abs(root - room) > ALIKE_BY) & (root >= cooled + due)
        anew = felt | (began >= SATISFIED)
        ceiling = smaller(h[CEILING + v], h[GIVEN + v] + SLACK)
        h[CEILING + v] = unmasked_half(ceiling if felt else h[CEILING + v])
        h[GIVEN + v] = unmasked_half(NOT if anew else h[GIVEN + v])
        h[UP_COOLED + v] = unmasked_half(root if anew else smaller(cooled, root))


@inlined
def _refer(s: Vector, h: Readings, lanes: int, now: float, step: float) -> None:
    """Find what at least is usual until this is done again, and what is in doubt.

    With no more heat a mean over a memory M becomes, after a time t, no less than
    its share 1 - t/M. In doubt is what may reach its allowance until then. What half
    the width takes away here is far below SLACK: some 3e-7 of a look.
    """
    soon, memory = np.float32(ANEW * step), np.float32(DUTY_MEMORY)
    share = np.float32(larger(0.0, 1.0 - ANEW * step / DUTY_MEMORY) * step)
    for v in range(across(lanes)):
        near = ONCE if h[CEILING + v] + soon >= h[ALLOWED + v] else NOT
        h[DOUBTED + v] = unmasked_half(larger(h[DOUBTED + v], near))
    for v in range(across(lanes)):
        lasting, before = np.float32(now - s[SINCE + v]), np.float32(s[MEAN_DUTY + v])
        usual = before + (h[ON + v] - before) * (lasting / (lasting + memory))
        h[USUAL + v] = np.floor(usual * share) - SLACK
