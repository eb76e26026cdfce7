"""The response guards of a block of lanes, once a minute.

The twin of response, as far as it refuses heat: what only rings an alarm is
left out. Each loop does the same to all lanes without a branch, so that a
compiler can do several at once; what cannot have come yet is not looked at. What
may live here: climbing too fast, heat without a pause, and the day's heat; heat
not felt is in felt.
"""

from math import ceil

import numpy as np

from controller.core.response import ABOVE_SETPOINT_MK, CLIMB_MS
from controller.core.units import HOUR_MS
from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked, unmasked_half
from sim.whatif.rows import (
    ALERT,
    BUDGET_AT,
    CLIMB_AT,
    CLIMB_BY,
    CLIMB_FROM,
    CLIMB_UNTIL,
    CLIMBING,
    DAILY_ON,
    HOT,
    LANES,
    LONGEST_ON,
    MARK,
    MARK_ROWS,
    MARKS,
    ON,
    ON_MS,
    REST_UNTIL,
    SETPOINT,
    SETTLE,
    SINCE,
    SPENT,
    TRIP,
    UP_MISSED,
    WATCH,
)
from sim.whatif.shape import NOT, ONCE, Readings, Shape
from sim.whatif.words import across, flagged, smaller

ABOVE_SETPOINT = np.float32(ABOVE_SETPOINT_MK)
CLIMB = float(CLIMB_MS)
HOUR = float(HOUR_MS)


@inlined
def remember(s: Vector, h: Readings, lanes: int, number: int, now: float) -> None:
    """Keep the time on at a full hour, the number-th from 0."""
    kept = number
    if number >= MARK_ROWS:
        kept = MARK_ROWS - 1
        for row in range(kept):
            at = MARKS + row * LANES
            for v in range(across(lanes)):
                s[at + v] = s[at + LANES + v]
    at = MARKS + kept * LANES
    for v in range(across(lanes)):
        s[at + v] = s[ON_MS + v] + float(h[ON + v]) * (now - s[SINCE + v])
        s[MARK + v] = s[MARKS + v]


@inlined
def climb(h: Readings, shape: Shape, k: int) -> bool:
    """See whether the warmest tray rose too fast, to above the setpoint."""
    at_scan, lasts = np.float32(k), np.float32(ceil(CLIMB / shape.step))
    for v in range(across(shape.lanes)):
        top, start, at = h[HOT + v], h[CLIMB_FROM + v], h[CLIMB_AT + v]
        over = top > h[SETPOINT + v] + ABOVE_SETPOINT
        fast = top - start >= h[CLIMB_BY + v]
        h[CLIMBING + v] = ONCE if over & fast else NOT
        anew = (at_scan - at >= lasts) | (top < start)
        h[CLIMB_AT + v] = unmasked_half(at_scan if anew else at)
        h[CLIMB_FROM + v] = unmasked_half(top if anew else start)
    return flagged(h, CLIMBING) != 0


@inlined
def budget(s: Vector, h: Readings, lanes: int, now: float) -> bool:
    """See whether heat lasted too long, at one go or within a day.

    Says when it can have at the earliest, if nothing is amiss: until then there
    is no need to look again, but at each full hour.
    """
    soonest, found = 1e18, 0
    for v in range(across(lanes)):
        on, lasting = float(h[ON + v]), now - s[SINCE + v]
        until = -1.0 if now >= s[REST_UNTIL + v] else s[REST_UNTIL + v]
        long = (on > 0.0) & (lasting >= s[LONGEST_ON + v])
        until = now + s[SETTLE + v] if long else until
        used = s[ON_MS + v] + on * lasting - s[MARK + v]
        spent = 1.0 if used > s[DAILY_ON + v] - s[SPENT + v] * HOUR else 0.0
        s[REST_UNTIL + v], s[SPENT + v] = unmasked(until), spent
        found += 1 if (until >= 0.0) | (spent > 0.0) else 0
    for v in range(lanes):
        on, lasting = float(h[ON + v]), now - s[SINCE + v]
        used = s[ON_MS + v] + on * lasting - s[MARK + v]
        soonest = smaller(soonest, s[LONGEST_ON + v] - on * lasting)
        soonest = smaller(soonest, s[DAILY_ON + v] - used)
    s[BUDGET_AT] = now if found > 0 else now + soonest
    return found > 0


@inlined
def watch(s: Vector, h: Readings, lanes: int, now: float) -> None:
    """Say at which lanes protect must look in every scan."""
    alert = 0.0
    for v in range(lanes):
        until = -1.0 if now >= s[CLIMB_UNTIL + v] else s[CLIMB_UNTIL + v]
        until = now + CLIMB if h[CLIMBING + v] > NOT else until
        s[CLIMB_UNTIL + v] = until
        quiet = s[REST_UNTIL + v] < 0.0 and s[SPENT + v] == 0.0 and until < 0.0
        quiet = quiet and h[UP_MISSED + v] == NOT and s[TRIP + v] < 0.0
        h[WATCH + v] = NOT if quiet else ONCE
        alert += 0.0 if quiet else 1.0
    s[ALERT] = alert
