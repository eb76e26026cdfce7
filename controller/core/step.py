"""The one function: plan, state and scan give the next state and decisions.

energised = demanded AND permitted. Live control, the simulated bench, the
audit and the what-if all call `step`; nothing else decides. What may live
here: the order of things, and the joining of demand and permission.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from controller.core import alarms
from controller.core.decisions import Cause, Command, Decisions, Numbers
from controller.core.intake import take_readings
from controller.core.modulate import cycle_demand, cycle_for, hold_back
from controller.core.plan import MatPlan, OnOff, Pid, Plan
from controller.core.protect import CLEAR, Facts, Verdict, over_limits, verdict
from controller.core.regulate import Driving, band, on_off, pid
from controller.core.relays import hear_relays, mean_duty, switched
from controller.core.requests import grant
from controller.core.response import due, looked
from controller.core.root_zone import (
    Observed,
    driving_temp,
    observe,
    room_temp_mc,
    warmest,
)
from controller.core.scan import LogHealth, Scan
from controller.core.setpoints import (
    heading_for,
    limit_reference,
    on_ramp,
    present_step,
    target,
)
from controller.core.state import MODE_TABLE, Condition, MatState, Mode, Override, State
from controller.core.units import MilliC, Millis
from controller.core.uptake import Look, frozen

DECISIONS_VERSION = 2
"""Raised by hand whenever the same scans would be decided otherwise."""


def step(plan: Plan, state: State, scan: Scan) -> tuple[State, Decisions]:
    """Decide one scan.

    Args:
        plan: The plan of the run.
        state: The state after the scan before, or the run's first.
        scan: Everything that arrived since, and the time.

    Returns:
        The state after it, and all that was decided.
    """
    now_ms = Millis(max(scan.run_ms, state.run_ms))
    state, doubts = take_readings(plan, state, scan, now_ms)
    state = hear_relays(plan, state, scan, now_ms)
    state = _take_health(state, scan)
    state, answers, dealt_with = grant(plan, state, scan, now_ms)
    outcomes = {mat.name: _decide(plan, mat, state, scan, now_ms) for mat in plan.mats}
    state = State(
        run_ms=now_ms,
        started_ms=state.started_ms,
        log_ready=state.log_ready,
        link_down_ms=state.link_down_ms,
        probes=state.probes,
        accounts=state.accounts,
        log_set_aside=state.log_set_aside,
        mats={name: outcome.state for name, outcome in outcomes.items()},
        alarms=state.alarms,
    )
    told = {
        name: alarms.Told(outcome.verdict, outcome.beside, outcome.observed)
        for name, outcome in outcomes.items()
    }
    known, changes = alarms.update(plan, state, alarms.Moment(scan, now_ms, told))
    changes = dealt_with + changes
    decisions = Decisions(
        commands=tuple(outcome.command for outcome in outcomes.values()),
        doubts=doubts,
        alarm_changes=changes,
        answers=answers,
        flush=bool(answers or changes) or _switches_on(scan, outcomes),
    )
    return (state if known is state.alarms else replace(state, alarms=known)), decisions


_SILENT = (Condition.DISABLED, Condition.HOLD, Condition.UNREADY)
"""Conditions that say nothing of how hot it is."""


class _Outcome(NamedTuple):
    state: MatState
    command: Command
    verdict: Verdict
    beside: Verdict | None
    observed: Observed


def _switches_on(scan: Scan, outcomes: Mapping[str, _Outcome]) -> bool:
    return any(
        outcome.command.energised and outcome.state.relay.on_seq == scan.seq
        for outcome in outcomes.values()
    )


def _take_health(state: State, scan: Scan) -> State:
    down_ms = state.link_down_ms
    if scan.link_up:
        down_ms = None
    elif down_ms is None:
        down_ms = state.run_ms  # the last scan whose commands could be sent
    ready = state.log_ready or scan.log_health is LogHealth.OK
    if down_ms == state.link_down_ms and ready == state.log_ready:
        return state
    return replace(state, link_down_ms=down_ms, log_ready=ready)


def _decide(
    plan: Plan, mat: MatPlan, state: State, scan: Scan, now_ms: Millis
) -> _Outcome:
    observed = observe(mat, state.probes, now_ms)
    known, setpoint_mc = _prepared(mat, observed, state.mats[mat.name], scan, now_ms)
    driven = driving_temp(mat, observed)
    root_mc = None if driven is None else driven[0]
    if due(known.guard, now_ms):
        look = Look(
            observed,
            root_mc,
            setpoint_mc,
            room_temp_mc(plan.room, state.probes, now_ms),
            quiet=not known.enabled or known.hold_until_ms is not None,
            tripped=known.trip is not None,
            frozen=frozen(observed, root_mc, now_ms),
        )
        known = replace(known, guard=looked(mat, known, look, now_ms))
    facts = Facts(plan, mat, known, observed, root_mc, state, scan, now_ms)
    found = verdict(facts)
    beside = over_limits(facts) if found.condition in _SILENT else None
    known = _in_mode(known, found, now_ms)
    if driven and found is CLEAR and known.mode is Mode.REGULATING:
        known, command = _regulated(mat, known, setpoint_mc, Driving(*driven), now_ms)
    else:
        known, command = _refused(mat, known, found)
    relay = switched(
        known.relay, energised=command.energised, at_ms=now_ms, seq=scan.seq
    )
    if relay is not known.relay:
        known = replace(known, relay=relay)
    return _Outcome(known, command, found, beside, observed)


def _prepared(
    mat: MatPlan, observed: Observed, known: MatState, scan: Scan, now_ms: Millis
) -> tuple[MatState, MilliC]:
    """Bring programme and warmest probe up to this scan; return the setpoint too."""
    step, step_since_ms = present_step(mat, known, now_ms)
    override = _override(mat, known, step, now_ms)
    hold_ms = known.hold_until_ms
    wanted_mc = target(mat, step, override, scan)
    ramp = heading_for(known.ramp, wanted_mc, mat.ramp_mk_per_h, now_ms)
    setpoint_mc = on_ramp(ramp, mat.ramp_mk_per_h, now_ms)
    known = _with(
        known,
        step=step,
        step_since_ms=step_since_ms,
        override=override,
        hold_until_ms=None if hold_ms is not None and hold_ms <= now_ms else hold_ms,
        warmest=warmest(known.warmest, observed),
        ramp=ramp,
        limit_ramp=limit_reference(known.limit_ramp, setpoint_mc, now_ms),
    )
    return known, setpoint_mc


def _override(
    mat: MatPlan, known: MatState, step: int, now_ms: Millis
) -> Override | None:
    override = known.override
    if override is None:
        return None
    if override.until_ms is not None and override.until_ms <= now_ms:
        return None
    planned_mc = mat.programme[step].setpoint_mc
    if override.planned_mc == planned_mc:
        return override
    return replace(override, planned_mc=planned_mc)  # it outlives its step


def _with(known: MatState, **changes: object) -> MatState:
    """Return the mat with changes; the same object where nothing changes."""
    for name, value in changes.items():
        if getattr(known, name) != value:
            return replace(known, **changes)  # type: ignore[arg-type]
    return known


def _in_mode(known: MatState, found: Verdict, now_ms: Millis) -> MatState:
    mode = MODE_TABLE[known.mode][found.condition]
    if mode is known.mode and found.trip is known.trip:
        return known
    since_ms = known.mode_since_ms if mode is known.mode else now_ms
    return replace(
        known, mode=mode, mode_since_ms=since_ms, trip=found.trip or known.trip
    )


def _refused(mat: MatPlan, known: MatState, found: Verdict) -> tuple[MatState, Command]:
    cause, numbers = found.cause or Cause.AWAITING_READINGS, found.numbers
    if mat.relay is None:
        cause, numbers = Cause.WATCH_ONLY, ()
    command = Command(mat.name, energised=False, cause=cause, numbers=numbers)
    return _with(known, demand=False, cycle=None), command


def _regulated(
    mat: MatPlan,
    known: MatState,
    setpoint_mc: MilliC,
    driving: Driving,
    now_ms: Millis,
) -> tuple[MatState, Command]:
    if isinstance(mat.policy, OnOff):
        known, cause, numbers = _by_on_off(mat.policy, known, setpoint_mc, driving)
    else:
        known, cause, numbers = _by_pid(
            mat, mat.policy, known, setpoint_mc, driving, now_ms
        )
    held = hold_back(mat, known.relay, known.demand, now_ms)
    if held is None:
        return known, Command(mat.name, known.demand, cause, numbers)
    lasting: Numbers = (("lasting_ms", now_ms - known.relay.since_ms),)
    return known, Command(mat.name, known.relay.energised, held, numbers + lasting)


def _by_on_off(
    policy: OnOff, known: MatState, setpoint_mc: MilliC, driving: Driving
) -> tuple[MatState, Cause, Numbers]:
    low_mc, high_mc = band(policy, setpoint_mc)
    root_mc = driving.root_mc
    demand = on_off(policy, setpoint_mc, root_mc, known.demand)
    cause = Cause.WITHIN_BAND
    if root_mc < low_mc:
        cause = Cause.BELOW_BAND
    elif root_mc > high_mc:
        cause = Cause.ABOVE_BAND
    numbers: Numbers = (
        ("root_mc", root_mc),
        ("setpoint_mc", setpoint_mc),
        ("low_mc", low_mc),
        ("high_mc", high_mc),
    )
    # A PID of a later plan shall begin with the duty of this time, not an old one's.
    return _with(known, demand=demand, pid=None), cause, numbers


def _by_pid(
    mat: MatPlan,
    policy: Pid,
    known: MatState,
    setpoint_mc: MilliC,
    driving: Driving,
    now_ms: Millis,
) -> tuple[MatState, Cause, Numbers]:
    memory = pid(
        policy,
        setpoint_mc,
        driving,
        known.pid,
        now_ms,
        ramped=mat.ramp_mk_per_h is not None,
        mean_duty=mean_duty(known.relay, now_ms),
    )
    cycle = cycle_for(mat, policy, known.cycle, memory.duty, now_ms)
    demand = cycle_demand(cycle, now_ms)
    numbers: Numbers = (
        ("root_mc", driving.root_mc),
        ("setpoint_mc", setpoint_mc),
        ("duty", memory.duty),
        ("integral", memory.integral),
        ("on_ms", cycle.on_ms),
        ("cycle_ms", policy.cycle_ms),
    )
    known = _with(known, demand=demand, pid=memory, cycle=cycle)
    return known, Cause.DUTY_ON if demand else Cause.DUTY_OFF, numbers
