"""Trays, probes and thermal time as the API shows them. Pure.

What may live here: from a look at the bench to plain dicts. No requests.
"""

from api.formats import days_text, duration_text, short_temp_text, temp_text
from api.moment import Moment, at_text, reader_of
from api.sentences import doubt_sentence
from api.shapes import (
    DegreeHoursView,
    DoubtView,
    ProbeView,
    TrayView,
    WitnessView,
)
from controller.core.judge import usable
from controller.core.plan import MatPlan, ProbePlan, TrayPlan, all_trays
from controller.core.root_zone import tray_temp_mc
from controller.core.scan import Quality
from controller.core.state import ProbeState, ThermalAccount
from controller.core.units import HOUR_MS, celsius, kelvin_hours

METHOD = (
    "integral of the straight line between readings, above base and below upper; "
    "gaps are counted, never bridged"
)

_LEAST_REFERENCE_MK = 1_000
"""Chosen: with less than 1 K above the base, days at the setpoint say nothing."""


def tray_view(look: Moment, tray: TrayPlan) -> TrayView:
    """Return one tray."""
    probes = look.snapshot.state.probes
    temp_mc = tray_temp_mc(tray, probes, look.now_ms)
    mat = mat_of(look, tray)
    stand = look.snapshot.tabletop.trays.get(tray.name)
    return TrayView(
        name=tray.name,
        title=tray.title,
        mat=None if mat is None else mat.name,
        medium=tray.medium,
        depth_mm=tray.depth_mm,
        row=tray.row,
        column=tray.column,
        at_mm=None if stand is None else list(stand.at_mm),
        size_mm=None if stand is None else list(stand.size_mm),
        temp_c=None if temp_mc is None else celsius(temp_mc),
        temp_text=_temp_text(look, tray, temp_mc),
        probes=[probe_view(look, probe) for probe in tray.probes],
        degree_hours=live_degree_hours(look, tray),
    )


def find_tray(look: Moment, name: str) -> TrayPlan | None:
    """Return the tray of this name, if there is one."""
    trays = all_trays(look.snapshot.plan)
    return next((tray for tray in trays if tray.name == name), None)


def mat_of(look: Moment, tray: TrayPlan) -> MatPlan | None:
    """Return the mat that a tray stands on; None: on no mat."""
    mats = look.snapshot.plan.mats
    return next((mat for mat in mats if tray in mat.trays), None)


def _temp_text(look: Moment, tray: TrayPlan, temp_mc: int | None) -> str:
    """Return the temperature, or in words why there is none."""
    if temp_mc is not None:
        return temp_text(temp_mc, look.snapshot.display_unit)
    if not tray.probes:
        return "none"
    known = [look.snapshot.state.probes[probe.name] for probe in tray.probes]
    heard = [state.good_at_ms for state in known if state.good_at_ms is not None]
    if not heard:
        return "no reading yet"
    return f"no reading for {duration_text(look.now_ms - max(heard))}"


def probe_view(look: Moment, probe: ProbePlan) -> ProbeView:
    """Return one temperature probe."""
    known = look.snapshot.state.probes[probe.name]
    good_c = None if known.good_at_ms is None else celsius(known.good_mc)
    return ProbeView(
        name=probe.name,
        depth_mm=probe.depth_mm,
        temp_c=good_c if usable(probe, known, look.now_ms) else None,
        quality=_quality(look, probe, known).value,
        last_good_c=good_c,
        last_good_at=at_text(look, known.good_at_ms),
        age_s=_age_s(look, known),
        stale_after_s=probe.stale_after_ms / 1000,
        doubt=_doubt(look, known),
    )


def witness_view(look: Moment, probe: ProbePlan) -> WitnessView:
    """Return one probe of another quantity."""
    known = look.snapshot.state.probes[probe.name]
    fresh = usable(probe, known, look.now_ms)
    return WitnessView(
        name=probe.name,
        quantity=probe.quantity.value,
        value=known.good_mc / 1000 if fresh else None,
        quality=_quality(look, probe, known).value,
        at=at_text(look, known.good_at_ms),
        age_s=_age_s(look, known),
    )


def _age_s(look: Moment, known: ProbeState) -> float | None:
    if known.good_at_ms is None:
        return None
    return max(0, look.now_ms - known.good_at_ms) / 1000


def _quality(look: Moment, probe: ProbePlan, known: ProbeState) -> Quality:
    if usable(probe, known, look.now_ms):
        return Quality.GOOD
    if known.doubt is not None:
        return known.doubt_quality
    return Quality.BAD if known.good_at_ms is None else Quality.UNCERTAIN


def _doubt(look: Moment, known: ProbeState) -> DoubtView | None:
    if known.doubt is None:
        return None
    temp_mc = known.doubt_mc
    return DoubtView(
        why=known.doubt.value,
        sentence=doubt_sentence(known.doubt, temp_mc, reader_of(look)),
        temp_c=None if temp_mc is None else celsius(temp_mc),
        at=at_text(look, known.doubt_at_ms),
    )


def live_degree_hours(look: Moment, tray: TrayPlan) -> DegreeHoursView:
    """Return what the live counter of a tray says."""
    account = look.snapshot.state.accounts[tray.name]
    view = degree_hours_view(look, tray, account)
    view["end"] = at_text(look, account.last_ms)
    return view


def degree_hours_view(
    look: Moment, tray: TrayPlan, account: ThermalAccount
) -> DegreeHoursView:
    """Return an account of thermal time, with all that it was counted from."""
    measured_ms = account.measured_ms
    mean_c = account.warmth_mk_ms / measured_ms / 1000 if measured_ms else None
    reference_mc = _reference_mc(look, tray, account)
    return DegreeHoursView(
        tray=tray.name,
        degree_hours_k_h=round(kelvin_hours(account.heat_mk_ms), 3),
        base_c=celsius(account.base_mc),
        upper_c=None if account.upper_mc is None else celsius(account.upper_mc),
        hours_measured=round(measured_ms / HOUR_MS, 4),
        gap_hours=round(account.gap_ms / HOUR_MS, 4),
        gaps=account.gaps,
        mean_c=None if mean_c is None else round(mean_c, 3),
        equal_to=_equal_to(look, account, reference_mc),
        reference_c=None if reference_mc is None else celsius(reference_mc),
        method=METHOD,
        source="live counter",
        start=None,
        end=None,
    )


def _reference_mc(look: Moment, tray: TrayPlan, account: ThermalAccount) -> int | None:
    """Return the mat's setpoint by day, if days at it can be counted [m°C]."""
    mat = mat_of(look, tray)
    if mat is None:
        return None
    step = look.snapshot.state.mats[mat.name].step
    reference_mc = mat.programme[step].setpoint_mc
    enough = _gain_mk(account, reference_mc) >= _LEAST_REFERENCE_MK
    return reference_mc if enough else None


def _gain_mk(account: ThermalAccount, temp_mc: int) -> int:
    upper_mc = account.upper_mc
    counted_mc = temp_mc if upper_mc is None else min(temp_mc, upper_mc)
    return counted_mc - account.base_mc


def _equal_to(
    look: Moment, account: ThermalAccount, reference_mc: int | None
) -> str | None:
    if reference_mc is None:
        return None
    days = account.heat_mk_ms / _gain_mk(account, reference_mc) / HOUR_MS / 24
    reference = short_temp_text(reference_mc, look.snapshot.display_unit)
    return f"equal to {days_text(days)} at {reference}"
