"""Heat not felt, for a block of lanes: the twin of uptake.

What may live here: heat given beyond the usual, and whether it shows. What is
seldom needed (has a mat that misses its rise an excuse?) is asked lane by lane.
Only a bench without a room probe has excuses, and only one with it knows what the
room does to a mat: of what the core remembers each has its own half here.
"""

import numpy as np

from controller.core import uptake as core
from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked, unmasked_half
from sim.whatif.relay import mean_duty
from sim.whatif.rows import (
    ALLOWANCE,
    FROZEN,
    HALF_DUE,
    LAG,
    LATE,
    MEAN_DUTY,
    MOST_DUE,
    ON,
    ON_MS,
    ROOT,
    SETPOINT,
    SINCE,
    UP_ANEW,
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
from sim.whatif.shape import NOT, ONCE, Readings
from sim.whatif.words import (
    across,
    but_lowest,
    flagged,
    larger,
    lowest,
    rounded,
    rounded_half,
    smaller,
)

RELIEF = float(core.RELIEF_MS)
COOLS_IN = float(core.COOLS_IN_MS)
FAST_FALL_IN = float(core.FAST_FALL_MS)
NEAR = float(core.NEAR_MK)
SINKS = float(core.SINKS_MK)
NEAR_PATIENCE, COLD_DUTY = core.NEAR_PATIENCE, core.COLD_DUTY
LEAST_RISE = np.float32(core.LEAST_RISE_MK)
CLEAR_RISE = np.float32(core.CLEAR_RISE_MK)
FAST_FALL = np.float32(core.FAST_FALL_MK)
ALIKE_BY = np.float32(core.ALIKE_MK)
TWICE = np.float32(2.0)
A_FIFTH, BELOW_FIFTHS = np.float32(1 / core.RISE_SHARE), np.float32(0.4)
"""Fifths of whole numbers lie 0.2 apart: less 0.4 and rounded they are floored."""


@inlined
def begin(s: Vector, h: Readings, lanes: int, now: float, room: float) -> None:
    """Begin to watch."""
    for v in range(across(lanes)):
        root = h[ROOT + v]
        h[UP_PROVEN + v] = ONCE if root >= h[SETPOINT + v] else NOT
        s[UP_ON + v] = s[ON_MS + v] + float(h[ON + v]) * (now - s[SINCE + v])
        s[UP_SINCE + v], s[UP_MARK_AT + v] = now, now
        h[UP_FROM + v], h[UP_LOWEST + v], h[UP_COOLED + v] = root, root, root
        h[UP_MARK_FROM + v], h[UP_ROOM + v] = root, room


@inlined
def weigh(
    s: Vector,
    h: Readings,
    lanes: int,
    now: float,
    passed: float,
    room: float,
    heard: bool,
) -> bool:
    """Take another look at heat given and what came of it; say if it was missed."""
    if heard:
        _cool(h, lanes, np.float32(room), COOLS_IN / passed)
        _known(h, lanes, np.float32(room))
    else:
        _guessed(s, h, lanes, now)
    _exceed(s, h, lanes, now, passed)
    missed = False
    late = flagged(h, LATE)
    while late != 0:
        v = lowest(late)
        late = but_lowest(late)
        if _missed(s, h, v, now, heard):
            h[UP_MISSED + v], missed = ONCE, True
    return missed


@inlined
def _cool(h: Readings, lanes: int, room: np.float32, times: float) -> None:
    """Let what a tray would have cooled to by itself go on cooling.

    A share of a few hundredths of a whole number is rounded alike at half the
    width, since no other whole share has as small a rest.
    """
    if times == np.floor(times):
        share = np.float32(times)
        for v in range(across(lanes)):
            cooled = h[UP_COOLED + v]
            falls = cooled - rounded_half((cooled - room) / share)
            h[UP_COOLED + v] = unmasked_half(falls if room < cooled else cooled)
    else:
        passed = round(COOLS_IN / times)
        for v in range(lanes):
            cooled = h[UP_COOLED + v]
            if room < cooled:
                given = float(cooled) - float(room)
                h[UP_COOLED + v] = cooled - rounded(given * passed / COOLS_IN)


@inlined
def _due(lowest_mc: np.float32, setpoint: np.float32, most: np.float32) -> np.float32:
    """Return by how much it must have risen to show heat."""
    fifths = rounded_half((setpoint - lowest_mc) * A_FIFTH - BELOW_FIFTHS)
    return larger(CLEAR_RISE, smaller(LEAST_RISE + fifths, most))


@inlined
def _known(h: Readings, lanes: int, room: np.float32) -> None:
    """See in which lanes heat was felt, where the room is known."""
    for v in range(across(lanes)):
        root, setpoint, was = h[ROOT + v], h[SETPOINT + v], h[UP_ROOM + v]
        low, cooled = smaller(h[UP_LOWEST + v], root), smaller(h[UP_COOLED + v], root)
        due = _due(low, setpoint, h[MOST_DUE + v])
        in_air = larger(due, h[HALF_DUE + v] + larger(NOT, room - was))
        due = in_air if abs(root - room) <= ALIKE_BY else due
        least = low if h[FROZEN + v] > NOT else cooled
        satisfied = root >= setpoint
        anew = satisfied | (root >= least + due)
        h[UP_LOWEST + v] = unmasked_half(root if anew else low)
        h[UP_COOLED + v] = unmasked_half(root if anew else cooled)
        h[UP_ROOM + v] = unmasked_half(room if anew else was)
        felt = TWICE if satisfied else ONCE
        h[UP_ANEW + v] = felt if anew else NOT
        h[UP_MISSED + v] = unmasked_half(NOT if anew else h[UP_MISSED + v])


@inlined
def _guessed(s: Vector, h: Readings, lanes: int, now: float) -> None:
    """See in which lanes heat was felt, where the room is not known."""
    for v in range(across(lanes)):
        root, setpoint = h[ROOT + v], h[SETPOINT + v]
        low, began = smaller(h[UP_LOWEST + v], root), h[UP_FROM + v]
        mark_at, mark_from = s[UP_MARK_AT + v], h[UP_MARK_FROM + v]
        fell = ONCE if mark_from - root >= FAST_FALL else h[UP_FELL + v]
        marks = now - mark_at >= FAST_FALL_IN
        satisfied = root >= setpoint
        anew = satisfied | (root >= low + _due(low, setpoint, h[MOST_DUE + v]))
        h[UP_FROM + v] = unmasked_half(root if anew else began)
        h[UP_PROVEN + v] = unmasked_half(ONCE if anew else h[UP_PROVEN + v])
        h[UP_LOWEST + v] = unmasked_half(root if anew else low)
        s[UP_MARK_AT + v] = unmasked(now if anew | marks else mark_at)
        h[UP_MARK_FROM + v] = unmasked_half(root if anew | marks else mark_from)
        h[UP_FELL + v] = unmasked_half(NOT if anew else fell)
        felt = TWICE if satisfied else ONCE
        h[UP_ANEW + v] = felt if anew else NOT
        h[UP_MISSED + v] = unmasked_half(NOT if anew else h[UP_MISSED + v])


@inlined
def _exceed(s: Vector, h: Readings, lanes: int, now: float, passed: float) -> None:
    """Sum up heat given beyond the usual."""
    for v in range(across(lanes)):
        on, since = float(h[ON + v]), s[SINCE + v]
        anew, began = h[UP_ANEW + v] > NOT, s[UP_SINCE + v]
        on_ms = s[ON_MS + v] + on * (now - since)
        usual = mean_duty(on, since, s[MEAN_DUTY + v], now)
        more = s[UP_EXCESS + v] + on_ms - s[UP_ON + v]
        excess = larger(0.0, rounded(more - usual * passed))
        left = larger(0.0, excess - RELIEF) if h[UP_ANEW + v] > ONCE else 0.0
        s[UP_ON + v] = on_ms
        s[UP_EXCESS + v] = unmasked(left if anew else excess)
        s[UP_SINCE + v] = unmasked(now if anew else began)
        late = (not anew) & (excess >= s[ALLOWANCE + v])
        h[LATE + v] = ONCE if late else NOT


@inlined
def _missed(s: Vector, h: Readings, v: int, now: float, heard: bool) -> bool:
    """Whether heat enough was given for a rise that did not come."""
    root, frozen = float(h[ROOT + v]), h[FROZEN + v] > NOT
    usual = mean_duty(float(h[ON + v]), s[SINCE + v], s[MEAN_DUTY + v], now)
    near, cold = float(h[SETPOINT + v]) - root < NEAR, usual >= COLD_DUTY
    patience = NEAR_PATIENCE if near and cold and not frozen else 1.0
    waited = s[UP_EXCESS + v] >= s[ALLOWANCE + v] * patience
    if not waited or now - s[UP_SINCE + v] < s[LAG + v]:
        return False
    excused = not (heard or frozen or h[UP_FELL + v] > NOT or (near and not cold))
    sinks = h[UP_PROVEN + v] > NOT and float(h[UP_FROM + v]) - root >= SINKS
    return not (excused and sinks)
