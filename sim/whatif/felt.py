"""Heat not felt, for a block of lanes: the twin of uptake.

What may live here: heat given beyond the usual, and whether it shows. What is
seldom needed (has a mat that misses its rise an excuse?) is asked lane by lane.
"""

from controller.core import uptake as core
from sim.thermal import Vector
from sim.whatif.demands import whole
from sim.whatif.jit import across, inlined, unmasked
from sim.whatif.relay import mean_duty
from sim.whatif.rows import (
    ALLOWANCE,
    FROZEN,
    HALF_ALLOWANCE,
    LAG,
    MEAN_DUTY,
    MOST_RISE,
    NEED,
    ON,
    ON_MS,
    ROOT,
    SETPOINT,
    SINCE,
    UP_COOLED,
    UP_EXCESS,
    UP_FELL,
    UP_FROM,
    UP_LOWEST,
    UP_MARK_AT,
    UP_MARK_FROM,
    UP_MISSED,
    UP_ON,
    UP_PROVEN,
    UP_ROOM,
    UP_SINCE,
)

RELIEF = float(core.RELIEF_MS)
LEAST_RISE = float(core.LEAST_RISE_MK)
CLEAR_RISE = float(core.CLEAR_RISE_MK)
FAST_FALL = float(core.FAST_FALL_MK)
FAST_FALL_IN = float(core.FAST_FALL_MS)
ALIKE_BY = float(core.ALIKE_MK)
COOLS_IN = float(core.COOLS_IN_MS)
NEAR = float(core.NEAR_MK)
SINKS = float(core.SINKS_MK)
NEAR_PATIENCE, COLD_DUTY = core.NEAR_PATIENCE, core.COLD_DUTY
A_FIFTH, BELOW_FIFTHS = 1 / core.RISE_SHARE, 0.4
"""Fifths of whole numbers lie 0.2 apart: less 0.4 and rounded they are floored."""


@inlined
def begin(s: Vector, lanes: int, now: float, room: float) -> None:
    """Begin to watch."""
    for v in range(across(lanes)):
        s[UP_PROVEN + v] = 1.0 if s[ROOT + v] >= s[SETPOINT + v] else 0.0
        s[UP_ON + v] = s[ON_MS + v] + s[ON + v] * (now - s[SINCE + v])
        s[UP_SINCE + v], s[UP_FROM + v] = now, s[ROOT + v]
        s[UP_LOWEST + v], s[UP_COOLED + v] = s[ROOT + v], s[ROOT + v]
        s[UP_MARK_AT + v], s[UP_MARK_FROM + v] = now, s[ROOT + v]
        s[UP_ROOM + v] = room


@inlined
def weigh(
    s: Vector, lanes: int, now: float, passed: float, room: float, heard: bool
) -> None:
    """Take another look at heat given and what came of it."""
    asks = 0
    for v in range(across(lanes)):
        root, setpoint = s[ROOT + v], s[SETPOINT + v]
        began, began_at = s[UP_FROM + v], s[UP_SINCE + v]
        proven, missed, was = s[UP_PROVEN + v], s[UP_MISSED + v], s[UP_ROOM + v]
        on, since = s[ON + v], s[SINCE + v]
        on_ms = s[ON_MS + v] + on * (now - since)
        usual = mean_duty(on, since, s[MEAN_DUTY + v], now)
        more = s[UP_EXCESS + v] + on_ms - s[UP_ON + v]
        excess = max(0.0, whole(more - usual * passed))
        lowest, cooled = s[UP_LOWEST + v], s[UP_COOLED + v]
        fallen = cooled - whole((cooled - room) * passed / COOLS_IN)
        cooled = fallen if heard and room < cooled else cooled
        lowest, cooled = min(lowest, root), min(cooled, root)
        mark_at, mark_from = s[UP_MARK_AT + v], s[UP_MARK_FROM + v]
        fell = 1.0 if mark_from - root >= FAST_FALL else s[UP_FELL + v]
        marks = now - mark_at >= FAST_FALL_IN
        mark_at, mark_from = now if marks else mark_at, root if marks else mark_from
        # By how much it must have risen to show heat.
        fifths = whole((setpoint - lowest) * A_FIFTH - BELOW_FIFTHS)
        due = max(CLEAR_RISE, min(LEAST_RISE + fifths, s[MOST_RISE + v]))
        warmed = max(0.0, room - was)
        in_air = max(due, s[HALF_ALLOWANCE + v] + warmed)
        due = in_air if heard and abs(root - room) <= ALIKE_BY else due
        least = lowest if s[FROZEN + v] > 0.0 else cooled
        satisfied = root >= setpoint
        anew = satisfied | (root >= least + due)
        left = max(0.0, excess - RELIEF) if satisfied else 0.0
        s[UP_SINCE + v] = unmasked(now if anew else began_at)
        s[UP_FROM + v] = unmasked(root if anew else began)
        s[UP_PROVEN + v] = unmasked(1.0 if anew else proven)
        s[UP_ON + v] = on_ms
        s[UP_EXCESS + v] = unmasked(left if anew else excess)
        s[UP_LOWEST + v] = unmasked(root if anew else lowest)
        s[UP_COOLED + v] = unmasked(root if anew else cooled)
        s[UP_ROOM + v] = unmasked(room if anew else was)
        s[UP_MARK_AT + v] = unmasked(now if anew else mark_at)
        s[UP_MARK_FROM + v] = unmasked(root if anew else mark_from)
        s[UP_FELL + v] = unmasked(0.0 if anew else fell)
        s[UP_MISSED + v] = unmasked(0.0 if anew else missed)
        late = (not anew) & (excess >= s[ALLOWANCE + v])
        s[NEED + v] = 1.0 if late else 0.0
        asks += 1 if late else 0
    if asks > 0:
        for v in range(across(lanes)):
            if s[NEED + v] > 0.0 and _missed(s, v, now, heard):
                s[UP_MISSED + v] = 1.0


@inlined
def _missed(s: Vector, v: int, now: float, heard: bool) -> bool:
    """Whether heat enough was given for a rise that did not come."""
    root, frozen = s[ROOT + v], s[FROZEN + v] > 0.0
    usual = mean_duty(s[ON + v], s[SINCE + v], s[MEAN_DUTY + v], now)
    near, cold = s[SETPOINT + v] - root < NEAR, usual >= COLD_DUTY
    patience = NEAR_PATIENCE if near and cold and not frozen else 1.0
    waited = s[UP_EXCESS + v] >= s[ALLOWANCE + v] * patience
    if not waited or now - s[UP_SINCE + v] < s[LAG + v]:
        return False
    excused = not (heard or frozen or s[UP_FELL + v] > 0.0 or (near and not cold))
    sinks = s[UP_PROVEN + v] > 0.0 and s[UP_FROM + v] - root >= SINKS
    return not (excused and sinks)
