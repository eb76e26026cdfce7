"""A plan in words: what will be kept, how, and what happens when."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    OnLogFailure,
    Pid,
    RelayKind,
    TrayPlan,
)
from controller.core.plan_rules import RESET_BELOW_MK
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS

if TYPE_CHECKING:
    from controller.adapters.settings import Settings


def bench_in_words(settings: "Settings") -> Iterator[str]:
    """Yield the whole bench, mat by mat."""
    yield from _bench(settings)
    for mat in settings.plan.mats:
        yield ""
        yield f"Mat {mat.name}{_title(mat.title)}"
        yield from (f"  {line}" for line in mat_in_words(settings, mat))
    yield from _off_mats(settings)


def _bench(settings: "Settings") -> Iterator[str]:
    plan, broker = settings.plan, settings.wiring.broker
    at = "embedded in it" if broker.embedded else f"at {broker.host}:{broker.port}"
    yield f"Bench {plan.bench}, looked at every {_time(plan.scan_ms)}; broker {at}"
    yield f"  Local time: {settings.timezone}. Season log: {settings.log.path}"
    if settings.crops is not None:
        yield f"  Crops: those that come with it, and those of {settings.crops}"
    if plan.on_log_failure is OnLogFailure.HEAT_OFF:
        yield "  If the season log cannot be written: heat off, with an alarm."
    else:
        yield "  If the season log cannot be written: heating goes on, with an alarm."


def mat_in_words(settings: "Settings", mat: MatPlan) -> Iterator[str]:
    """Yield what will happen on a mat, a sentence a line."""
    power = settings.written[f"mat {mat.name}: power"]
    yield f"{power} on {settings.written[f'mat {mat.name}: area']}"
    yield from _programme(settings, mat)
    yield _relay(settings, mat)
    yield from (_tray(settings, tray) for tray in mat.trays)
    for probe in mat.surface:
        yield f"Probe {probe.name} on its surface"
    yield from _limits(settings, mat)


def _programme(settings: "Settings", mat: MatPlan) -> Iterator[str]:
    driver = {
        DrivenBy.TRAY: f"tray {mat.driving_tray}",
        DrivenBy.MEDIAN: "the middle one of its trays",
        DrivenBy.MEAN: "the mean of its trays",
        DrivenBy.COOLEST: "its coolest tray",
        DrivenBy.WARMEST: "its warmest tray",
    }[mat.driven_by]
    yield f"Keeps {driver} at {'; then at '.join(_steps(settings, mat))}"
    if isinstance(mat.policy, Pid):
        yield f"by one dose of heat in every {_time(mat.policy.cycle_ms)} (PID)"
    else:
        where = f"mat {mat.name}: differential"
        apart = _k(settings, where, mat.policy.differential_mk)
        yield f"by switching on and off, {apart} apart"
    yield f"on for at least {_time(mat.min_on_ms)}, off for {_time(mat.min_off_ms)}"
    if mat.ramp_mk_per_h is not None:
        ramp = settings.written.get(f"mat {mat.name}: ramp", "")
        yield f"nearing a new setpoint at {ramp or f'{mat.ramp_mk_per_h / 1000:g} K/h'}"


def _steps(settings: "Settings", mat: MatPlan) -> Iterator[str]:
    at, several = f"mat {mat.name}", len(mat.programme) > 1
    for number, step in enumerate(mat.programme, start=1):
        inside = f"{at}: step {number}" if several else at
        text = _c(settings, f"{inside}: setpoint", step.setpoint_mc)
        if step.night_mc is not None:
            night = _c(settings, f"{inside}: night_setpoint", step.night_mc)
            text += f" (by night, {_night(mat)}, {night})"
        if several and number < len(mat.programme):
            by_hand = "until a person goes on"
            text += f" {by_hand if step.days is None else f'for {step.days:g} days'}"
        yield text


def _night(mat: MatPlan) -> str:
    ends = (mat.night.from_minute, mat.night.to_minute)
    return " to ".join(f"{minute // 60:02}:{minute % 60:02}" for minute in ends)


def _relay(settings: "Settings", mat: MatPlan) -> str:
    wires = {wire.mat: wire for wire in settings.wiring.relays}
    match mat.relay:
        case None:
            return "Watched only: it has no relay, and is never commanded"
        case RelayKind.PIN:
            low = ", on while it is low" if wires[mat.name].active_low else ""
            return f"Relay on pin {wires[mat.name].pin} of this board{low}"
        case RelayKind.PLAIN:
            return f"Plain relay on {wires[mat.name].topic}"
        case RelayKind.LEASE:
            last = _time(settings.plan.valid_for_ms)
            topic = wires[mat.name].topic
            return f"Relay on {topic}: drops out {last} after the last command to heat"


def _tray(settings: "Settings", tray: TrayPlan) -> str:
    probes = " and ".join(probe.name for probe in tray.probes)
    base = _c(settings, f"tray {tray.name}: base", tray.base_mc)
    upper = ""
    if tray.upper_mc is not None:
        upper = f" to {_c(settings, f'tray {tray.name}: upper', tray.upper_mc)}"
    medium = f" in {tray.medium}" if tray.medium else ""
    seen = f"probe {probes}" if probes else "no probe"
    counted = f"degree-hours from {base}{upper}"
    return f"Tray {tray.name}{_title(tray.title)}{medium}: {seen}, {counted}"


def _limits(settings: "Settings", mat: MatPlan) -> Iterator[str]:
    at = f"mat {mat.name}"
    warn = _c(settings, f"{at}: warn", mat.warn_mc)
    yield f"At {warn} in any root zone: a warning"
    if mat.relay is None:
        return
    limit = _k(settings, f"{at}: tray_limit", mat.tray_limit_mk)
    yield f"{limit} above the setpoint in any root zone: heat waits until it is cooler"
    cutout = _c(settings, f"{at}: cutout", mat.cutout_mc)
    yield f"At {cutout} in any root zone: off at once, and at the second such reading,"
    yield "  or if the probe then falls silent, locked off until you reset it,"
    reset = _c(settings, "", mat.cutout_mc - RESET_BELOW_MK)
    yield f"  which needs less than {reset}"
    if mat.surface:
        limit = _c(settings, f"{at}: surface_limit", mat.surface_limit_mc)
        cutout = _c(settings, f"{at}: surface_cutout", mat.surface_cutout_mc)
        yield f"At {limit} on its surface: heat waits; at {cutout}: locked off likewise"
    heat = _k(settings, f"{at}: heat_allowance", mat.heat_allowance_mk)
    yield (
        f"Heat that would warm the trays by {heat} beyond the usual, and no probe that "
        "feels it: locked off"
    )
    if sum(bool(tray.probes) for tray in mat.trays) == 1:
        yield "  (by one probe alone: if that reads a little wrong, nothing can tell)"
    if not settings.plan.room:
        yield "  (with a probe in the room a cold night is told from a fault sooner)"
    rise = _k(settings, f"{at}: rise_limit", mat.rise_limit_mk)
    yield f"A tray that warms by {rise} in 10 min, past its setpoint: heat waits"
    longest, daily = _time(mat.longest_on_ms), _time(mat.daily_on_ms)
    yield f"On for {longest} without a pause, or {daily} in a day: heat waits"
    settle = _time(mat.settle_ms)
    yield f"Over a limit when unheated for {settle}: sun or lamp; an alarm, no lock"
    for stale_ms, names in _silences(mat).items():
        yield f"Silent for {_time(stale_ms)}, it counts as lost: probe {names}"
    yield "Heat is off while no driving probe is heard, or the warmest one is lost"
    yield "  and no surface probe is heard in its place"


def _silences(mat: MatPlan) -> dict[int, str]:
    names: dict[int, list[str]] = {}
    for probe in (*(p for tray in mat.trays for p in tray.probes), *mat.surface):
        names.setdefault(probe.stale_after_ms, []).append(probe.name)
    return {stale_ms: ", ".join(probes) for stale_ms, probes in names.items()}


def _off_mats(settings: "Settings") -> Iterator[str]:
    plan = settings.plan
    lines = [_tray(settings, tray) for tray in plan.trays]
    lines += [f"Probe {probe.name} in the room" for probe in plan.room]
    lines += [
        f"Probe {probe.name} measures {probe.quantity.value}: logged only"
        for probe in plan.witnesses
    ]
    if lines:
        yield ""
        yield "On no mat"
        yield from (f"  {line}" for line in lines)


def _title(title: str) -> str:
    return f' "{title}"' if title else ""


def _c(settings: "Settings", where: str, temp_mc: int) -> str:
    """Return a temperature [m°C] as it was written, else in the bench's unit."""
    if settings.display_unit == "°F":
        usual = f"{temp_mc * 9 / 5000 + 32:.4g} °F"
    else:
        usual = f"{temp_mc / 1000:.4g} °C"
    return settings.written.get(where, usual)


def _k(settings: "Settings", where: str, difference_mk: int) -> str:
    """Return a difference [mK] as it was written, else in the bench's unit."""
    if settings.display_unit == "°F":
        usual = f"{difference_mk * 9 / 5000:.3g} °F"
    else:
        usual = f"{difference_mk / 1000:.4g} K"
    return settings.written.get(where, usual)


def _time(span_ms: int) -> str:
    units = ((HOUR_MS, "h"), (MINUTE_MS, "min"), (SECOND_MS, "s"))
    for unit_ms, unit in units:
        if span_ms and span_ms % unit_ms == 0:
            return f"{span_ms // unit_ms} {unit}"
    return f"{span_ms / SECOND_MS:g} s"
