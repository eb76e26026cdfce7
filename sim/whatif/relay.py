"""A lane's relay: what it has done, and minimum times.

The twin of controller.core.relays and of hold_back in modulate. What may live
here: switching and what follows from it for times. No wish to switch.
"""

from controller.core.relays import DUTY_MEMORY_MS
from sim.thermal import Vector
from sim.whatif.jit import inlined
from sim.whatif.rows import (
    MEAN_DUTY,
    MIN_OFF,
    MIN_ON,
    ON,
    ON_MS,
    SINCE,
    SWITCHES,
)
from sim.whatif.shape import Readings

DUTY_MEMORY = float(DUTY_MEMORY_MS)


@inlined
def mean_duty(on: float, since: float, before: float, now: float) -> float:
    """Return the share of time on, averaged over about six hours."""
    lasting = now - since
    return before + (on - before) * (lasting / (lasting + DUTY_MEMORY))


@inlined
def switch(s: Vector, h: Readings, v: int, on: float, now: float) -> None:
    """Put a lane's relay on or off."""
    before, since = float(h[ON + v]), s[SINCE + v]
    if on == before:
        return
    s[MEAN_DUTY + v] = mean_duty(before, since, s[MEAN_DUTY + v], now)
    s[ON_MS + v] += before * (now - since)
    h[ON + v], s[SINCE + v] = on, now
    s[SWITCHES + v] += 1.0


@inlined
def obey(s: Vector, h: Readings, v: int, demand: float, now: float) -> None:
    """Follow a demand, unless a minimum time forbids it."""
    on = float(h[ON + v])
    shortest = s[MIN_ON + v] if on > 0.0 else s[MIN_OFF + v]
    if demand != on and now - s[SINCE + v] >= shortest:
        switch(s, h, v, demand, now)
