"""What the core remembers from scan to scan, and the mode table as data.

Every value here is immutable; a scan makes a new State. What may live here:
the shape of the memory, how it starts and how it goes on in a new run, and the
one table of a mat's modes. No judgement of temperatures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum

from controller.core.decisions import AlarmKind, Cause, Doubted, Numbers
from controller.core.guard_state import UNWATCHED, GuardState
from controller.core.plan import MatPlan, Plan, all_probes, all_trays
from controller.core.scan import Quality
from controller.core.units import MilliC, Millis, UtcMillis


class Mode(Enum):
    """What a mat is doing, in the largest strokes."""

    STARTING = "starting"
    """Off until good readings arrive."""
    REGULATING = "regulating"
    """The only mode in which a mat may be energised."""
    INHIBITED = "inhibited"
    """Held off while a condition lasts."""
    HELD = "held"
    """A person's hands are on the bench."""
    OFF = "off"
    """A person switched it off."""
    TRIPPED = "tripped"
    """Locked off until a person resets it."""


class Condition(Enum):
    """The strongest thing that is true of a mat in a scan; strongest first."""

    TRIP = "trip"
    DISABLED = "disabled"
    HOLD = "hold"
    UNREADY = "unready"
    """Not all the good readings (or the log) that a start needs are there."""
    INHIBIT = "inhibit"
    CLEAR = "clear"
    RESET = "reset"
    """A person's reset was accepted in this scan."""


_ANY: Mapping[Condition, Mode] = {
    Condition.TRIP: Mode.TRIPPED,
    Condition.DISABLED: Mode.OFF,
    Condition.HOLD: Mode.HELD,
    Condition.UNREADY: Mode.STARTING,
    Condition.INHIBIT: Mode.INHIBITED,
    Condition.CLEAR: Mode.REGULATING,
    Condition.RESET: Mode.STARTING,
}

MODE_TABLE: Mapping[Mode, Mapping[Condition, Mode]] = {
    Mode.STARTING: _ANY,
    Mode.REGULATING: {**_ANY, Condition.UNREADY: Mode.INHIBITED},
    Mode.INHIBITED: {**_ANY, Condition.UNREADY: Mode.INHIBITED},
    # After hands were on the bench, or a person had switched the mat off, heat
    # comes back only on readings taken since: through STARTING.
    Mode.HELD: {
        **_ANY,
        Condition.INHIBIT: Mode.STARTING,
        Condition.CLEAR: Mode.STARTING,
    },
    Mode.OFF: {
        **_ANY,
        Condition.INHIBIT: Mode.STARTING,
        Condition.CLEAR: Mode.STARTING,
    },
    Mode.TRIPPED: {
        condition: Mode.STARTING if condition is Condition.RESET else Mode.TRIPPED
        for condition in Condition
    },
}
"""Mode and condition give the next mode. Nothing else changes a mode."""


@dataclass(frozen=True, slots=True)
class ProbeState:
    """What is known of one probe.

    Attributes:
        good_at_ms: Time of its last good reading; None before the first.
        good_mc: Value of that reading, with the offset [m°C].
        doubt: Why its newest reading was not taken; None if it was.
        doubt_at_ms: Time of the newest reading not taken.
        doubt_mc: Its value [m°C]; None if it has none.
        doubt_quality: Uncertain or bad; good where there is no doubt.
        doubt_hottest_mc: The hottest reading not taken since the last good one
            [m°C]; None if there was none. Only a good reading clears it.
        over_cutout: Good readings in a row at or above the cut-out.
        same_since_ms: Since when it says the very same value; None before the
            first good reading.
    """

    good_at_ms: Millis | None = None
    good_mc: MilliC = MilliC(0)
    doubt: Doubted | None = None
    doubt_at_ms: Millis | None = None
    doubt_mc: MilliC | None = None
    doubt_quality: Quality = Quality.GOOD
    doubt_hottest_mc: MilliC | None = None
    over_cutout: int = 0
    same_since_ms: Millis | None = None


@dataclass(frozen=True, slots=True)
class ThermalAccount:
    """Thermal time of one tray, in whole thousandths of a kelvin times ms.

    Attributes:
        base_mc: Base temperature [m°C].
        upper_mc: Horizontal upper cut-off [m°C]; None: none.
        last_ms: Time of the newest usable sample; None before the first.
        last_mc: Its value [m°C].
        heat_mk_ms: Thermal time above base, below upper [mK·ms].
        warmth_mk_ms: Integral of the temperature itself [m°C·ms].
        measured_ms: Time covered by the straight lines [ms].
        gap_ms: Time of intervals too long to be bridged [ms].
        gaps: How many such intervals.
    """

    base_mc: MilliC
    upper_mc: MilliC | None = None
    last_ms: Millis | None = None
    last_mc: MilliC = MilliC(0)
    heat_mk_ms: int = 0
    warmth_mk_ms: int = 0
    measured_ms: int = 0
    gap_ms: int = 0
    gaps: int = 0


@dataclass(frozen=True, slots=True)
class Trip:
    """Why a mat is locked off.

    Attributes:
        cause: Over a root-zone or a surface cut-out, or heat that is not felt.
        probe: Which probe said so.
        temp_mc: What it said [m°C].
        limit_mc: The cut-out, or what should have been reached [m°C].
        at_ms: When; run clock [ms].
        utc_ms: When, in the wall clock's opinion.
    """

    cause: Cause
    probe: str
    temp_mc: MilliC
    limit_mc: MilliC
    at_ms: Millis
    utc_ms: UtcMillis


@dataclass(frozen=True, slots=True)
class Override:
    """A setpoint that a person set over the one of the programme.

    Attributes:
        setpoint_mc: The temperature [m°C].
        who: Who set it.
        at_utc_ms: When, in the wall clock's opinion.
        until_ms: Run clock at which it ends [ms]; None: stays.
        planned_mc: The plan's setpoint that it replaces, of the present step;
            when the plan's value changes, the override is dropped.
    """

    setpoint_mc: MilliC
    who: str
    at_utc_ms: UtcMillis
    until_ms: Millis | None
    planned_mc: MilliC


@dataclass(frozen=True, slots=True)
class Ramp:
    """A setpoint on its way: from a value at a time to a target."""

    from_mc: MilliC
    at_ms: Millis
    to_mc: MilliC


@dataclass(frozen=True, slots=True)
class PidState:
    """What the PID remembers.

    Attributes:
        at_ms: When it last computed.
        integral: Its integral part, as a share of full power.
        gain_per_k: The gain it was computed with.
        error_k: The last error, setpoint minus temperature [K].
        setpoint_mc: The last setpoint [m°C].
        driver: Which trays drove it.
        filtered_mc: The filtered temperature for the derivative [m°C].
        duty: The last output, 0 to 1.
    """

    at_ms: Millis
    integral: float
    gain_per_k: float
    error_k: float
    setpoint_mc: MilliC
    driver: str
    filtered_mc: float
    duty: float


@dataclass(frozen=True, slots=True)
class Cycle:
    """One time-proportioning cycle.

    Attributes:
        start_ms: When it began.
        on_ms: How long the mat is on in it, from its start.
        carry_ms: Time owed to (or, negative, by) the next cycle.
    """

    start_ms: Millis
    on_ms: int
    carry_ms: int


@dataclass(frozen=True, slots=True)
class RelayState:
    """What is believed of a mat's relay. Changes only when the belief does.

    Attributes:
        energised: Believed on.
        since_ms: Since when; run clock [ms].
        on_seq: The scan that switched it on (0: never in this run).
        heated_ms: When it was last on, or said so, if it is off now; None: not
            in memory.
        on_ms: Time on up to since_ms, all runs [ms].
        operations: Times switched on, all runs.
        mean_duty: Share of time on, averaged over some hours up to since_ms.
        disagrees_ms: Since when its report contradicts; None: it does not.
        said: What it last said of itself; None: nothing in this run.
    """

    energised: bool
    since_ms: Millis
    on_seq: int = 0
    heated_ms: Millis | None = None
    on_ms: int = 0
    operations: int = 0
    mean_duty: float = 0.0
    disagrees_ms: Millis | None = None
    said: bool | None = None


@dataclass(frozen=True, slots=True)
class PowerState:
    """What a mat's wattmeter last said.

    Attributes:
        at_ms: When; run clock [ms].
        draws: Whether it drew power worth the name.
        strange_ms: Since when that contradicts the relay; None: it does not.
    """

    at_ms: Millis
    draws: bool
    strange_ms: Millis | None = None


@dataclass(frozen=True, slots=True)
class MatState:
    """What is known of one mat.

    Attributes:
        mode: The mode.
        mode_since_ms: Since when.
        relay: What is believed of its relay.
        step: Index of the present step of the programme.
        step_since_ms: Since when.
        ramp: The setpoint's ramp; None before the first scan.
        limit_ramp: The same for the reference of the tray limit, which
            follows the setpoint up at once and down slowly.
        trip: Why it is locked off; None if it is not.
        enabled: A person's switch.
        hold_until_ms: End of a hold; None: no hold.
        override: A person's setpoint.
        demand: What on-off regulation last asked for.
        pid: What the PID remembers.
        cycle: The present time-proportioning cycle.
        warmest: The probe that was last the warmest root-zone probe.
        guard: What the response guards remember.
        power: What its wattmeter last said; None: nothing in this run.
    """

    mode: Mode
    mode_since_ms: Millis
    relay: RelayState
    step: int = 0
    step_since_ms: Millis = Millis(0)
    ramp: Ramp | None = None
    limit_ramp: Ramp | None = None
    trip: Trip | None = None
    enabled: bool = True
    hold_until_ms: Millis | None = None
    override: Override | None = None
    demand: bool = False
    pid: PidState | None = None
    cycle: Cycle | None = None
    warmest: str | None = None
    guard: GuardState = UNWATCHED
    power: PowerState | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm that a person should know of, in the states of ISA-18.2.

    It is forgotten once it is over and was acknowledged.

    Attributes:
        kind: What it is about.
        subject: Name of the probe or mat; empty for the bench.
        since_ms: When it was last raised; run clock [ms].
        since_utc_ms: The same, in the wall clock's opinion.
        numbers: The numbers that decided.
        active: Its condition holds; False: it is over.
        acknowledged: A person has seen it since it was last raised.
        shelved_until_ms: Silenced until then; None: it is not.
        suppressed: Another alarm explains it: it does not ring.
        over_ms: Since when its condition is gone, while it waits to be
            cleared; None: the condition holds, or it is cleared.
    """

    kind: AlarmKind
    subject: str
    since_ms: Millis
    since_utc_ms: UtcMillis
    numbers: Numbers = ()
    active: bool = True
    acknowledged: bool = False
    shelved_until_ms: Millis | None = None
    suppressed: bool = False
    over_ms: Millis | None = None

    @property
    def rings(self) -> bool:
        """Whether it asks for a person now: active and not silenced in any way."""
        silenced = self.acknowledged or self.suppressed
        return self.active and not silenced and self.shelved_until_ms is None


@dataclass(frozen=True, slots=True)
class State:
    """All that the core remembers.

    Attributes:
        run_ms: Run clock of the last scan [ms].
        started_ms: Run clock at the start of the run [ms].
        log_ready: The season log was seen writable in this run, or a person
            let the bench start without it.
        link_down_ms: The last scan that reached the broker, if it cannot be
            reached now; None: it can.
        probes: By name.
        accounts: Thermal time of each tray, by name.
        mats: By name.
        alarms: Alarms to be known of, in the order in which they came.
        log_set_aside: A season log that could not be used was set aside, and
            nobody has acknowledged that.
    """

    run_ms: Millis
    started_ms: Millis
    log_ready: bool
    link_down_ms: Millis | None
    probes: Mapping[str, ProbeState]
    accounts: Mapping[str, ThermalAccount]
    mats: Mapping[str, MatState]
    alarms: tuple[Alarm, ...] = ()
    log_set_aside: bool = False


def fresh_state(plan: Plan, run_ms: Millis = Millis(0)) -> State:
    """Return the state of a bench of which nothing is remembered."""
    return State(
        run_ms=run_ms,
        started_ms=run_ms,
        log_ready=False,
        link_down_ms=None,
        probes={probe.name: ProbeState() for probe in all_probes(plan)},
        accounts={
            tray.name: ThermalAccount(tray.base_mc, tray.upper_mc)
            for tray in all_trays(plan)
        },
        mats={mat.name: _fresh_mat(run_ms) for mat in plan.mats},
    )


def _fresh_mat(run_ms: Millis) -> MatState:
    relay = RelayState(energised=False, since_ms=run_ms)
    return MatState(Mode.STARTING, run_ms, relay, step_since_ms=run_ms)


def resumed_state(
    plan: Plan, before: State, run_ms: Millis, *, outage_known: bool
) -> State:
    """Return the state in which a new run goes on from an earlier one.

    Trips, degree-hours, overrides, steps, holds and counters stay; probes must
    speak again, and every mat starts off. What the plan no longer has is
    dropped.

    Args:
        plan: The new run's plan.
        before: The last state of the earlier run.
        run_ms: Run clock at the start of the new run, not before the last
            scan of the earlier one [ms].
        outage_known: Whether run_ms includes the time in between. If not, the
            gap has no length that could be counted.
    """
    fresh = fresh_state(plan, run_ms)
    accounts = dict(fresh.accounts)
    for name, account in fresh.accounts.items():
        old = before.accounts.get(name)
        if old and (old.base_mc, old.upper_mc) == (account.base_mc, account.upper_mc):
            accounts[name] = old if outage_known else replace(old, last_ms=None)
    mats = dict(fresh.mats)
    for mat in plan.mats:
        known = before.mats.get(mat.name)
        if known:
            relay = _resumed_relay(known.relay, before.run_ms, run_ms)
            mats[mat.name] = _resumed_mat(mat, replace(known, relay=relay), run_ms)
    aside = before.log_set_aside
    return replace(fresh, accounts=accounts, mats=mats, log_set_aside=aside)


def with_trips(state: State, trips: Mapping[str, Trip]) -> State:
    """Return a first state united with trips kept outside the season log.

    A mat that the log knows as tripped keeps the log's trip; mats that the
    state does not have are passed over.
    """
    mats = dict(state.mats)
    for name, trip in trips.items():
        mat = mats.get(name)
        if mat is not None and mat.trip is None:
            mats[name] = replace(mat, mode=Mode.TRIPPED, trip=trip)
    return replace(state, mats=mats)


def _resumed_mat(plan: MatPlan, before: MatState, run_ms: Millis) -> MatState:
    step = min(before.step, len(plan.programme) - 1)
    planned = plan.programme[step].setpoint_mc
    override = before.override
    if override and override.planned_mc != planned:
        override = None
    return replace(
        before,
        mode=Mode.TRIPPED if before.trip else Mode.STARTING,
        mode_since_ms=run_ms,
        step=step,
        step_since_ms=before.step_since_ms if step == before.step else run_ms,
        override=override,
        demand=False,
        cycle=None,
        power=None,
    )


def _resumed_relay(before: RelayState, last_ms: Millis, run_ms: Millis) -> RelayState:
    """Return a relay that starts off.

    One that was on, or said so, may have heated until now: nobody watched. Its
    time on is counted as far as it was seen.
    """
    on_ms, heated_ms = before.on_ms, before.heated_ms
    if before.energised:
        on_ms += last_ms - before.since_ms
    if before.energised or before.disagrees_ms is not None:
        heated_ms = run_ms
    return replace(
        before,
        energised=False,
        since_ms=run_ms,
        on_seq=0,
        heated_ms=heated_ms,
        on_ms=on_ms,
        disagrees_ms=None,
        said=None,
    )
