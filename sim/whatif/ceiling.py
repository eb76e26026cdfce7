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
    HEATED,
    HEATED_TO,
    KEPT,
    LANES,
    MEAN_DUTY,
    MOST_DUE,
    OFF,
    ON,
    ON_MS,
    ROOT,
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

ANEW = KEPT
"""Looks after which it is seen what was given, what is usual and what was felt: as
many as are kept. After more of them more lanes come into doubt."""

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
    _heated(s, h, lanes, now)
    _refer(s, h, lanes, now, step)


@inlined
def lift(
    s: Vector,
    h: Readings,
    r: Readings,
    heard: Vector,
    lanes: int,
    k: int,
    step: float,
) -> None:
    """Lift the ceilings by the heat of the last eight looks, but for the usual.

    The core's own sum s becomes max(0, s + x) in each look, with an x that is no more
    than the step's heat, less what is usual, less the relief at a setpoint that is
    reached. After eight it is s and all x, or the last few x alone, which are no more
    than those of heated steps together.
    """
    if (k - int(s[SPARED])) % ANEW != 0:
        return
    now = k * step
    _heated(s, h, lanes, now)
    looks, steps = np.float32(ANEW), np.float32(1.0 / step)
    for v in range(across(lanes)):
        satisfied = NOT
        for row in range(0, ANEW * LANES, LANES):
            satisfied += ONCE if r[row + OFF + v] >= NOT else NOT
        given, usual, cooled = h[HEATED + v], h[USUAL + v], h[UP_COOLED + v]
        least = given - given * steps * usual + looks * SLACK
        more = given - looks * usual
        ceiling = h[CEILING + v] + more - satisfied * RELIEF
        h[CEILING + v] = larger(ceiling, least)
        h[GIVEN + v] = larger(h[GIVEN + v] + more, least)
        h[UP_COOLED + v] = unmasked_half(SATISFIED if satisfied > NOT else cooled)
    warmest = heard[k]
    for back in range(1, ANEW):
        warmest = larger(warmest, heard[k - back])
    _lower(h, lanes, np.float32(heard[k]), np.float32(warmest), step)
    _refer(s, h, lanes, now, step)


@inlined
def _heated(s: Vector, h: Readings, lanes: int, now: float) -> None:
    """Find each lane's time on since this was found before."""
    for v in range(across(lanes)):
        on_ms = s[ON_MS + v] + np.float64(h[ON + v]) * (now - s[SINCE + v])
        h[HEATED + v] = np.float32(on_ms - s[HEATED_TO + v])
        s[HEATED_TO + v] = on_ms


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
        before, given = h[CEILING + v], h[GIVEN + v]
        cooled = smaller(began, (began + share * warmest + slack) / over)
        due = larger(CLEAR_RISE, h[MOST_DUE + v]) + np.float32(1.0)
        felt = (abs(root - room) > ALIKE_BY) & (root >= cooled + due)
        anew = felt | (began >= SATISFIED)
        lowered = smaller(before, given + SLACK)
        h[CEILING + v] = unmasked_half(lowered if felt else before)
        h[GIVEN + v] = unmasked_half(NOT if anew else given)
        h[UP_COOLED + v] = unmasked_half(root if anew else smaller(cooled, root))


@inlined
def _refer(s: Vector, h: Readings, lanes: int, now: float, step: float) -> None:
    """Find what at least is usual until this is done again, and what is in doubt.

    With no more heat a mean over a memory M becomes, after a time t, no less than
    its share 1 - t/M. In doubt is what may reach its allowance until then, heated all
    the time but for what is usual. What half the width takes away here is far below
    SLACK: some 3e-7 of a look.
    """
    looks, soon, memory = np.float32(ANEW), np.float32(step), np.float32(DUTY_MEMORY)
    share = np.float32(larger(0.0, 1.0 - ANEW * step / DUTY_MEMORY) * step)
    for v in range(across(lanes)):
        lasting, before = np.float32(now - s[SINCE + v]), np.float32(s[MEAN_DUTY + v])
        usual = before + (h[ON + v] - before) * (lasting / (lasting + memory))
        h[USUAL + v] = np.floor(usual * share) - SLACK
    for v in range(across(lanes)):
        most = h[CEILING + v] + looks * (soon - h[USUAL + v])
        near = ONCE if most >= h[ALLOWED + v] else NOT
        h[DOUBTED + v] = unmasked_half(larger(h[DOUBTED + v], near))
