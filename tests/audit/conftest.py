"""A small invented bench in closed loop with the real core, and its record."""

from dataclasses import dataclass, field, replace

import pytest

from controller.core.decisions import Command, Decisions
from controller.core.plan import (
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import Hold, Quality, Reading, Request, Scan
from controller.core.state import State, fresh_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import MilliC, Millis, UtcMillis
from controller.ports import RecordedScan, RunHeader
from controller.wire import take_news

UTC_MS = 1_760_000_000_000
SCANS = 600


def _mat(name: str, policy: OnOff | Pid, setpoint_mc: int) -> MatPlan:
    probe = ProbePlan(name=f"{name}-1")
    return MatPlan(
        name=name,
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=policy,
        programme=(StepPlan(MilliC(setpoint_mc)),),
        relay=RelayKind.LEASE,
        trays=(TrayPlan(name=f"{name}-tray", probes=(probe,)),),
    )


def _plan() -> Plan:
    north, south = _mat("north", Pid(), 21_000), _mat("south", OnOff(), 22_000)
    return Plan(bench="lean-to", mats=(north, south))


@dataclass
class Season:
    """A run of the bench, made once: warm-up, a doubt, an alarm, a request."""

    plan: Plan = field(default_factory=_plan)
    taken: list[tuple[Scan, Decisions, State]] = field(default_factory=list)

    def __post_init__(self) -> None:
        state = fresh_state(self.plan)
        warmth = {"north": 20_000.0, "south": 21_500.0}
        for seq in range(1, SCANS + 1):
            scan = self._scan(seq, warmth)
            state, decisions = step(self.plan, state, scan)
            for command in decisions.commands:
                warmth[command.mat] += 8.0 if command.energised else -4.0
            self.taken.append((scan, decisions, state))

    def _scan(self, seq: int, warmth: dict[str, float]) -> Scan:
        run_ms = seq * 5_000
        local_min = (UTC_MS + run_ms) // 60_000
        return Scan(
            seq=seq,
            run_ms=Millis(run_ms),
            utc_ms=UtcMillis(UTC_MS + run_ms),
            clock_ok=True,
            local_day=local_min // 1_440,
            local_minute=local_min % 1_440,
            readings=self._readings(seq, run_ms, warmth),
            requests=_requests(seq),
        )

    def _readings(self, seq: int, run_ms: int, warmth: dict[str, float]):
        if seq % 4 or 300 <= seq < 380:  # silent for a while: an alarm
            return ()
        return tuple(
            Reading(
                f"{mat}-1",
                Millis(run_ms - 700),
                85_000 if seq == 200 else round(temp_mc),
                Quality.GOOD,
            )
            for mat, temp_mc in warmth.items()
        )

    @property
    def header(self) -> RunHeader:
        """The run's header."""
        return RunHeader(
            run="run-1",
            origin="simulate",
            started_run_ms=0,
            started_utc_ms=UTC_MS,
            plan=self.plan,
            state=fresh_state(self.plan),
            timezone="UTC",
            decisions_version=DECISIONS_VERSION,
            versions={},
        )

    def record(self) -> list[RecordedScan]:
        """Return the run as a log would give it back."""
        said: dict[str, Command] = {}
        return [
            RecordedScan(
                scan,
                tuple(take_news(said, decisions.commands)),
                replace(decisions, commands=(), flush=False),
            )
            for scan, decisions, _ in self.taken
        ]


def _requests(seq: int) -> tuple[Request, ...]:
    if seq != 450:
        return ()
    return (
        Request(1, "Ann", Hold("south", Millis(60_000))),
        Request(2, "Ann", Hold("nowhere", Millis(60_000))),
    )


@pytest.fixture(scope="session")
def season() -> Season:
    return Season()
