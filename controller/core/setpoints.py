"""Which setpoint is in force: programme, night, override, ramp.

What may live here: how the wanted temperature comes about. Nothing about
measured ones.
"""

from controller.core.plan import MatPlan, Night
from controller.core.scan import Scan
from controller.core.state import MatState, Override, Ramp
from controller.core.units import DAY_MS, HOUR_MS, MilliC, Millis

LIMIT_FALL_MK_PER_H = 1_000
"""Chosen: a wet tray on foam cools no slower than this from a few kelvin above
its room, so a lowered setpoint does not make yesterday's warmth look like a
fault; the tray limit follows a falling setpoint at this rate."""


def present_step(plan: MatPlan, mat: MatState, now_ms: Millis) -> tuple[int, Millis]:
    """Return the step of the programme and since when it runs.

    Days of a step are days of 24 hours of the run clock, so that neither an
    unset board clock nor daylight saving can shorten a programme.
    """
    step, since_ms = mat.step, mat.step_since_ms
    while step + 1 < len(plan.programme):
        days = plan.programme[step].days
        if days is None or now_ms - since_ms < days * DAY_MS:
            break
        step, since_ms = step + 1, Millis(since_ms + round(days * DAY_MS))
    return step, since_ms


def target(
    plan: MatPlan, step_index: int, override: Override | None, scan: Scan
) -> MilliC:
    """Return the setpoint that the ramp heads for [m°C].

    A person's override goes before the programme, and the night setpoint waits
    while the wall clock is not known to be right.
    """
    if override is not None:
        return override.setpoint_mc
    step = plan.programme[step_index]
    if step.night_mc is not None and scan.clock_ok and is_night(plan.night, scan):
        return step.night_mc
    return step.setpoint_mc


def is_night(night: Night, scan: Scan) -> bool:
    """Whether the local minute lies in the night, which may span midnight."""
    minute = scan.local_minute
    if night.from_minute <= night.to_minute:
        return night.from_minute <= minute < night.to_minute
    return minute >= night.from_minute or minute < night.to_minute


def on_ramp(ramp: Ramp, mk_per_h: int | None, now_ms: Millis) -> MilliC:
    """Return where a ramp stands [m°C]."""
    way_mk = ramp.to_mc - ramp.from_mc
    if mk_per_h is None or not way_mk:
        return ramp.to_mc
    gone_mk = mk_per_h * (now_ms - ramp.at_ms) // HOUR_MS
    if gone_mk >= abs(way_mk):
        return ramp.to_mc
    return MilliC(ramp.from_mc + (gone_mk if way_mk > 0 else -gone_mk))


def heading_for(
    ramp: Ramp | None, to_mc: MilliC, mk_per_h: int | None, now_ms: Millis
) -> Ramp:
    """Return the ramp towards a target; a new one starts where the old stands.

    One that has arrived is at rest from then on: no other rate, of a later
    plan, can put it back on its way.
    """
    if ramp is None:
        return Ramp(to_mc, now_ms, to_mc)
    stands_mc = on_ramp(ramp, mk_per_h, now_ms)
    on_its_way = ramp.to_mc == to_mc != stands_mc
    at_rest = ramp.from_mc == ramp.to_mc == to_mc
    return ramp if on_its_way or at_rest else Ramp(stands_mc, now_ms, to_mc)


def limit_reference(ramp: Ramp | None, setpoint_mc: MilliC, now_ms: Millis) -> Ramp:
    """Return the reference of the tray limit: up at once, down slowly.

    While the setpoint is on its own way down the fall is not begun anew with
    each scan: the part of a thousandth gone since the last one would be lost.
    """
    if ramp is None:
        return Ramp(setpoint_mc, now_ms, setpoint_mc)
    stands_mc = on_ramp(ramp, LIMIT_FALL_MK_PER_H, now_ms)
    if stands_mc <= setpoint_mc:
        at_rest = ramp.from_mc == ramp.to_mc == setpoint_mc
        return ramp if at_rest else Ramp(setpoint_mc, now_ms, setpoint_mc)
    if stands_mc == ramp.to_mc:
        return Ramp(stands_mc, now_ms, setpoint_mc)
    return Ramp(ramp.from_mc, ramp.at_ms, setpoint_mc)
