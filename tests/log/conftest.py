"""A small invented bench, and scans of it, for the tests of the season log."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from controller.adapters.season_log import SeasonLogReader
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import (
    MatPlan,
    OnOff,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import Reading, Scan
from controller.core.state import State, fresh_state
from controller.core.units import MilliC, MilliK, Millis, UtcMillis
from controller.ports import RunHeader

UTC_MS = 1_760_000_000_000
SCAN_MS = 5_000

Taken = tuple[Scan, Decisions, State]


def _plan() -> Plan:
    tray = TrayPlan(name="N1", probes=(ProbePlan(name="n1", offset_mk=MilliK(-125)),))
    north = MatPlan(
        name="north",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(MilliC(21_000)),),
        relay=RelayKind.LEASE,
        trays=(tray,),
    )
    return Plan(bench="lean-to", mats=(north,), room=(ProbePlan(name="room"),))


@dataclass(frozen=True)
class Samples:
    """Makes headers, scans and decisions of the bench."""

    plan: Plan = field(default_factory=_plan)

    def header(self, run: str = "run-1", **changes: object) -> RunHeader:
        """Return the header of a run."""
        whole = RunHeader(
            run=run,
            origin="live",
            started_run_ms=0,
            started_utc_ms=UTC_MS,
            plan=self.plan,
            state=fresh_state(self.plan),
            timezone="Europe/Paris",
            decisions_version=1,
            versions={"python": "3.11.7", "simple-pid": "2.0.1"},
        )
        return replace(whole, **changes)  # type: ignore[arg-type]

    def taken(
        self, seq: int, *, flush: bool = False, energised: bool = False, **scan: object
    ) -> Taken:
        """Return a scan with one reading, a command and the state after it."""
        run_ms = seq * SCAN_MS
        utc_ms = UTC_MS + run_ms
        local_min = utc_ms // 60_000 + 120
        plain = Scan(
            seq=seq,
            run_ms=Millis(run_ms),
            utc_ms=UtcMillis(utc_ms),
            clock_ok=True,
            local_day=local_min // 1440,
            local_minute=local_min % 1440,
            readings=(Reading("n1", Millis(run_ms - 1_234), 20_000 + seq),),
        )
        cause = Cause.BELOW_BAND if energised else Cause.ABOVE_BAND
        command = Command("north", energised, cause, (("root_mc", 20_000.0 + seq),))
        state = replace(fresh_state(self.plan), run_ms=Millis(run_ms))
        made = replace(plain, **scan)  # type: ignore[arg-type]
        return made, Decisions((command,), flush=flush), state

    def many(self, first: int, last: int) -> Iterator[Taken]:
        """Yield scans from first to last."""
        for seq in range(first, last + 1):
            yield self.taken(seq)


@pytest.fixture
def samples() -> Samples:
    return Samples()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "season.db"


@dataclass(frozen=True)
class OnDisk:
    """What a reader finds in a file now."""

    path: Path

    def seqs(self, run: str = "run-1") -> list[int]:
        """Return the numbers of the scans of a run."""
        scans = SeasonLogReader(self.path).scans(run)
        return [recorded.scan.seq for recorded in scans]

    def kinds(self) -> list[str]:
        """Return the kinds of all journal entries, oldest first."""
        return [entry.kind for entry in SeasonLogReader(self.path).journal(0, 1_000)]


@pytest.fixture
def on_disk(path: Path) -> OnDisk:
    return OnDisk(path)
