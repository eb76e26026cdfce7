"""What came in: readings judged, and the thermal time of trays carried on.

What may live here: which probe a reading belongs to and what follows from it.
No mats, no heat.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from controller.core.decisions import Doubt
from controller.core.judge import SECOND, judge
from controller.core.plan import Plan, ProbePlan, TrayPlan
from controller.core.root_zone import tray_temp_mc
from controller.core.scan import Reading, Scan
from controller.core.state import ProbeState, State, ThermalAccount
from controller.core.thermal_time import add_sample
from controller.core.units import MilliC, Millis


class _Place(NamedTuple):
    """Where a probe is, and which cut-out it guards."""

    probe: ProbePlan
    tray: TrayPlan | None = None
    cutout_mc: MilliC | None = None


def take_readings(
    plan: Plan, state: State, scan: Scan, now_ms: Millis
) -> tuple[State, tuple[Doubt, ...]]:
    """Judge every reading of a scan, in order, each for its probe and tray.

    Where one reaches a cut-out for the second time, its probe is not heard
    further in this scan: what follows must not hide it.
    """
    if not scan.readings:
        return state, ()
    probes = dict(state.probes)
    accounts = dict(state.accounts)
    doubts: list[Doubt] = []
    reached: set[str] = set()
    for reading in scan.readings:
        place = next((p for p in _places(plan) if p.probe.name == reading.probe), None)
        if place is None or reading.probe in reached:
            continue  # of another plan (the door lets none in), or heard enough
        probes[reading.probe], doubt = judge(
            place.probe, place.cutout_mc, probes[reading.probe], reading, now_ms
        )
        if doubt is not None:
            doubts.append(doubt)
            continue
        if probes[reading.probe].over_cutout == SECOND:
            reached.add(reading.probe)
        if place.tray is not None:
            name = place.tray.name
            accounts[name] = _account(place.tray, accounts[name], probes, reading)
    return replace(state, probes=probes, accounts=accounts), tuple(doubts)


def _places(plan: Plan) -> Iterator[_Place]:
    for mat in plan.mats:
        for tray in mat.trays:
            for probe in tray.probes:
                yield _Place(probe, tray, mat.cutout_mc)
        for probe in mat.surface:
            yield _Place(probe, None, mat.surface_cutout_mc)
    for tray in plan.trays:
        for probe in tray.probes:
            yield _Place(probe, tray)
    for probe in plan.room + plan.witnesses:
        yield _Place(probe)


def _account(
    tray: TrayPlan,
    account: ThermalAccount,
    probes: Mapping[str, ProbeState],
    reading: Reading,
) -> ThermalAccount:
    temp_mc = tray_temp_mc(tray, probes, reading.at_ms)
    if temp_mc is None:
        return account
    stale_ms = max(probe.stale_after_ms for probe in tray.probes)
    return add_sample(account, reading.at_ms, temp_mc, stale_ms)
