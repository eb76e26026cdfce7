"""A lane's relay: what it has done, and minimum times.

The twin of controller.core.relays and of hold_back in modulate. What may live
here: switching and what follows from it for times. No wish to switch.
"""

import numpy as np

from controller.core.relays import DUTY_MEMORY_MS
from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked, unmasked_half
from sim.whatif.rows import (
    DEMAND,
    MEAN_DUTY,
    MIN_OFF,
    MIN_ON,
    NEXT_ACT,
    ON,
    ON_MS,
    SINCE,
    SWITCHES,
)
from sim.whatif.shape import NOT, Readings
from sim.whatif.words import across

DUTY_MEMORY = float(DUTY_MEMORY_MS)


@inlined
def mean_duty(on: float, since: float, before: float, now: float) -> float:
    """Return the share of time on, averaged over about six hours."""
    lasting = now - since
    return before + (on - before) * (lasting / (lasting + DUTY_MEMORY))


@inlined
def switch(s: Vector, h: Readings, v: int, on: np.float32, now: float) -> None:
    """Put a lane's relay on or off."""
    before, since = float(h[ON + v]), s[SINCE + v]
    if on == before:
        return
    s[MEAN_DUTY + v] = mean_duty(before, since, s[MEAN_DUTY + v], now)
    s[ON_MS + v] += before * (now - since)
    h[ON + v], s[SINCE + v] = on, now
    s[SWITCHES + v] += 1.0


@inlined
def obey(s: Vector, h: Readings, v: int, demand: np.float32, now: float) -> None:
    """Follow a demand, unless a minimum time forbids it."""
    on = float(h[ON + v])
    shortest = s[MIN_ON + v] if on > 0.0 else s[MIN_OFF + v]
    if demand != on and now - s[SINCE + v] >= shortest:
        switch(s, h, v, demand, now)


@inlined
def obey_all(s: Vector, h: Readings, lanes: int, k: int, now: float) -> None:
    """Follow the demands of all lanes that act now, as obey does for one."""
    scan = np.float32(k)
    for v in range(across(lanes)):
        asked, was = h[DEMAND + v], h[ON + v]
        on, since, before = np.float64(was), s[SINCE + v], s[MEAN_DUTY + v]
        on_ms, switches = s[ON_MS + v], s[SWITCHES + v]
        after_on, after_off = s[MIN_ON + v], s[MIN_OFF + v]
        lasting = now - since
        # Each is compared by itself: what is chosen of two is fetched lane by lane.
        free = ((was > NOT) & (lasting >= after_on)) | (
            (was == NOT) & (lasting >= after_off)
        )
        acts = (h[NEXT_ACT + v] <= scan) & (asked != was) & free
        mean = mean_duty(on, since, before, now)
        s[MEAN_DUTY + v] = unmasked(mean if acts else before)
        s[ON_MS + v] = unmasked(on_ms + on * lasting if acts else on_ms)
        s[SINCE + v] = unmasked(now if acts else since)
        s[SWITCHES + v] = unmasked(switches + 1.0 if acts else switches)
        h[ON + v] = unmasked_half(asked if acts else was)
