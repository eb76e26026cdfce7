"""Rules that a plan must keep: a plan that breaks one is never followed.

All broken rules are found at once, each with its place, what stands there and
what is allowed. What may live here: checks of the bench, its trays and probes;
those of a mat are in mat_rules. No defaults, no state.
"""

from collections import Counter
from dataclasses import replace

from controller.core.mat_rules import (
    RESERVED,
    RESET_BELOW_MK,
    PlanError,
    Problems,
    between,
    in_celsius,
    in_kelvins,
    in_mm,
    in_time,
    mat_problems,
    setpoint_problem,
)
from controller.core.plan import (
    Plan,
    ProbePlan,
    Quantity,
    TrayPlan,
    all_probes,
    all_trays,
)
from controller.core.units import DAY_MS, HOUR_MS, SECOND_MS

__all__ = ["RESET_BELOW_MK", "PlanError", "problems", "setpoint_problem"]

STALE_PER_EVERY = (5, 2)
"""Chosen: 2.5 times; two messages may be lost before a probe counts as lost."""

_NAME_MARKS = "-_"
_NAME_LENGTH = 32


def problems(plan: Plan) -> tuple[PlanError, ...]:
    """Return every rule that the plan breaks; empty for one to be followed."""
    return tuple(_problems(plan))


def _problems(plan: Plan) -> Problems:
    yield from _name("[bench] name", plan.bench)
    yield from between(
        "[bench] scan", plan.scan_ms, (SECOND_MS, 30 * SECOND_MS), in_time
    )
    yield from _names("mat", [mat.name for mat in plan.mats])
    yield from _names("tray", [tray.name for tray in all_trays(plan)])
    yield from _names("probe", [probe.name for probe in all_probes(plan)])
    for mat in plan.mats:
        yield from mat_problems(mat)
    for tray in all_trays(plan):
        yield from _tray(tray)
    for probe in all_probes(plan):
        yield from _probe(probe)
    for probe in all_probes(replace(plan, witnesses=())):
        yield from _only_temperature(probe)


def _names(kind: str, names: list[str]) -> Problems:
    for name, times in Counter(names).items():
        where = f"{kind} {name}: name"
        yield from _name(where, name)
        if times > 1:
            yield PlanError(
                where, name, f"{times} {kind}s have this name; each needs its own"
            )
        if kind == "tray" and name in RESERVED:
            allowed = "not a tray's name: it is a way of driving a mat"
            yield PlanError(where, name, allowed)


def _name(where: str, name: str) -> Problems:
    plain = all((c.isascii() and c.isalnum()) or c in _NAME_MARKS for c in name)
    if not plain or not 1 <= len(name) <= _NAME_LENGTH:
        yield PlanError(where, name, 'from 1 to 32 letters a-z, digits, "-" and "_"')


def _tray(tray: TrayPlan) -> Problems:
    at = f"tray {tray.name}"
    # Chosen: from a wet mat to a deep bin; places on a bench for hands.
    yield from between(f"{at}: depth", tray.depth_mm, (5, 1_000), in_mm)
    for number in (tray.row, tray.column):
        yield from between(f"{at}: place", number, (1, 100), str)
    # Chosen: bases from pea to poinsettia lie between 1 and 21 °C.
    yield from between(f"{at}: base", tray.base_mc, (0, 30_000), in_celsius)
    if tray.upper_mc is not None and not tray.base_mc < tray.upper_mc <= 50_000:  # noqa: PLR2004
        allowed = f"above the base of {in_celsius(tray.base_mc)}, up to 50 °C"
        yield PlanError(f"{at}: upper", in_celsius(tray.upper_mc), allowed)
    for probe in tray.probes:
        if probe.depth_mm is not None and probe.depth_mm > tray.depth_mm:
            allowed = f"at most the tray's {in_mm(tray.depth_mm)}"
            where = f"probe {probe.name}: depth"
            yield PlanError(where, in_mm(probe.depth_mm), allowed)


def _probe(probe: ProbePlan) -> Problems:
    at = f"probe {probe.name}"
    # Chosen: a probe that is further off than 5 K is broken, not off.
    yield from between(f"{at}: offset", probe.offset_mk, (-5_000, 5_000), in_kelvins)
    yield from between(f"{at}: every", probe.every_ms, (100, DAY_MS), in_time)
    times, per = STALE_PER_EVERY
    if probe.stale_after_ms * per < probe.every_ms * times:
        least = f"at least 2.5 times every ({in_time(probe.every_ms)})"
        yield PlanError(f"{at}: stale_after", in_time(probe.stale_after_ms), least)
    # Chosen: a settled root zone may well read the same for an hour.
    yield from between(
        f"{at}: stuck_after", probe.stuck_after_ms, (HOUR_MS, 7 * DAY_MS), in_time
    )
    if probe.depth_mm is not None and probe.depth_mm < 0:
        yield PlanError(f"{at}: depth", in_mm(probe.depth_mm), "0 or more")


def _only_temperature(probe: ProbePlan) -> Problems:
    if probe.quantity is not Quantity.TEMPERATURE:
        allowed = "a probe that guards a tray, mat or room measures temperature"
        yield PlanError(f"probe {probe.name}: quantity", probe.quantity.value, allowed)
