"""The response guards of a block of lanes, once a minute.

The twin of response, as far as it refuses heat: what only rings an alarm is
left out. Each loop does the same to all lanes without a branch, so that a
compiler can do several at once. What may live here: climbing too fast, heat
without a pause, and the day's heat; heat not felt is in felt.
"""

from controller.core.response import ABOVE_SETPOINT_MK, CLIMB_MS
from controller.core.units import HOUR_MS
from sim.thermal import Vector
from sim.whatif.jit import across, inlined, unmasked
from sim.whatif.rows import (
    CLIMB_AT,
    CLIMB_FROM,
    CLIMB_UNTIL,
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
    RISE_LIMIT,
    SETPOINT,
    SETTLE,
    SINCE,
    SPENT,
    TRIP,
    UP_MISSED,
    WATCH,
)

ABOVE_SETPOINT = float(ABOVE_SETPOINT_MK)
CLIMB = float(CLIMB_MS)
HOUR = float(HOUR_MS)


@inlined
def remember(s: Vector, lanes: int, number: int, now: float) -> None:
    """Keep the time on at a full hour, the number-th from 0."""
    kept = min(number, MARK_ROWS)
    if number >= MARK_ROWS:
        kept = MARK_ROWS - 1
        for row in range(kept):
            at = MARKS + row * LANES
            for v in range(across(lanes)):
                s[at + v] = s[at + LANES + v]
    at = MARKS + kept * LANES
    for v in range(across(lanes)):
        s[at + v] = s[ON_MS + v] + s[ON + v] * (now - s[SINCE + v])
        s[MARK + v] = s[MARKS + v]


@inlined
def climb(s: Vector, lanes: int, now: float, first: bool) -> None:
    """See whether the warmest tray rose too fast, to above the setpoint."""
    for v in range(across(lanes)):
        top, start, at = s[HOT + v], s[CLIMB_FROM + v], s[CLIMB_AT + v]
        until = -1.0 if now >= s[CLIMB_UNTIL + v] else s[CLIMB_UNTIL + v]
        over = top > s[SETPOINT + v] + ABOVE_SETPOINT
        fast = top - start >= s[RISE_LIMIT + v]
        until = now + CLIMB if (over & fast) & (not first) else until
        anew = (now - at >= CLIMB) | (top < start) | first
        s[CLIMB_UNTIL + v] = unmasked(until)
        s[CLIMB_AT + v] = unmasked(now if anew else at)
        s[CLIMB_FROM + v] = unmasked(top if anew else start)


@inlined
def last(s: Vector, lanes: int, now: float) -> None:
    """See whether heat lasted too long, at one go or within a day."""
    for v in range(across(lanes)):
        on, lasting = s[ON + v], now - s[SINCE + v]
        until = -1.0 if now >= s[REST_UNTIL + v] else s[REST_UNTIL + v]
        long = (on > 0.0) & (lasting >= s[LONGEST_ON + v])
        until = now + s[SETTLE + v] if long else until
        used = s[ON_MS + v] + on * lasting - s[MARK + v]
        spent = 1.0 if used > s[DAILY_ON + v] - s[SPENT + v] * HOUR else 0.0
        s[REST_UNTIL + v], s[SPENT + v] = unmasked(until), spent
        quiet = (until < 0.0) & (spent == 0.0) & (s[CLIMB_UNTIL + v] < 0.0)
        quiet = quiet & (s[UP_MISSED + v] == 0.0) & (s[TRIP + v] < 0.0)
        s[WATCH + v] = 0.0 if quiet else 1.0
