"""What is heard of a mat's root zones and surface in one scan.

What may live here: which temperatures are known now, of which probe and tray,
and which probe is the warmest. No limits, no demand.
"""

from collections.abc import Mapping
from typing import NamedTuple

from controller.core.judge import usable
from controller.core.plan import DrivenBy, MatPlan, ProbePlan, TrayPlan
from controller.core.state import ProbeState
from controller.core.units import MilliC, Millis

Probes = Mapping[str, ProbeState]


class Heard(NamedTuple):
    """A probe, what is known of it, and whether that may be used now."""

    plan: ProbePlan
    known: ProbeState
    usable: bool


class Observed(NamedTuple):
    """A mat as its probes tell it.

    Attributes:
        roots: Its root-zone probes, in plan order.
        surface: Its surface probes.
        trays: Temperature [m°C] and name of each tray that has one now.
    """

    roots: tuple[Heard, ...]
    surface: tuple[Heard, ...]
    trays: tuple[tuple[MilliC, str], ...]


def observe(mat: MatPlan, probes: Probes, now_ms: Millis) -> Observed:
    """Return what is heard of a mat."""
    roots: list[Heard] = []
    trays: list[tuple[MilliC, str]] = []
    for tray in mat.trays:
        heard = [hear(probe, probes, now_ms) for probe in tray.probes]
        roots += heard
        temp_mc = _mean_mc([known.good_mc for _, known, fresh in heard if fresh])
        if temp_mc is not None:
            trays.append((temp_mc, tray.name))
    surface = tuple([hear(probe, probes, now_ms) for probe in mat.surface])
    return Observed(tuple(roots), surface, tuple(trays))


def tray_temp_mc(tray: TrayPlan, probes: Probes, now_ms: Millis) -> MilliC | None:
    """Return the mean of a tray's usable probes [m°C]; None without one."""
    heard = [hear(probe, probes, now_ms) for probe in tray.probes]
    return _mean_mc([known.good_mc for _, known, fresh in heard if fresh])


def room_temp_mc(
    room: tuple[ProbePlan, ...], probes: Probes, now_ms: Millis
) -> MilliC | None:
    """Return the mean of the usable room probes [m°C]; None without one."""
    heard = [hear(probe, probes, now_ms) for probe in room]
    return _mean_mc([known.good_mc for _, known, fresh in heard if fresh])


def driving_temp(mat: MatPlan, observed: Observed) -> tuple[MilliC, str] | None:
    """Return the temperature that drives a mat, and which trays it comes from.

    None: the named tray, or every tray, is without a usable probe.
    """
    found = observed.trays
    if mat.driven_by is DrivenBy.TRAY:
        found = tuple(pair for pair in found if pair[1] == mat.driving_tray)
    if not found:
        return None
    temps = sorted([temp_mc for temp_mc, _ in found])
    return _middle(mat.driven_by, temps), "+".join([name for _, name in found])


def warmest(known_warmest: str | None, observed: Observed) -> str | None:
    """Return which root-zone probe is, or was when last heard, the warmest.

    A probe that was the warmest and is lost keeps the title: what it would
    say now is not known.
    """
    best: str | None = None
    best_mc = 0
    for plan, known, fresh in observed.roots:
        if not fresh:
            if plan.name == known_warmest:
                return known_warmest
        elif best is None or known.good_mc > best_mc:
            best, best_mc = plan.name, known.good_mc
    return best or known_warmest


def hear(probe: ProbePlan, probes: Probes, now_ms: Millis) -> Heard:
    """Return a probe with what is known of it."""
    known = probes[probe.name]
    return Heard(probe, known, usable(probe, known, now_ms))


def _mean_mc(values: list[MilliC]) -> MilliC | None:
    if len(values) == 1:
        return values[0]
    return MilliC(round(sum(values) / len(values))) if values else None


def _middle(driven_by: DrivenBy, temps: list[MilliC]) -> MilliC:
    """Return the temperature that stands for several, sorted from cool to warm."""
    if driven_by is DrivenBy.WARMEST:
        return temps[-1]
    if driven_by is DrivenBy.MEAN:
        return MilliC(round(sum(temps) / len(temps)))
    if driven_by is DrivenBy.MEDIAN:
        return MilliC((temps[(len(temps) - 1) // 2] + temps[len(temps) // 2]) // 2)
    return temps[0]
