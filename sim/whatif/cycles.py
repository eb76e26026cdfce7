"""A lane's time-proportioning cycle: the twin of cycles in modulate.

A cycle asks for heat and for none at times that are known when it begins, so that
a lane is not looked at in between. As a rule the cycles of a block begin together;
what many lanes do in one scan is done to all at once. What may live here: cycles,
and when the next of them asks for something. No limits.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked, unmasked_half
from sim.whatif.relay import obey, obey_all
from sim.whatif.rows import (
    CYCLE,
    CYCLE_CARRY,
    CYCLE_HAS,
    CYCLE_ON,
    CYCLE_START,
    DEMAND,
    MIN_OFF,
    MIN_ON,
    NEXT_ACT,
    ON,
    PID_DUTY,
)
from sim.whatif.shape import NOT, ONCE, Readings
from sim.whatif.words import across, rounded, smaller

MANY = 16
"""Chosen: so many lanes that are done one by one take as long as all at once."""


@inlined
def follow_cycle(s: Vector, h: Readings, v: int, k: int, step: float) -> None:
    """Let a lane do what its cycle asks for; begin a new one."""
    now = k * step
    if s[CYCLE_HAS + v] == 0.0:
        s[CYCLE_START + v], s[CYCLE_CARRY + v] = now - 2.0 * s[CYCLE + v], 0.0
        s[CYCLE_HAS + v] = 1.0
    length, start = s[CYCLE + v], s[CYCLE_START + v]
    if now - start >= length:
        s[CYCLE_START + v] = start + length if now - start < 2.0 * length else now
        s[CYCLE_ON + v], s[CYCLE_CARRY + v] = _shared(
            s[PID_DUTY + v],
            length,
            s[CYCLE_CARRY + v],
            s[MIN_ON + v],
            s[MIN_OFF + v],
        )
    demand = ONCE if now - s[CYCLE_START + v] < s[CYCLE_ON + v] else NOT
    obey(s, h, v, demand, now)
    asks = _asks_at(s[CYCLE_START + v], s[CYCLE_ON + v], length, demand, step)
    h[NEXT_ACT + v] = asks if h[ON + v] == demand else np.float32(k + 1)


@inlined
def follow_cycles(s: Vector, h: Readings, lanes: int, k: int, step: float) -> None:
    """Do the same to all lanes whose cycles ask for something now."""
    now, scan = k * step, np.float32(k)
    for v in range(across(lanes)):
        acts, had, was = h[NEXT_ACT + v] <= scan, s[CYCLE_HAS + v], s[CYCLE_ON + v]
        length, began = s[CYCLE + v], s[CYCLE_START + v]
        carried, duty = s[CYCLE_CARRY + v], s[PID_DUTY + v]
        start = began if had > 0.0 else now - 2.0 * length
        carry = carried if had > 0.0 else 0.0
        lasting = now - start
        anew = acts & (lasting >= length)
        begins = start + length if lasting < 2.0 * length else now
        on, left = _shared(duty, length, carry, s[MIN_ON + v], s[MIN_OFF + v])
        s[CYCLE_START + v] = unmasked(begins if anew else began)
        s[CYCLE_ON + v] = unmasked(on if anew else was)
        s[CYCLE_CARRY + v] = unmasked(left if anew else carried)
        s[CYCLE_HAS + v] = unmasked(1.0 if anew else had)
    for v in range(across(lanes)):
        demands = now - s[CYCLE_START + v] < s[CYCLE_ON + v]
        h[DEMAND + v] = ONCE if demands else NOT
    obey_all(s, h, lanes, k, now)
    held = np.float32(k + 1)
    for v in range(across(lanes)):
        demand, on, before = h[DEMAND + v], h[ON + v], h[NEXT_ACT + v]
        start, lasts, length = s[CYCLE_START + v], s[CYCLE_ON + v], s[CYCLE + v]
        asks = _asks_at(start, lasts, length, demand, step)
        asks = asks if on == demand else held
        h[NEXT_ACT + v] = unmasked_half(asks if before <= scan else before)


@inlined
def _shared(
    duty: float, length: float, carried: float, min_on: float, min_off: float
) -> tuple[float, float]:
    """Return how long a cycle is on, and what is carried to the next [ms]."""
    wanted = rounded(duty * length) + (carried if 0.0 < duty < 1.0 else 0.0)
    short = length - wanted < min_off
    none = (wanted < min_on) | (short & (2.0 * wanted < length))
    on = length if short else wanted
    left = wanted - length if short else 0.0
    return 0.0 if none else on, wanted if none else left


@inlined
def _asks_at(
    start: float, on: float, length: float, demand: np.float32, step: float
) -> np.float32:
    """Return the scan at which a cycle asks for something else [scan]."""
    lasting = smaller(on, length) if demand > NOT else length
    return np.float32(np.ceil((start + lasting) / step))
