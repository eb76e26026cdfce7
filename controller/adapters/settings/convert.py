"""Tables become a plan, as far as they go.

What refers to nothing is put aside, off the mats, so that its own rules are
still checked. What may live here: how tables are put together. What they may
say of each other is in belongings, and the rules of a plan are the core's.
"""

from collections.abc import Iterable, Sequence

from controller.adapters.settings.document import Tables
from controller.adapters.settings.quantities import Said
from controller.adapters.settings.tables import (
    MatTable,
    PidTable,
    ProbeTable,
    RelayTable,
    StepTable,
    TrayTable,
)
from controller.core.mat_rules import LOWEST_SETPOINT_MC, RESERVED
from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnLogFailure,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    Quantity,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.plan_rules import STALE_PER_EVERY
from controller.core.units import (
    DAY_MS,
    MINUTE_MS,
    SECOND_MS,
    MilliC,
    MilliK,
    Millis,
)

PID_RAMP_MK_PER_H = 3_000
"""Chosen: about half of what a wet tray gains in an hour at full heat, so that
the integral has little to run up on the way [mK/h]."""

PID_MIN_MS = MINUTE_MS
"""Chosen: a tenth of the usual cycle of 10 min [ms]."""

ON_OFF_MIN_MS = 2 * MINUTE_MS
"""Chosen: soil on a mat moves in minutes, and a relay lives longer [ms]."""

SHORTEST_STALE_MS = 2 * MINUTE_MS
"""Chosen: a quick probe may pause while a broker restarts [ms]."""

Placed = tuple[ProbeTable, ProbePlan]


def plan_of(tables: Tables) -> Plan:
    """Return the plan of all tables; it may break the rules of a plan."""
    probes = [(table, _probe(table, tables)) for table in tables.probes]
    thermometers = [pair for pair in probes if pair[0].quantity == "temperature"]
    trays = _trays(tables.trays, thermometers)
    mats = {mat.name for mat in tables.mats}
    known = {tray.name for tray in tables.trays}
    return Plan(
        bench=tables.bench.name,
        scan_ms=Millis(tables.bench.scan.milli),
        mats=tuple(_mat(mat, trays, thermometers) for mat in tables.mats),
        trays=tuple(plan for table, plan in trays if table.mat not in mats),
        room=tuple(
            plan
            for table, plan in thermometers
            if table.tray not in known and table.mat not in mats
        ),
        witnesses=tuple(
            plan for table, plan in probes if plan.quantity.value != "temperature"
        ),
        on_log_failure=OnLogFailure(tables.log.on_failure),
    )


def mat_of(probe: ProbeTable, tables: Tables) -> MatTable | None:
    """Return the mat that a probe guards, by its tray or its surface."""
    homes = {tray.name: tray.mat for tray in tables.trays}
    name = homes.get(probe.tray) if probe.tray else probe.mat
    return next((mat for mat in tables.mats if mat.name == name), None)


def stale_after_ms(probe: ProbeTable, tables: Tables) -> int:
    """Return after which silence a probe is lost: its mat's word, or usual."""
    mat = mat_of(probe, tables)
    if mat is not None and mat.stale_after is not None:
        return mat.stale_after.milli
    times, per = STALE_PER_EVERY
    return max(SHORTEST_STALE_MS, -(-probe.every.milli * times // per))


def relay_kind(relay: RelayTable) -> RelayKind:
    """Return how a relay is reached."""
    if relay.pin is not None:
        return RelayKind.PIN
    return RelayKind.LEASE if relay.lease else RelayKind.PLAIN


def _probe(table: ProbeTable, tables: Tables) -> ProbePlan:
    return ProbePlan(
        name=table.name,
        quantity=Quantity(table.quantity),
        depth_mm=table.depth.milli if table.depth else None,
        offset_mk=MilliK(table.offset.milli),
        every_ms=Millis(table.every.milli),
        stale_after_ms=Millis(stale_after_ms(table, tables)),
        stuck_after_ms=Millis(table.stuck_after.milli),
        one_wire=table.sentinels,
    )


def _trays(
    tables: Sequence[TrayTable], probes: Iterable[Placed]
) -> list[tuple[TrayTable, TrayPlan]]:
    inside: dict[str, tuple[ProbePlan, ...]] = {}
    for probe, plan in probes:
        if probe.tray is not None:
            inside[probe.tray] = (*inside.get(probe.tray, ()), plan)
    taken = {(table.mat, table.place) for table in tables if table.place}
    pairs = []
    for table in tables:
        place = table.place or _free_place(table.mat, taken)
        taken.add((table.mat, place))
        pairs.append((table, _tray(table, place, inside.get(table.name, ()))))
    return pairs


def _free_place(
    mat: str | None, taken: set[tuple[str | None, tuple[int, int]]]
) -> tuple[int, int]:
    column = 1
    while (mat, (1, column)) in taken:
        column += 1
    return 1, column


def _tray(
    table: TrayTable, place: tuple[int, int], probes: tuple[ProbePlan, ...]
) -> TrayPlan:
    return TrayPlan(
        name=table.name,
        title=table.title,
        medium=table.medium,
        depth_mm=table.depth.milli,
        row=place[0],
        column=place[1],
        base_mc=MilliC(table.base.milli),
        upper_mc=_celsius(table.upper),
        probes=probes,
    )


def _mat(
    table: MatTable,
    trays: Iterable[tuple[TrayTable, TrayPlan]],
    probes: Iterable[Placed],
) -> MatPlan:
    named = table.driven_by in RESERVED
    usual_ms = PID_MIN_MS if table.policy == "pid" else ON_OFF_MIN_MS
    return MatPlan(
        name=table.name,
        title=table.title,
        power_mw=table.power.milli,
        length_mm=table.area.length_mm,
        width_mm=table.area.width_mm,
        policy=_policy(table),
        programme=_programme(table),
        night=Night(*table.night),
        driven_by=DrivenBy(table.driven_by) if named else DrivenBy.TRAY,
        driving_tray=None if named else table.driven_by,
        relay=relay_kind(table.relay) if table.relay else None,
        reports=table.relay is not None and table.relay.reports_on is not None,
        min_on_ms=Millis(table.min_on.milli if table.min_on else usual_ms),
        min_off_ms=Millis(table.min_off.milli if table.min_off else usual_ms),
        ramp_mk_per_h=_ramp(table),
        warn_mc=MilliC(table.warn.milli),
        tray_limit_mk=MilliK(table.tray_limit.milli),
        cutout_mc=MilliC(table.cutout.milli),
        surface_limit_mc=MilliC(table.surface_limit.milli),
        surface_cutout_mc=MilliC(table.surface_cutout.milli),
        settle_ms=Millis(table.settle.milli),
        heat_allowance_mk=MilliK(table.heat_allowance.milli),
        rise_limit_mk=MilliK(table.rise_limit.milli),
        stray_heat_mk=MilliK(table.stray_heat.milli),
        disagreement_mk=MilliK(table.disagreement.milli),
        longest_on_ms=Millis(table.longest_on.milli),
        daily_on_ms=Millis(table.daily_on.milli),
        trays=tuple(plan for tray, plan in trays if tray.mat == table.name),
        surface=tuple(
            plan
            for probe, plan in probes
            if probe.mat == table.name and probe.tray is None
        ),
    )


def _policy(table: MatTable) -> OnOff | Pid:
    if table.policy == "on-off":
        usual = OnOff()
        said = table.differential
        return OnOff(MilliK(said.milli)) if said else usual
    pid, usual_pid = table.pid or PidTable(), Pid()
    gain, cycle = pid.gain_per_k, table.cycle
    return Pid(
        gain_per_k=usual_pid.gain_per_k if gain is None else gain,
        integral_s=_seconds(pid.integral_time, usual_pid.integral_s),
        derivative_s=_seconds(pid.derivative_time, usual_pid.derivative_s),
        cycle_ms=Millis(cycle.milli) if cycle else usual_pid.cycle_ms,
    )


def _seconds(said: Said | None, usual_s: float) -> float:
    return said.milli / SECOND_MS if said else usual_s


def _ramp(table: MatTable) -> int | None:
    if table.ramp is None:
        return PID_RAMP_MK_PER_H if table.policy == "pid" else None
    return table.ramp.milli or None


def _programme(table: MatTable) -> tuple[StepPlan, ...]:
    if table.step:
        return tuple(_step(step) for step in table.step)
    # A mat without a setpoint is told of in belongings; this one breaks no rule.
    setpoint_mc = _celsius(table.setpoint) or MilliC(LOWEST_SETPOINT_MC)
    return (StepPlan(setpoint_mc, _celsius(table.night_setpoint)),)


def _step(step: StepTable) -> StepPlan:
    return StepPlan(
        setpoint_mc=MilliC(step.setpoint.milli),
        night_mc=_celsius(step.night_setpoint),
        days=step.until.milli / DAY_MS if step.until else None,
        title=step.title,
    )


def _celsius(said: Said | None) -> MilliC | None:
    return MilliC(said.milli) if said else None
