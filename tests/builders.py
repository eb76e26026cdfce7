"""A small invented bench in virtual time, for the tests of the core.

Temperatures are in °C and times in seconds here, as people say them; probes,
trays and mats get names as short as their places allow.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from controller.core.decisions import AlarmKind, Cause, Command, Decisions
from controller.core.plan import (
    DrivenBy,
    MatPlan,
    OnOff,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import (
    LogHealth,
    PowerReport,
    Quality,
    Reading,
    RelayReport,
    Request,
    Scan,
    Wish,
)
from controller.core.state import (
    MatState,
    Mode,
    ProbeState,
    RelayState,
    State,
    fresh_state,
)
from controller.core.step import step
from controller.core.units import Millis, UtcMillis

SCAN_S = 5
UTC_MS = 1_760_000_000_000


def mc(temp_c: float) -> int:
    """Return a temperature [m°C] from °C."""
    return round(temp_c * 1000)


def ms(time_s: float) -> Millis:
    """Return a time [ms] from seconds."""
    return Millis(round(time_s * 1000))


def a_tray(name: str, *probes: str, **changes: object) -> TrayPlan:
    """Return a tray with plain one-wire probes of these names."""
    made = TrayPlan(name=name, probes=tuple(ProbePlan(name=p) for p in probes))
    return replace(made, **changes)


def a_mat(name: str = "north", **changes: object) -> MatPlan:
    """Return an on-off mat at 21 °C with two trays of one probe, no minimum times.

    Its band reaches from 20.875 to 21.125 °C, its tray limit is 25 °C, and the
    usual limits hold: warn 30, cut-out 33, surface 42 and 50 °C.
    """
    made = MatPlan(
        name=name,
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(mc(21)),),
        relay=RelayKind.LEASE,
        min_on_ms=Millis(0),
        min_off_ms=Millis(0),
        trays=(a_tray("N1", "n1"), a_tray("N2", "n2")),
    )
    return replace(made, **changes)


def surface_probe(name: str = "s1") -> tuple[ProbePlan, ...]:
    """Return the probe on a mat's surface."""
    return (ProbePlan(name=name),)


def a_plan(*mats: MatPlan, **changes: object) -> Plan:
    """Return a bench with these mats; with the usual one if none is given."""
    return replace(Plan(bench="invented", mats=mats or (a_mat(),)), **changes)


@dataclass(frozen=True)
class Said:
    """What a probe says that is not simply a good reading of now."""

    temp_c: float | None
    quality: Quality = Quality.GOOD
    ago_s: float = 0.0


def uncertain(temp_c: float) -> Said:
    """Return a reading that the door calls uncertain."""
    return Said(temp_c, Quality.UNCERTAIN)


BROKEN = Said(None, Quality.BAD)
"""A probe that answers without a value."""


@dataclass
class Bench:
    """A bench that is scanned: what is said, what is decided, what is known.

    Attributes:
        plan: Its plan.
        state: What the core remembers.
        now_s: Run clock at the last scan [s].
        seq: Number of the last scan.
        link_up: Whether the broker can be reached.
        log: What the season log's writer says of itself.
        decisions: What the last scan decided.
    """

    plan: Plan = field(default_factory=a_plan)
    state: State = field(default=None)  # type: ignore[assignment]
    now_s: float = 0.0
    seq: int = 0
    link_up: bool = True
    log: LogHealth = LogHealth.OK
    decisions: Decisions = field(default_factory=lambda: Decisions(()))

    def __post_init__(self) -> None:
        """Begin with a fresh state."""
        if self.state is None:
            self.state = fresh_state(self.plan, ms(self.now_s))

    def scan(
        self,
        readings: Sequence[Reading] = (),
        *,
        after_s: float = SCAN_S,
        ask: Sequence[Wish] = (),
        reports: Sequence[RelayReport] = (),
        powers: Sequence[PowerReport] = (),
        **said: float | Said,
    ) -> "Bench":
        """Scan once, this long after the last scan, with what probes say now."""
        self.now_s += after_s
        self.seq += 1
        now_ms = ms(self.now_s)
        scan = Scan(
            seq=self.seq,
            run_ms=now_ms,
            utc_ms=UtcMillis(UTC_MS + now_ms),
            clock_ok=True,
            local_day=20_000,
            local_minute=720,
            readings=(*readings, *(self.reading(p, s) for p, s in said.items())),
            relay_reports=tuple(reports),
            power_reports=tuple(powers),
            link_up=self.link_up,
            log_health=self.log,
            requests=tuple(
                Request(number, "Ada", wish) for number, wish in enumerate(ask, 1)
            ),
        )
        self.state, self.decisions = step(self.plan, self.state, scan)
        return self

    def run(self, lasting_s: float, **said: float | Said) -> "Bench":
        """Scan every five seconds for a time; probes say the same in each scan."""
        for _ in range(round(lasting_s / SCAN_S)):
            self.scan(**said)
        return self

    def heating(self, **said: float | Said) -> "Bench":
        """Start the bench: both usual probes at 20 °C, unless said otherwise."""
        self.scan(**{"n1": 20.0, "n2": 20.0, **said})
        assert self.on, self.command
        return self

    def reading(self, probe: str, said: float | Said) -> Reading:
        """Return a reading of a probe as of the last scan's time."""
        if not isinstance(said, Said):
            said = Said(said)
        milli = None if said.temp_c is None else mc(said.temp_c)
        return Reading(probe, ms(self.now_s - said.ago_s), milli, said.quality)

    def report(self, *, on: bool, ago_s: float = 0.0, **more: object) -> RelayReport:
        """Return a report of the first mat's relay, received at the next scan."""
        at_ms = ms(self.now_s + SCAN_S - ago_s)
        return replace(RelayReport(self.plan.mats[0].name, at_ms, on), **more)

    @property
    def command(self) -> Command:
        """What the first mat was commanded."""
        return self.decisions.commands[0]

    @property
    def on(self) -> bool:
        """Whether the first mat was commanded on."""
        return self.command.energised

    @property
    def cause(self) -> Cause:
        """Why."""
        return self.command.cause

    @property
    def numbers(self) -> dict[str, float]:
        """The numbers that decided about the first mat."""
        return dict(self.command.numbers)

    @property
    def mat(self) -> MatState:
        """What is known of the first mat."""
        return self.state.mats[self.plan.mats[0].name]

    @property
    def mode(self) -> Mode:
        """Mode of the first mat."""
        return self.mat.mode

    @property
    def relay(self) -> RelayState:
        """What is believed of the first mat's relay."""
        return self.mat.relay

    @property
    def alarms(self) -> set[tuple[AlarmKind, str]]:
        """The active alarms."""
        return {(a.kind, a.subject) for a in self.state.alarms if a.active}

    def probe(self, name: str) -> ProbeState:
        """Return what is known of a probe."""
        return self.state.probes[name]


def n2_drives(**changes: object) -> MatPlan:
    """Return a mat that tray N2 drives, so that N1 only guards."""
    return a_mat(driven_by=DrivenBy.TRAY, driving_tray="N2", **changes)


def warm(setpoint_c: float = 29, **changes: object) -> Bench:
    """Return such a bench at 29 °C, so that its tray limit is the cut-out, 33 °C."""
    programme = (StepPlan(mc(setpoint_c)),)
    return Bench(a_plan(n2_drives(programme=programme, **changes)))


def warm_heating(**changes: object) -> Bench:
    """Return that bench heating, the guarded tray N1 one kelvin from the cut-out."""
    extra = {"s1": 41.0} if "surface" in changes else {}
    return warm(**changes).heating(n1=32.0, n2=28.0, **extra)


def tripped(**changes: object) -> Bench:
    """Return that bench locked off: N1 read 33.0 and then 33.2 °C."""
    bench = warm_heating(**changes).scan(n1=33.0, n2=28.0).scan(n1=33.2, n2=28.0)
    assert bench.mode is Mode.TRIPPED
    return bench
