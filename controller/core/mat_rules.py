"""Rules that one mat of a plan must keep, and the words for what breaks them.

What may live here: checks of a mat against itself and what stands on it, with
the bounds they use. No defaults, no state, nothing about other mats.
"""

from collections.abc import Callable, Iterator

from controller.core.plan import DrivenBy, MatPlan, Pid, ProbePlan
from controller.core.units import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    celsius,
    kelvin,
)

RESET_BELOW_MK = 3_000
"""Chosen: a reset, and the highest setpoint, lie this far below a cut-out, so
that neither a reset nor an overshoot trips the mat at once [mK]."""

LOWEST_SETPOINT_MC = 5_000
"""Chosen: frost-free; a lower wish is most likely a slip [m°C]."""

LOWEST_CUTOUT_MC = 10_000
"""Chosen: below it no setpoint worth heating for would be left [m°C]."""

HIGHEST_CUTOUT_MC = 35_000
"""Root zones at 35 °C for 6 h a day shortened the survival of rooted cuttings
(Martin, Ingram and Jenks 1991, J. Thermal Biol. 16:281-285) [m°C]."""

HIGHEST_SURFACE_CUTOUT_MC = 60_000
"""Chosen: no root zone that is allowed here needs a hotter mat [m°C]."""

WARN_ABOVE_SETPOINT_MK = 1_000
"""Chosen: a warning at the setpoint itself would never be quiet [mK]."""

LONGEST_BLIND_MS = 30 * MINUTE_MS
"""Chosen: at full heat a root zone gains some 5 K an hour, so half an hour
without a probe stays below the usual tray limit [ms]."""

RESERVED = frozenset(way.value for way in DrivenBy if way is not DrivenBy.TRAY)
"""Ways of driving a mat; no tray bears such a name."""

_WATT_MW = 1_000

Problems = Iterator["PlanError"]


class PlanError(ValueError):
    """A plan breaks a rule.

    Attributes:
        where: The place, such as "mat north: cutout".
        found: What stands there, with its unit.
        allowed: What would be right.
    """

    def __init__(self, where: str, found: str, allowed: str) -> None:
        super().__init__(f"{where} = {found}: {allowed}")
        self.where = where
        self.found = found
        self.allowed = allowed


def setpoint_problem(mat: MatPlan, setpoint_mc: int) -> PlanError | None:
    """Return why a mat may not be kept at a setpoint [m°C]; None if it may."""
    return next(_setpoint(f"mat {mat.name}: setpoint", mat, setpoint_mc), None)


def mat_problems(mat: MatPlan) -> Problems:
    """Yield every rule that a mat breaks."""
    at = f"mat {mat.name}"
    yield from _size(at, mat)
    yield from _times(at, mat)
    yield from _policy(at, mat)
    yield from _limits(at, mat)
    yield from _responses(at, mat)
    yield from _programme(at, mat)
    yield from _driving(at, mat)
    if mat.relay is not None and not any(tray.probes for tray in mat.trays):
        allowed = "a mat with a relay needs a temperature probe in one of its trays"
        yield PlanError(f"{at}: probes", "none", allowed)
    for probe in _heating_probes(mat):
        where = f"probe {probe.name}: stale_after"
        stale_ms = probe.stale_after_ms
        if stale_ms > LONGEST_BLIND_MS:
            allowed = f"at most {in_time(LONGEST_BLIND_MS)} where a mat heats"
            yield PlanError(where, in_time(stale_ms), allowed)


def _heating_probes(mat: MatPlan) -> tuple[ProbePlan, ...]:
    if mat.relay is None:
        return ()
    return tuple(probe for tray in mat.trays for probe in tray.probes) + mat.surface


def _size(at: str, mat: MatPlan) -> Problems:
    # Chosen: what one household socket and one bench carry.
    yield from between(
        f"{at}: power", mat.power_mw, (_WATT_MW, 3_000 * _WATT_MW), in_watts
    )
    shortest_mm, longest_mm = 10, 10_000
    if not shortest_mm <= mat.width_mm <= mat.length_mm <= longest_mm:
        found = f"{mat.length_mm} mm x {mat.width_mm} mm"
        yield PlanError(f"{at}: area", found, "sides from 10 mm to 10 m, longer first")


def _times(at: str, mat: MatPlan) -> Problems:
    # Chosen: longer than an hour and the bench would no longer be regulated.
    yield from between(f"{at}: min_on", mat.min_on_ms, (0, HOUR_MS), in_time)
    yield from between(f"{at}: min_off", mat.min_off_ms, (0, HOUR_MS), in_time)
    # Chosen: heat from a mat under a full tray arrives within these times.
    yield from between(
        f"{at}: settle", mat.settle_ms, (MINUTE_MS, 6 * HOUR_MS), in_time
    )
    # Chosen: above a first warm-up of 3 to 8 hours; who wants no limit says 24 h a
    # day and 48 h without a pause.
    yield from between(
        f"{at}: longest_on", mat.longest_on_ms, (HOUR_MS, 48 * HOUR_MS), in_time
    )
    yield from between(
        f"{at}: daily_on", mat.daily_on_ms, (HOUR_MS, 24 * HOUR_MS), in_time
    )
    if mat.ramp_mk_per_h is not None and not 0 < mat.ramp_mk_per_h <= 60 * 1_000:
        found = f"{kelvin(mat.ramp_mk_per_h):g} K/h"
        yield PlanError(f"{at}: ramp", found, 'above 0, up to 60 K/h, or "none"')
    for minute in (mat.night.from_minute, mat.night.to_minute):
        if not 0 <= minute < DAY_MS // MINUTE_MS:
            yield PlanError(f"{at}: night", str(minute), "minutes from 0 to 1439")
    if mat.night.from_minute == mat.night.to_minute:
        yield PlanError(f"{at}: night", "no time", "two different times of day")


def _policy(at: str, mat: MatPlan) -> Problems:
    if isinstance(mat.policy, Pid):
        yield from _pid(at, mat, mat.policy)
    elif not 0 < mat.policy.differential_mk <= 5_000:  # noqa: PLR2004
        found = in_kelvins(mat.policy.differential_mk)
        yield PlanError(f"{at}: differential", found, "above 0, up to 5 K")


def _pid(at: str, mat: MatPlan, pid: Pid) -> Problems:
    # Written so that a NaN breaks every rule. Upper bounds chosen: beyond them
    # the controller is on-off in disguise, or never acts within a season.
    if not 0 < pid.gain_per_k <= 10:  # noqa: PLR2004
        where = f"{at}: pid.gain_per_k"
        yield PlanError(where, f"{pid.gain_per_k:g}", "above 0, up to 10")
    day_s = DAY_MS / SECOND_MS
    if not 0 < pid.integral_s <= 7 * day_s:
        where = f"{at}: pid.integral_time"
        yield PlanError(where, f"{pid.integral_s:g} s", "above 0, up to 7 days")
    if not 0 <= pid.derivative_s <= day_s:
        where = f"{at}: pid.derivative_time"
        yield PlanError(where, f"{pid.derivative_s:g} s", "from 0 to 1 day")
    if not max(1, 2 * mat.min_on_ms) <= pid.cycle_ms <= 2 * HOUR_MS:
        shortest = f"at least twice min_on ({in_time(mat.min_on_ms)})"
        yield PlanError(f"{at}: cycle", in_time(pid.cycle_ms), f"{shortest}, up to 2 h")


def _responses(at: str, mat: MatPlan) -> Problems:
    """Yield bounds of the response guards, chosen.

    Tighter ones would take watering or a draught for a fault; looser ones would
    let a tray pass its cut-out unseen.
    """
    for key, value_mk, bounds in (
        ("heat_allowance", mat.heat_allowance_mk, (2_500, 6_000)),
        ("rise_limit", mat.rise_limit_mk, (1_500, 10_000)),
        ("stray_heat", mat.stray_heat_mk, (1_000, 5_000)),
        ("disagreement", mat.disagreement_mk, (1_500, 10_000)),
    ):
        yield from between(f"{at}: {key}", value_mk, bounds, in_kelvins)


def _limits(at: str, mat: MatPlan) -> Problems:
    yield from between(
        f"{at}: tray_limit", mat.tray_limit_mk, (1_000, 10_000), in_kelvins
    )
    if not LOWEST_CUTOUT_MC <= mat.cutout_mc <= HIGHEST_CUTOUT_MC:
        highest = f"{in_celsius(HIGHEST_CUTOUT_MC)}: warmer harms roots"
        allowed = f"from {in_celsius(LOWEST_CUTOUT_MC)} to {highest}"
        yield PlanError(f"{at}: cutout", in_celsius(mat.cutout_mc), allowed)
    if mat.warn_mc >= mat.cutout_mc:
        allowed = f"below the cutout of {in_celsius(mat.cutout_mc)}"
        yield PlanError(f"{at}: warn", in_celsius(mat.warn_mc), allowed)
    surface_mc = mat.surface_cutout_mc
    if surface_mc > HIGHEST_SURFACE_CUTOUT_MC:
        allowed = f"at most {in_celsius(HIGHEST_SURFACE_CUTOUT_MC)}"
        yield PlanError(f"{at}: surface_cutout", in_celsius(surface_mc), allowed)
    if mat.surface_limit_mc >= surface_mc:
        allowed = f"below the surface_cutout of {in_celsius(surface_mc)}"
        yield PlanError(
            f"{at}: surface_limit", in_celsius(mat.surface_limit_mc), allowed
        )


def _programme(at: str, mat: MatPlan) -> Problems:
    if not mat.programme:
        yield PlanError(f"{at}: step", "nothing", "at least one step")
        return
    for number, step in enumerate(mat.programme, start=1):
        inside = f"{at}: step {number}" if len(mat.programme) > 1 else at
        yield from _setpoint(f"{inside}: setpoint", mat, step.setpoint_mc)
        if step.night_mc is not None:
            yield from _setpoint(f"{inside}: night_setpoint", mat, step.night_mc)
        yield from _days(inside, step.days, last=number == len(mat.programme))
    yield from _room_above(at, mat)


def _setpoint(where: str, mat: MatPlan, setpoint_mc: int) -> Problems:
    highest_mc = mat.cutout_mc - RESET_BELOW_MK
    if not LOWEST_SETPOINT_MC <= setpoint_mc <= highest_mc:
        below = f"{in_kelvins(RESET_BELOW_MK)} below the cutout"
        lowest = in_celsius(LOWEST_SETPOINT_MC)
        allowed = f"from {lowest} to {in_celsius(highest_mc)}, which is {below}"
        yield PlanError(where, in_celsius(setpoint_mc), allowed)


def _days(inside: str, days: float | None, *, last: bool) -> Problems:
    if days is None:
        return
    if last:
        allowed = 'the last step stays: "by hand"'
        yield PlanError(f"{inside}: until", f"{days:g} days", allowed)
    elif not 0 < days <= 1_000:  # noqa: PLR2004 (chosen: longer than any crop here)
        yield PlanError(
            f"{inside}: until", f"{days:g} days", "above 0, up to 1000 days"
        )


def _room_above(at: str, mat: MatPlan) -> Problems:
    steps = mat.programme
    highest_mc = max(max(step.setpoint_mc, step.night_mc or 0) for step in steps)
    if highest_mc > mat.cutout_mc - RESET_BELOW_MK:
        return  # told of already; limits above it would help nobody
    if mat.warn_mc < highest_mc + WARN_ABOVE_SETPOINT_MK:
        above = f"{in_kelvins(WARN_ABOVE_SETPOINT_MK)} above the highest setpoint"
        allowed = f"at least {above} of {in_celsius(highest_mc)}"
        yield PlanError(f"{at}: warn", in_celsius(mat.warn_mc), allowed)
    if mat.surface_limit_mc <= highest_mc:
        allowed = f"above the highest setpoint of {in_celsius(highest_mc)}"
        yield PlanError(
            f"{at}: surface_limit", in_celsius(mat.surface_limit_mc), allowed
        )


def _driving(at: str, mat: MatPlan) -> Problems:
    where, tray = f"{at}: driven_by", mat.driving_tray
    if mat.driven_by is not DrivenBy.TRAY:
        if tray is not None:
            yield PlanError(
                where, mat.driven_by.value, f"no tray of its own, but {tray} is given"
            )
        return
    if all(known.name != tray or not known.probes for known in mat.trays):
        ways = ", ".join(sorted(RESERVED))
        allowed = f"a tray on this mat with a temperature probe in it, or {ways}"
        yield PlanError(where, tray or "no tray", allowed)


def between(
    where: str, value: int, bounds: tuple[int, int], shown: Callable[[int], str]
) -> Problems:
    """Yield a problem where a value lies outside its bounds."""
    low, high = bounds
    if not low <= value <= high:
        yield PlanError(where, shown(value), f"from {shown(low)} to {shown(high)}")


def in_celsius(temp_mc: int) -> str:
    """Return a temperature from [m°C] as text with its unit."""
    return f"{celsius(temp_mc):.10g} °C"


def in_kelvins(difference_mk: int) -> str:
    """Return a difference from [mK] as text with its unit."""
    return f"{kelvin(difference_mk):.10g} K"


def in_watts(power_mw: int) -> str:
    """Return a power from [mW] as text with its unit."""
    return f"{power_mw / _WATT_MW:.10g} W"


def in_mm(length_mm: int) -> str:
    """Return a length from [mm] as text with its unit."""
    return f"{length_mm} mm"


def in_time(span_ms: int) -> str:
    """Return a time span from [ms] as text with its unit."""
    for unit_ms, unit in ((HOUR_MS, "h"), (MINUTE_MS, "min"), (SECOND_MS, "s")):
        if span_ms and span_ms % unit_ms == 0:
            return f"{span_ms // unit_ms} {unit}"
    return f"{span_ms} ms"
