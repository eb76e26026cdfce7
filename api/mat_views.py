"""Mats as the API shows them, in the grower's words. Pure.

What may live here: from a look at the bench to plain dicts. No requests.
"""

from api.formats import percent_text, temp_text, utc_text
from api.moment import Moment, at_text, clock_text, reader_of, wall_ms
from api.sentences import cause_sentence, shown_numbers
from api.shapes import (
    EndsHow,
    LimitsView,
    MatView,
    OverrideView,
    SetpointView,
    StepView,
    TripView,
    WhyView,
)
from api.tray_views import probe_view
from controller.core.decisions import Cause, Command
from controller.core.plan import DrivenBy, MatPlan
from controller.core.protect import tray_limit_mc
from controller.core.relays import DUTY_MEMORY_MS, mean_duty, on_time_ms
from controller.core.root_zone import driving_temp, observe
from controller.core.setpoints import on_ramp, target
from controller.core.state import MatState, Mode, Override, Trip
from controller.core.units import DAY_MS, celsius, watt_hours

_MODES = {
    Mode.STARTING: "starting: waiting for good readings",
    Mode.REGULATING: "heating allowed",
    Mode.INHIBITED: "held off for now",
    Mode.HELD: "hands on the bench",
    Mode.OFF: "switched off",
    Mode.TRIPPED: "locked off until you reset it",
}

NOBODY = "nobody-decides"
AT_REST = (
    "Nobody runs this bench: this is how its log left it, and its relays are told"
    " nothing."
)


def _duty_text(look: Moment, duty: float) -> str:
    """Return the share of time on, once it means something."""
    since_ms = look.now_ms - look.snapshot.state.started_ms
    if since_ms < DUTY_MEMORY_MS:
        return "too early to say how much of the time it is on"
    return f"on {percent_text(duty)} of the time"


def mat_view(look: Moment, mat: MatPlan) -> MatView:
    """Return one mat."""
    known = look.snapshot.state.mats[mat.name]
    why = why_view(look, mat)
    observed = observe(mat, look.snapshot.state.probes, look.now_ms)
    driving = driving_temp(mat, observed)
    duty = mean_duty(known.relay, look.now_ms)
    stand = look.snapshot.tabletop.mats.get(mat.name)
    on_ms = on_time_ms(known.relay, look.now_ms)
    command = _command(look, mat)
    return MatView(
        name=mat.name,
        title=mat.title,
        watch_only=mat.relay is None,
        enabled=known.enabled,
        mode=known.mode.value,
        mode_text=why["mode_text"],
        mode_since=utc_text(wall_ms(look, known.mode_since_ms)),
        energised=why["energised"],
        commanded=command is not None and command.energised,
        cause=why["cause"],
        why=why["sentence"],
        policy=mat.policy.kind,
        driven_by=_driven_by(mat),
        length_mm=mat.length_mm,
        width_mm=mat.width_mm,
        at_mm=None if stand is None else list(stand.at_mm),
        size_mm=None if stand is None else list(stand.size_mm),
        driving_c=None if driving is None else celsius(driving[0]),
        setpoint=setpoint_view(look, mat),
        duty_percent=round(100 * duty, 1),
        duty_text=_duty_text(look, duty),
        power_w=mat.power_mw / 1000,
        energy_wh=round(watt_hours(mat.power_mw, on_ms), 3),
        operations=known.relay.operations,
        step=_step_view(look, mat, known),
        limits=_limits_view(look, mat, known),
        trip=_trip_view(look, known),
        hold_until=at_text(look, known.hold_until_ms),
        trays=[tray.name for tray in mat.trays],
        surface=[probe_view(look, probe) for probe in mat.surface],
    )


def find_mat(look: Moment, name: str) -> MatPlan | None:
    """Return the mat of this name, if there is one."""
    mats = look.snapshot.plan.mats
    return next((mat for mat in mats if mat.name == name), None)


def why_view(look: Moment, mat: MatPlan) -> WhyView:
    """Return why a mat is, or is not, heating."""
    command = _command(look, mat)
    known = look.snapshot.state.mats[mat.name]
    reader = reader_of(look)
    numbers = () if command is None else command.numbers
    return WhyView(
        mat=mat.name,
        # On a log at rest nobody knows of the relay: in doubt it is off.
        energised=command is not None and known.relay.energised,
        mode=known.mode.value,
        mode_text=mode_text(look, mat),
        cause=NOBODY if command is None else command.cause.value,
        sentence=AT_REST
        if command is None
        else cause_sentence(
            command.cause, numbers, reader, energised=command.energised
        ),
        numbers=shown_numbers(numbers, reader),
        scan=look.snapshot.scan.seq,
        at=utc_text(look.snapshot.scan.utc_ms),
    )


def mode_text(look: Moment, mat: MatPlan) -> str:
    """Return the mode in the grower's words."""
    if mat.relay is None:
        return "only watched"
    known = look.snapshot.state.mats[mat.name]
    if known.mode is Mode.HELD and known.hold_until_ms is not None:
        return f"hands on the bench until {clock_text(look, known.hold_until_ms)}"
    return _MODES[known.mode]


def _command(look: Moment, mat: MatPlan) -> Command | None:
    """Return what a mat was told in the last scan; None: a log at rest has no word."""
    commands = look.snapshot.decisions.commands
    return next((one for one in commands if one.mat == mat.name), None)


def _driven_by(mat: MatPlan) -> str:
    way = mat.driven_by
    return f"tray {mat.driving_tray}" if way is DrivenBy.TRAY else str(way.value)


def setpoint_view(look: Moment, mat: MatPlan) -> SetpointView:
    """Return the wanted temperature and where it comes from."""
    known = look.snapshot.state.mats[mat.name]
    step = mat.programme[known.step]
    heading_mc = target(mat, known.step, known.override, look.snapshot.scan)
    present_mc = heading_mc
    if known.ramp is not None:
        present_mc = on_ramp(known.ramp, mat.ramp_mk_per_h, look.now_ms)
    by_programme = heading_mc == step.setpoint_mc or step.night_mc is None
    return SetpointView(
        setpoint_c=celsius(present_mc),
        heading_for_c=celsius(heading_mc),
        text=_setpoint_text(look, known, present_mc, heading_mc),
        set_by="person" if known.override else "programme" if by_programme else "night",
        programme_c=celsius(step.setpoint_mc),
        night_c=None if step.night_mc is None else celsius(step.night_mc),
        override=None if known.override is None else _override(look, known.override),
    )


def _setpoint_text(
    look: Moment, known: MatState, present_mc: int, heading_mc: int
) -> str:
    unit = look.snapshot.display_unit
    text = temp_text(present_mc, unit)
    if present_mc != heading_mc:
        text += f", on its way to {temp_text(heading_mc, unit)}"
    override = known.override
    if override is None:
        return text
    text += f", set by {override.who}"
    if override.until_ms is None:
        return text
    return f"{text} until {clock_text(look, override.until_ms)}"


def _override(look: Moment, override: Override) -> OverrideView:
    return OverrideView(
        setpoint_c=celsius(override.setpoint_mc),
        who=override.who,
        at=utc_text(override.at_utc_ms),
        until=at_text(look, override.until_ms),
    )


def _step_view(look: Moment, mat: MatPlan, known: MatState) -> StepView:
    step = mat.programme[known.step]
    ends_how = _ends_how(mat, known.step)
    ends_ms = None
    if ends_how == "after its days":
        ends_ms = known.step_since_ms + round((step.days or 0) * DAY_MS)
    return StepView(
        number=known.step + 1,
        of=len(mat.programme),
        title=step.title,
        days=step.days,
        since=utc_text(wall_ms(look, known.step_since_ms)),
        ends=at_text(look, ends_ms),
        ends_how=ends_how,
    )


def _ends_how(mat: MatPlan, step: int) -> EndsHow:
    if step + 1 == len(mat.programme):
        return "last step"
    return "by hand" if mat.programme[step].days is None else "after its days"


def _limits_view(look: Moment, mat: MatPlan, known: MatState) -> LimitsView:
    return LimitsView(
        warn_c=celsius(mat.warn_mc),
        tray_limit_c=celsius(tray_limit_mc(mat, known, look.now_ms)),
        cutout_c=celsius(mat.cutout_mc),
        surface_limit_c=celsius(mat.surface_limit_mc),
        surface_cutout_c=celsius(mat.surface_cutout_mc),
    )


def _trip_sentence(trip: Trip, temp: str, limit: str) -> str:
    if trip.cause is Cause.HEAT_NOT_FELT:
        return f"Probe {trip.probe} read {temp}; after the heat given, {limit} was due."
    return f"Probe {trip.probe} read {temp}; the cut-out is {limit}."


def _trip_view(look: Moment, known: MatState) -> TripView | None:
    trip = known.trip
    if trip is None:
        return None
    unit = look.snapshot.display_unit
    temp, limit = temp_text(trip.temp_mc, unit, 2), temp_text(trip.limit_mc, unit, 2)
    return TripView(
        cause=trip.cause.value,
        probe=trip.probe,
        temp_c=celsius(trip.temp_mc),
        limit_c=celsius(trip.limit_mc),
        at=utc_text(trip.utc_ms),
        sentence=_trip_sentence(trip, temp, limit),
    )
