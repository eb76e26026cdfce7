"""Setpoints of a lane: programme, night and ramp, and the tray limit's reference.

The twin of controller.core.setpoints. Which setpoint is wanted when depends on
no temperature, so a list of changes says it all (see table). Between two of
them nothing needs to be looked at, unless a ramp is on its way: the core's
ramps, left alone, stand where they would stand if taken up in each scan. What
may live here: that. No temperatures.
"""

from math import floor

from controller.core.setpoints import LIMIT_FALL_MK_PER_H
from controller.core.units import HOUR_MS
from sim.thermal import Vector
from sim.whatif.jit import inlined
from sim.whatif.rows import (
    CUTOUT,
    DIFFERENTIAL,
    HIGH,
    HOT_LINE,
    LIMIT_AT,
    LIMIT_FROM,
    LIMIT_TO,
    LOW,
    LOW_BY,
    NEXT,
    RAMP,
    RAMP_AT,
    RAMP_FROM,
    RAMP_TO,
    SETPOINT,
    SETPOINT_C,
    TARGET,
    TRAY_LIMIT,
)
from sim.whatif.shape import Readings
from sim.whatif.words import smaller

HOUR = float(HOUR_MS)
LIMIT_FALL = float(LIMIT_FALL_MK_PER_H)


@inlined
def on_ramp(start: float, at: float, to: float, rate: float, now: float) -> float:
    """Return where a ramp stands [m°C]; a rate below 0 is no ramp."""
    way = to - start
    if rate < 0.0 or way == 0.0:
        return to
    gone = float(floor(rate * (now - at) / HOUR))
    if gone >= abs(way):
        return to
    return start + gone if way > 0.0 else start - gone


@inlined
def take_up(
    s: Vector,
    h: Readings,
    v: int,
    k: int,
    now: float,
    change_at: Vector,
    change_to: Vector,
) -> None:
    """Bring a lane's setpoint up to step k; say when to look again."""
    index = int(s[TARGET + v])
    while change_at[index + 1] <= k:
        index += 1
    s[TARGET + v] = float(index)
    wanted = change_to[index]
    start, at, to, rate = s[RAMP_FROM + v], s[RAMP_AT + v], s[RAMP_TO + v], s[RAMP + v]
    stands = on_ramp(start, at, to, rate, now)
    if k == 0:
        start, at, to = wanted, now, wanted
    elif not (to == wanted and (wanted != stands or start == wanted)):
        start, at, to = stands, now, wanted
    s[RAMP_FROM + v], s[RAMP_AT + v], s[RAMP_TO + v] = start, at, to
    setpoint = on_ramp(start, at, to, rate, now)
    s[NEXT + v] = k + 1.0 if setpoint != to else change_at[index + 1]
    _refer(s, v, k, now, setpoint)
    h[SETPOINT + v], s[SETPOINT_C + v] = setpoint, setpoint / 1000.0
    low = setpoint - s[LOW_BY + v]
    h[LOW + v], h[HIGH + v] = low, low + s[DIFFERENTIAL + v]
    # The reference never lies below the setpoint, so no limit acts below this.
    h[HOT_LINE + v] = smaller(s[CUTOUT + v], setpoint + s[TRAY_LIMIT + v])


@inlined
def _refer(s: Vector, v: int, k: int, now: float, setpoint: float) -> None:
    start, at, to = s[LIMIT_FROM + v], s[LIMIT_AT + v], s[LIMIT_TO + v]
    stands = on_ramp(start, at, to, LIMIT_FALL, now)
    if k == 0 or stands <= setpoint:
        start, at = setpoint, now
    elif stands == to:
        start, at = stands, now
    s[LIMIT_FROM + v], s[LIMIT_AT + v], s[LIMIT_TO + v] = start, at, setpoint


@inlined
def tray_limit(s: Vector, v: int, now: float) -> float:
    """Return from which temperature on a tray inhibits heat [m°C]."""
    reference = on_ramp(
        s[LIMIT_FROM + v], s[LIMIT_AT + v], s[LIMIT_TO + v], LIMIT_FALL, now
    )
    limit: float = smaller(s[CUTOUT + v], reference + s[TRAY_LIMIT + v])
    return limit
