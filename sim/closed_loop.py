"""The controller and a simulated bench, turn by turn, in virtual time.

The daemon too can have faults: it stops, hangs, its clock jumps, its disk
fails; and people ask for things. What may live here: how scans are made of
what arrives and of the time. No decisions: those are the core's.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

from controller.core.decisions import Decisions
from controller.core.plan import Plan
from controller.core.scan import (
    Hold,
    LogHealth,
    Request,
    Reset,
    Scan,
    SetEnabled,
    SetSetpoint,
    Wish,
)
from controller.core.state import State, resumed_state
from controller.core.step import step
from controller.core.units import MilliC, Millis, UtcMillis
from controller.ports import Arrivals
from sim.faults import Fault
from sim.faulty import FaultyBench
from sim.kinds import Kind

Calendar = Callable[[int], tuple[int, int]]
"""Local day (since 1970-01-01) and minute of it, of a wall clock [ms]."""

PERSON = "simulated person"


class Turn(NamedTuple):
    """One scan and what came of it.

    Attributes:
        scan: The scan.
        decisions: What was decided.
        state: The state after it.
        resumed: The state before it, where it is the first of a new run.
    """

    scan: Scan
    decisions: Decisions
    state: State
    resumed: State | None


@dataclass(slots=True)
class _Clocks:
    """How the daemon's clocks stand to the world's.

    Attributes:
        run_ms: Run clock less the world's [ms].
        utc_ms: Wall clock less the world's [ms].
        summer_ms: Local time moved by so much [ms].
    """

    run_ms: int
    utc_ms: int
    summer_ms: int = 0


class ClosedLoop:
    """Steps the core and a bench together.

    Args:
        plan: The bench.
        state: The state before the first scan.
        bench: The simulated bench, whose clock begins with the state's.
        utc_ms: Wall clock at the beginning [ms].
        calendar: Local day and minute of a wall clock.
    """

    def __init__(
        self,
        plan: Plan,
        state: State,
        bench: FaultyBench,
        utc_ms: int,
        calendar: Calendar,
    ) -> None:
        self.plan, self.state, self.bench = plan, state, bench
        self.now_ms: int = state.run_ms
        self._clocks = _Clocks(0, utc_ms - state.run_ms)
        self._calendar = calendar
        self._seq = self._asked = 0
        self._away: Fault | None = None
        self._left_utc_ms = utc_ms
        self._left_ok = True
        self._met: set[int] = set()
        self._queue: list[Arrivals] = []

    def turn(self) -> Turn | None:
        """Let one scan interval pass; return what came of it.

        None: the daemon is away.
        """
        self.now_ms += self.plan.scan_ms
        arrived = self.bench.advance(self.now_ms)
        wishes = self._happenings()
        if self._is_away(arrived):
            return None
        resumed = self._come_back()
        if self._queue:
            arrived = self._caught_up(arrived)
        self._seq += 1
        scan = self._scan(arrived, wishes)
        before = resumed or self.state
        self.state, decisions = step(self.plan, before, scan)
        self.bench.obey(decisions.commands, self._seq)
        self._left_utc_ms, self._left_ok = scan.utc_ms, scan.clock_ok
        return Turn(scan, decisions, self.state, resumed)

    def _scan(self, arrived: Arrivals, wishes: list[Wish]) -> Scan:
        run_ms, utc_ms = self._clocks.run_ms, self.now_ms + self._clocks.utc_ms
        day, minute = self._calendar(utc_ms + self._clocks.summer_ms)
        if run_ms:
            arrived = _moved(arrived, run_ms)
        failed = self.bench.happening(Kind.LOG_FAILS) is not None
        return Scan(
            self._seq,
            Millis(self.now_ms + run_ms),
            UtcMillis(utc_ms),
            clock_ok=self._clock_ok(),
            local_day=day,
            local_minute=minute,
            readings=arrived.readings,
            refusals=arrived.refusals,
            relay_reports=arrived.relay_reports,
            power_reports=arrived.power_reports,
            link_up=self.bench.link_up(),
            log_health=LogHealth.FAILED if failed else LogHealth.OK,
            requests=tuple(self._requests(wishes)),
        )

    def _clock_ok(self) -> bool:
        return self.bench.happening(Kind.CLOCK_UNKNOWN) is None

    def _requests(self, wishes: list[Wish]) -> list[Request]:
        requests = []
        for wish in wishes:
            self._asked += 1
            requests.append(Request(self._asked, PERSON, wish))
        return requests

    # --------------------------------------------------------------- the daemon

    def _is_away(self, arrived: Arrivals) -> bool:
        stopped = self.bench.happening(Kind.DAEMON_RESTARTS)
        away = stopped or self.bench.happening(Kind.DAEMON_HANGS)
        if away is None:
            return False
        if self._away is None:
            self._away = away
            self.bench.daemon_gone(at_once=stopped is not None)
        if away.kind is Kind.DAEMON_HANGS:
            self._queue.append(arrived)
        return True

    def _come_back(self) -> State | None:
        """Return the state of a new run, where one begins."""
        away, self._away = self._away, None
        if away is None:
            return None
        self.bench.daemon_back()
        if away.kind is Kind.DAEMON_HANGS:
            return None
        utc_ms = self.now_ms - self.plan.scan_ms + self._clocks.utc_ms
        away_ms = utc_ms - self._left_utc_ms
        known = away.flag("clock_known") and self._left_ok and self._clock_ok()
        known = known and away_ms >= 0
        run_ms = Millis(self.state.run_ms + (away_ms if known else 0))
        self._clocks.run_ms = run_ms - (self.now_ms - self.plan.scan_ms)
        self._seq = 0
        return resumed_state(self.plan, self.state, run_ms, outage_known=known)

    def _caught_up(self, arrived: Arrivals) -> Arrivals:
        """Return what waited while the daemon hung, as if it came just now."""
        parts = [*self._queue, arrived]
        self._queue = []
        waiting = [reading for part in parts for reading in part.readings]
        first_ms = self.now_ms - len(waiting)
        return Arrivals(
            tuple(
                replace(reading, at_ms=Millis(first_ms + number))
                for number, reading in enumerate(waiting)
            ),
            tuple(refusal for part in parts for refusal in part.refusals),
            tuple(report for part in parts for report in part.relay_reports),
            tuple(report for part in parts for report in part.power_reports),
        )

    # ------------------------------------------------------- clocks and people

    def _happenings(self) -> list[Wish]:
        """Take up faults that began or ended; return what people ask for."""
        now = self.bench.in_force
        if not now and not self._met:
            return []
        wishes: list[Wish] = []
        for number in now.keys() - self._met:
            wishes += self._begun(now[number])
        for number in self._met - now.keys():
            wishes += self._ended(self.bench.fault(number))
        self._met = set(now)
        return wishes

    def _begun(self, fault: Fault) -> list[Wish]:
        mat, lasts_ms = fault.subject, (fault.ends_ms or fault.at_ms) - fault.at_ms
        match fault.kind:
            case Kind.HOLD:
                return [Hold(mat, Millis(lasts_ms))]
            case Kind.SETPOINT:
                to_mc = MilliC(round(1000 * fault.size("to")))
                return [SetSetpoint(mat, to_mc, Millis(lasts_ms) if lasts_ms else None)]
            case Kind.SWITCHED_OFF:
                return [SetEnabled(mat, enabled=False)]
            case Kind.RESET:
                return [Reset(mat)]
            case Kind.CLOCK_JUMPS:
                self._clocks.utc_ms += round(1000 * fault.size("by"))
            case Kind.SUMMER_TIME:
                self._clocks.summer_ms += round(1000 * fault.size("by"))
            case _:
                pass
        return []

    def _ended(self, fault: Fault) -> list[Wish]:
        if fault.kind is Kind.SWITCHED_OFF:
            return [SetEnabled(fault.subject, enabled=True)]
        return []


def _moved(arrived: Arrivals, by_ms: int) -> Arrivals:
    """Return arrivals with their times on another run clock."""
    return Arrivals(
        tuple(replace(r, at_ms=Millis(r.at_ms + by_ms)) for r in arrived.readings),
        tuple(replace(r, at_ms=Millis(r.at_ms + by_ms)) for r in arrived.refusals),
        tuple(replace(r, at_ms=Millis(r.at_ms + by_ms)) for r in arrived.relay_reports),
        tuple(replace(r, at_ms=Millis(r.at_ms + by_ms)) for r in arrived.power_reports),
    )
