"""The zones of a block of lanes, one step on, and what is read and counted there.

What may live here: the physics, the same operations in the same order as in
heat, and sums over readings. No decisions.
"""

from controller.core.judge import HIGHEST_MC, LOWEST_MC, RATE_MK_PER_S, STEP_MK
from controller.core.units import HOUR_MS
from sim.thermal import Vector
from sim.whatif.demands import whole
from sim.whatif.driving import drive
from sim.whatif.jit import inlined
from sim.whatif.rows import (
    ALIKE,
    BASE,
    BEFORE,
    DRIVING_IN_BAND,
    FAR,
    FIX,
    FROZEN,
    HEAT,
    HOT,
    IN_BAND,
    MOST,
    ON,
    PEAK,
    ROOT,
    SAME_SINCE,
    SAMPLE,
    SETPOINT,
    STRANGE,
    STUCK_AFTER,
    SUM,
    SURFACE_HOT,
    SUSPECT,
    TEMP,
    UPPER,
    Z0,
    Z1,
    ZONE,
    ZONES,
)
from sim.whatif.shape import MEAN, Heat, Shape

COLDEST = -1e18
HOUR = float(HOUR_MS)
LOWEST, HIGHEST = float(LOWEST_MC), float(HIGHEST_MC)
STEP, RATE = float(STEP_MK), float(RATE_MK_PER_S)
ALIKE_SAMPLES = 5.0
"""So many samples without a change, ten minutes apart or less, must lie in an
hour in which a probe stood still."""


@inlined
def advance(s: Vector, heat: Heat, shape: Shape, k: int) -> None:
    """Let step k pass; read and count what is there at its end."""
    for v in range(shape.lanes & MOST):
        s[HOT + v], s[SURFACE_HOT + v], s[SUM + v] = COLDEST, COLDEST, 0.0
    for i in range(shape.zones):
        room = heat.room_c[k] + heat.offset_c[i]
        push = heat.push[k, i]
        off0 = heat.by_room[i, 0] * room + heat.by_push[i, 0] * push
        off1 = heat.by_room[i, 1] * room + heat.by_push[i, 1] * push
        on0, on1 = heat.by_heat[i, 0] + off0, heat.by_heat[i, 1] + off1
        d0, d1 = heat.decay[i, 0], heat.decay[i, 1]
        at = (ZONES + i * ZONE) & FAR
        if shape.crosses or shape.tracks:
            for v in range(shape.lanes & MOST):
                s[at + BEFORE + v] = s[at + TEMP + v]
        for v in range(shape.lanes & MOST):
            on = s[ON + v] > 0.0
            z0 = d0 * s[at + Z0 + v] + (on0 if on else off0)
            z1 = d1 * s[at + Z1 + v] + (on1 if on else off1)
            s[at + Z0 + v], s[at + Z1 + v] = z0, z1
            s[at + TEMP + v] = whole(z0 + z1)  # what a probe in the medium shows
        m0, m1 = heat.shown[i, 0], heat.shown[i, 1]
        if m0 != 1.0 or m1 != 1.0:
            for v in range(shape.lanes & MOST):
                shown = m0 * s[at + Z0 + v] + m1 * s[at + Z1 + v]
                s[at + TEMP + v] = whole(shown)
    count(s, shape)


@inlined
def count(s: Vector, shape: Shape) -> None:
    """Count the present readings."""
    for i in range(shape.trays):
        at = (ZONES + i * ZONE) & FAR
        for v in range(shape.lanes & MOST):
            temp = s[at + TEMP + v]
            s[at + PEAK + v] = max(s[at + PEAK + v], temp)
            s[HOT + v] = max(s[HOT + v], temp)
            near = abs(temp - s[SETPOINT + v]) <= shape.band
            s[at + IN_BAND + v] += 1.0 if near else 0.0
        if shape.way == MEAN:
            for v in range(shape.lanes & MOST):
                s[SUM + v] += s[at + TEMP + v]
        if shape.crosses:
            for v in range(shape.lanes & MOST):
                base, upper = s[at + BASE + v], s[at + UPPER + v]
                s[at + HEAT + v] += min(max(s[at + TEMP + v], base), upper)
        else:
            for v in range(shape.lanes & MOST):
                s[at + HEAT + v] += s[at + TEMP + v]
    for i in range(shape.trays, shape.zones):
        at = (ZONES + i * ZONE) & FAR
        for v in range(shape.lanes & MOST):
            temp = s[at + TEMP + v]
            s[at + PEAK + v] = max(s[at + PEAK + v], temp)
            s[SURFACE_HOT + v] = max(s[SURFACE_HOT + v], temp)


@inlined
def weigh_up(s: Vector, shape: Shape) -> None:
    """Find the driving temperature, and count it."""
    drive(s, shape)
    for v in range(shape.lanes & MOST):
        near = abs(s[ROOT + v] - s[SETPOINT + v]) <= shape.band
        s[DRIVING_IN_BAND + v] += 1.0 if near else 0.0


@inlined
def begin_reading(s: Vector, heat: Heat, shape: Shape) -> None:
    """Read and count what is there at the first scan."""
    for v in range(shape.lanes & MOST):
        s[HOT + v], s[SURFACE_HOT + v], s[SUM + v] = COLDEST, COLDEST, 0.0
    for i in range(shape.zones):
        at = (ZONES + i * ZONE) & FAR
        z0, z1 = heat.start[i, 0], heat.start[i, 1]
        temp = whole(heat.shown[i, 0] * z0 + heat.shown[i, 1] * z1)
        for v in range(shape.lanes & MOST):
            s[at + Z0 + v], s[at + Z1 + v] = z0, z1
            s[at + TEMP + v], s[at + PEAK + v] = temp, temp
    count(s, shape)


@inlined
def cross(s: Vector, shape: Shape) -> None:
    """Put the plain sum right where a line crosses a base or an upper cut-off."""
    for i in range(shape.trays):
        at, crossings = (ZONES + i * ZONE) & FAR, 0
        for v in range(shape.lanes & MOST):
            before, temp = s[at + BEFORE + v], s[at + TEMP + v]
            base, upper = s[at + BASE + v], s[at + UPPER + v]
            low = (before - base) * (temp - base) < 0.0
            high = (before - upper) * (temp - upper) < 0.0
            crossings += 1 if low | high else 0
        if crossings > 0:
            for v in range(shape.lanes & MOST):
                s[at + FIX + v] += _amiss(
                    s[at + BEFORE + v],
                    s[at + TEMP + v],
                    s[at + BASE + v],
                    s[at + UPPER + v],
                    shape.step,
                )


@inlined
def _amiss(before: float, temp: float, base: float, upper: float, step: float) -> float:
    """Return what thermal_time.heat_along has beyond the plain sum [mK ms]."""
    low = (before - base) * (temp - base) < 0.0
    if not low and not (before - upper) * (temp - upper) < 0.0:
        return 0.0
    twice = _above(before, temp, base) - _above(before, temp, upper)
    exact = whole(twice * step / (2.0 * abs(temp - before)))
    ends = min(max(before, base), upper) + min(max(temp, base), upper) - 2.0 * base
    return exact - ends * step / 2.0


@inlined
def _above(before: float, temp: float, threshold: float) -> float:
    low, high = max(0.0, before - threshold), max(0.0, temp - threshold)
    return abs(high * high - low * low)


@inlined
def sample(s: Vector, shape: Shape) -> None:
    """See which lanes may have a probe that stands still for an hour."""
    for i in range(shape.zones):
        at = (ZONES + i * ZONE) & FAR
        for v in range(shape.lanes & MOST):
            temp = s[at + TEMP + v]
            alike = s[at + ALIKE + v] + 1.0 if temp == s[at + SAMPLE + v] else 0.0
            s[at + SAMPLE + v], s[at + ALIKE + v] = temp, alike
            s[SUSPECT + v] = 1.0 if alike >= ALIKE_SAMPLES else s[SUSPECT + v]


@inlined
def follow(s: Vector, shape: Shape, now: float) -> None:
    """Follow the probes scan by scan, and see what only the core can judge.

    That is a reading that it would doubt: one beyond what a probe can say, a
    jump, or the very same one for too long.
    """
    jump = STEP + RATE * shape.step // 1000.0
    for v in range(shape.lanes & MOST):
        s[FROZEN + v] = 0.0
        for i in range(shape.zones):
            at = ZONES + i * ZONE + v
            temp, before = s[at + TEMP], s[at + BEFORE]
            if temp != before:
                s[at + SAME_SINCE] = now
            same = now - s[at + SAME_SINCE]
            if i < shape.trays and temp == s[ROOT + v] and same >= HOUR:
                s[FROZEN + v] = 1.0
            beyond = temp < LOWEST or temp > HIGHEST or abs(temp - before) > jump
            if beyond or same > s[STUCK_AFTER + v]:
                s[STRANGE + v] = 1.0
