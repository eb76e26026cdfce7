"""The plan: what the bench is and how it shall be kept.

A plan never changes within a run. It is checked where it is made: a plan that
exists is one that the core can follow (see plan_rules). What may live here:
the shape of the plan. No rules, no state, no decisions.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from controller.core.units import HOUR_MS, MINUTE_MS, MilliC, MilliK, Millis


class Quantity(Enum):
    """What a probe measures; only temperature controls."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    MOISTURE = "moisture"
    LIGHT = "light"


class DrivenBy(Enum):
    """How the driving temperature of a mat is taken from its trays."""

    TRAY = "tray"
    MEDIAN = "median"
    MEAN = "mean"
    COOLEST = "coolest"
    WARMEST = "warmest"


class RelayKind(Enum):
    """How a mat's relay is reached."""

    PLAIN = "plain"
    """MQTT with an on and an off word; cannot count a lease by itself."""
    LEASE = "lease"
    """MQTT with lease commands: drops out when the lease ends."""
    PIN = "pin"
    """A pin of this board."""


class OnLogFailure(Enum):
    """What to do when the season log fails within a run."""

    KEEP_HEATING = "keep-heating"
    HEAT_OFF = "heat-off"


@dataclass(frozen=True, slots=True)
class OnOff:
    """Two-position control: on below, off above, with a differential.

    Attributes:
        differential_mk: Distance between switching on and off [mK].
    """

    differential_mk: MilliK = MilliK(250)
    kind: Literal["on-off"] = "on-off"


@dataclass(frozen=True, slots=True)
class Pid:
    """Proportional, integral and derivative control with time-proportioning.

    Attributes:
        gain_per_k: Share of full power per kelvin below the setpoint [1/K].
        integral_s: Integral (reset) time [s].
        derivative_s: Derivative (rate) time [s]; 0 leaves it out.
        cycle_ms: Length of one on-and-off cycle of the relay [ms].
    """

    gain_per_k: float = 0.4
    integral_s: float = 7_200.0
    derivative_s: float = 0.0
    cycle_ms: Millis = Millis(10 * MINUTE_MS)
    kind: Literal["pid"] = "pid"


@dataclass(frozen=True, slots=True)
class StepPlan:
    """One stretch of a mat's programme.

    Attributes:
        setpoint_mc: Wanted temperature [m°C].
        night_mc: Wanted temperature by night [m°C]; None: as by day.
        days: Length in days of 24 h; None: ends by hand.
        title: Free text for people.
    """

    setpoint_mc: MilliC
    night_mc: MilliC | None = None
    days: float | None = None
    title: str = ""


@dataclass(frozen=True, slots=True)
class Night:
    """Minutes of the local day from which to which it is night."""

    from_minute: int = 22 * 60
    to_minute: int = 6 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbePlan:
    """One probe, in a tray, on a mat's surface, in the room, or a witness.

    Attributes:
        name: 1 to 32 letters, digits, "-" and "_".
        quantity: What it measures.
        depth_mm: Depth of its tip below the surface of the medium [mm].
        offset_mk: Added to every reading [mK].
        every_ms: How often it speaks [ms].
        stale_after_ms: Silent for longer than this, it is lost [ms].
        stuck_after_ms: A probe of a mat that says the very same value for this
            long is stuck [ms].
        one_wire: A digital one-wire probe: 85.0, -127 and 127.94 are its
            ways of saying that it did not measure.
    """

    name: str
    quantity: Quantity = Quantity.TEMPERATURE
    depth_mm: int | None = None
    offset_mk: MilliK = MilliK(0)
    every_ms: Millis = Millis(30_000)
    stale_after_ms: Millis = Millis(2 * MINUTE_MS)
    stuck_after_ms: Millis = Millis(12 * HOUR_MS)
    one_wire: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayPlan:
    """One container: pot, flat or bin.

    Attributes:
        name: 1 to 32 letters, digits, "-" and "_".
        title: Free text for people.
        medium: Name of the medium.
        depth_mm: Depth of the medium [mm].
        row: Place on the mat, counted from one long side; 1 is the first.
        column: Place on the mat along it; 1 is the first.
        base_mc: Base temperature of the live degree-hour counter [m°C].
        upper_mc: Horizontal upper cut-off of it [m°C]; None: none.
        probes: Root-zone temperature probes; may be empty.
    """

    name: str
    title: str = ""
    medium: str = ""
    depth_mm: int = 60
    row: int = 1
    column: int = 1
    base_mc: MilliC = MilliC(10_000)
    upper_mc: MilliC | None = None
    probes: tuple[ProbePlan, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MatPlan:
    """One heat mat and what stands on it.

    Attributes:
        name: 1 to 32 letters, digits, "-" and "_".
        title: Free text for people.
        power_mw: Power at full heat [mW].
        length_mm: Longer side of the heated area [mm].
        width_mm: Shorter side of the heated area [mm].
        policy: On-off or PID.
        programme: Steps, at least one; the last one never ends by itself.
        night: When night setpoints hold.
        driven_by: How the driving temperature is taken.
        driving_tray: The tray, where driven_by is TRAY.
        relay: How the relay is reached; None: a watch-only mat.
        reports: Whether the relay reports its state.
        wattmeter: Whether something reports the power that the mat draws.
        min_on_ms: Shortest time on that regulation may ask for [ms].
        min_off_ms: Shortest time off between two times on [ms].
        ramp_mk_per_h: Fastest change of the setpoint [mK/h]; None: at once.
        warn_mc: A root zone this warm raises a warning [m°C].
        tray_limit_mk: A root zone this far above the setpoint inhibits [mK].
        cutout_mc: A root zone this warm trips [m°C].
        surface_limit_mc: A mat surface this warm inhibits [m°C].
        surface_cutout_mc: A mat surface this warm trips [m°C].
        settle_ms: After the mat was switched off, heat still arrives in the
            root zone for this long [ms].
        heat_allowance_mk: Heat beyond the usual that would warm the trays by
            this much must show in the driving temperature, or the mat trips
            [mK].
        rise_limit_mk: A tray that warms by this much in ten minutes, to above
            the setpoint, inhibits [mK].
        stray_heat_mk: Trays that warm by this much while the mat is off raise
            an alarm [mK].
        disagreement_mk: A tray that differs by this much from how it usually
            differs raises an alarm [mK].
        longest_on_ms: On for this long without a pause inhibits [ms].
        daily_on_ms: On for this long in 24 hours inhibits [ms].
        trays: Containers on it.
        surface: Temperature probes on its surface.
    """

    name: str
    title: str = ""
    power_mw: int
    length_mm: int
    width_mm: int
    policy: OnOff | Pid
    programme: tuple[StepPlan, ...]
    night: Night = Night()
    driven_by: DrivenBy = DrivenBy.MEDIAN
    driving_tray: str | None = None
    relay: RelayKind | None = None
    reports: bool = False
    wattmeter: bool = False
    min_on_ms: Millis = Millis(2 * MINUTE_MS)
    min_off_ms: Millis = Millis(2 * MINUTE_MS)
    ramp_mk_per_h: int | None = None
    warn_mc: MilliC = MilliC(30_000)
    tray_limit_mk: MilliK = MilliK(4_000)
    cutout_mc: MilliC = MilliC(33_000)
    surface_limit_mc: MilliC = MilliC(42_000)
    surface_cutout_mc: MilliC = MilliC(50_000)
    settle_ms: Millis = Millis(HOUR_MS)
    heat_allowance_mk: MilliK = MilliK(4_000)
    rise_limit_mk: MilliK = MilliK(3_000)
    stray_heat_mk: MilliK = MilliK(1_500)
    disagreement_mk: MilliK = MilliK(4_000)
    longest_on_ms: Millis = Millis(16 * HOUR_MS)
    daily_on_ms: Millis = Millis(22 * HOUR_MS)
    trays: tuple[TrayPlan, ...] = ()
    surface: tuple[ProbePlan, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole bench.

    Attributes:
        bench: Name of the bench.
        scan_ms: Time from scan to scan [ms].
        mats: Heat mats with their trays.
        trays: Containers that stand on no mat: windowsill, light shelf.
        room: Temperature probes in the air of the room.
        witnesses: Probes of other quantities: logged, never controlling.
        on_log_failure: What a failing season log means for heat.
    """

    bench: str
    scan_ms: Millis = Millis(5_000)
    mats: tuple[MatPlan, ...] = ()
    trays: tuple[TrayPlan, ...] = ()
    room: tuple[ProbePlan, ...] = ()
    witnesses: tuple[ProbePlan, ...] = ()
    on_log_failure: OnLogFailure = OnLogFailure.KEEP_HEATING

    @property
    def valid_for_ms(self) -> Millis:
        """How long an "on" command holds: three scans [ms]."""
        return Millis(3 * self.scan_ms)


def all_trays(plan: Plan) -> tuple[TrayPlan, ...]:
    """Return every tray of the bench, those on mats first, in plan order."""
    return tuple(tray for mat in plan.mats for tray in mat.trays) + plan.trays


def all_probes(plan: Plan) -> tuple[ProbePlan, ...]:
    """Return every probe of the bench: trays, surfaces, room, witnesses."""
    in_trays = tuple(probe for tray in all_trays(plan) for probe in tray.probes)
    on_mats = tuple(probe for mat in plan.mats for probe in mat.surface)
    return in_trays + on_mats + plan.room + plan.witnesses
