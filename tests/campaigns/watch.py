"""One run of the fault campaign: a settled bench, a fault, and what came of it."""

import gc
import pickle
from dataclasses import dataclass, field

from controller.core.decisions import AlarmKind, AlarmTurn, Cause, Decisions
from controller.core.state import fresh_state
from sim.closed_loop import ClosedLoop, Turn
from sim.faulty import FaultyBench
from sim.world import World, WorldOptions
from tests.campaigns.benches import Bench
from tests.campaigns.scenarios import DAY, HOUR, MINUTE, Scenario, Where

STARTED_UTC_MS = 1_801_472_400_000
"""1 February 2027, 09:00 UTC: the benches' beginning."""

FIRST_HOUR = 9
SETTLED_DAYS = 2
HOURS_OF_DAY = (3, 9, 14, 20)
"""Before dawn, when most heat is needed; in the morning; at the warmest; at dusk."""

TRUE_LIMIT_C = 35.0
"""What no root zone may reach where software can act: roots at 35 °C for 6 h a
day are harmed (Martin, Ingram and Jenks 1991, J. Thermal Biol. 16:281-285)."""

REGULATING = {
    Cause.BELOW_BAND,
    Cause.ABOVE_BAND,
    Cause.WITHIN_BAND,
    Cause.DUTY_ON,
    Cause.DUTY_OFF,
    Cause.MIN_ON,
    Cause.MIN_OFF,
}


@dataclass
class Result:
    """What came of one fault.

    Attributes:
        scenario: Its scenario.
        severity: How bad.
        bench: On which bench.
        hour: Hour of the day at which it began.
        found_by: The alarm or the cause that named it first.
        found_s: After how long [s].
        off_s: After how long heat was refused [s].
        off_by: By which cause.
        hottest_c: The hottest true root zone from then on [°C].
        too_warm_k: Most above what the driving tray was before [K].
        too_cold_k: Most below it [K].
        tripped: Mats that were locked off.
        false_trips: Those of them that should not have been.
        required: Whether it had to be found, and by when it was too late.
        within_s: By when [s].
        acts: Whether software can act.
        alarms: Every alarm that was raised, by kind, and after how long [s].
    """

    scenario: str
    severity: float
    bench: str
    hour: int
    found_by: str = ""
    found_s: float | None = None
    off_s: float | None = None
    off_by: str = ""
    hottest_c: float = -99.0
    too_warm_k: float = 0.0
    too_cold_k: float = 0.0
    tripped: list[str] = field(default_factory=list)
    false_trips: int = 0
    required: bool = False
    within_s: float = 0.0
    acts: bool = True
    alarms: dict[str, float] = field(default_factory=dict)

    @property
    def missed(self) -> bool:
        """Whether it should have been found in time and was not."""
        late = self.found_s is None or self.found_s > self.within_s
        return self.required and late

    @property
    def too_hot(self) -> bool:
        """Whether a root zone suffered although software can act."""
        return self.acts and self.hottest_c > TRUE_LIMIT_C


def calendar(utc_ms: int) -> tuple[int, int]:
    """Return local day and minute; these benches keep UTC."""
    return utc_ms // DAY, utc_ms % DAY // MINUTE


def a_loop(bench: Bench) -> ClosedLoop:
    """Return a bench at its beginning."""
    world = World(
        bench.plan, WorldOptions(seed=bench.seed, start_minute_of_day=FIRST_HOUR * 60)
    )
    faulty = FaultyBench(bench.plan, world, seed=bench.seed)
    state = fresh_state(bench.plan)
    return ClosedLoop(bench.plan, state, faulty, STARTED_UTC_MS, calendar)


def settled(bench: Bench) -> dict[int, bytes]:
    """Return a bench after some days at several hours of the day, pickled."""
    loop = a_loop(bench)
    kept = {}
    gc.disable()
    for hour in HOURS_OF_DAY:
        until_ms = SETTLED_DAYS * DAY + (hour - FIRST_HOUR) * HOUR
        while loop.now_ms < until_ms:
            loop.turn()
        kept[hour] = pickle.dumps(loop)
    gc.enable()
    return kept


def watched(
    bench: Bench, kept: bytes, scenario: Scenario, severity: float, hour: int
) -> Result:
    """Inject a fault into a settled bench; return what came of it."""
    loop = pickle.loads(kept)  # noqa: S301 - our own, of a moment ago
    threshold = scenario.threshold
    severe = threshold is not None and severity >= threshold.at_least
    result = Result(
        scenario.name,
        severity,
        bench.name,
        hour,
        required=severe and scenario.must(bench),
        within_s=threshold.within_h * 3600 if threshold else 0.0,
        acts=scenario.acts(bench),
    )
    at_ms = loop.now_ms + MINUTE
    loop.bench.befall(scenario.inject(Where(bench, loop, at_ms), severity))
    _Watch(bench, loop, scenario, result, at_ms).run()
    return result


class _Watch:
    """Follows one run to its end."""

    def __init__(
        self,
        bench: Bench,
        loop: ClosedLoop,
        scenario: Scenario,
        result: Result,
        at_ms: int,
    ) -> None:
        self._bench, self._loop, self._result, self._at_ms = bench, loop, result, at_ms
        self._scenario, hazard = scenario, scenario.hazard
        self._causes, self._alarms = set(hazard.causes), set(hazard.alarms)
        self._before_c = loop.bench.world.truth(bench.driving_tray)

    def run(self) -> None:
        loop, scan_ms = self._loop, self._loop.plan.scan_ms
        until_ms = self._at_ms + round(self._scenario.hours * HOUR)
        gc.disable()
        while loop.now_ms < until_ms:
            turn = loop.turn()
            if turn is not None and loop.now_ms >= self._at_ms:
                self._see(turn)
            if loop.now_ms % MINUTE < scan_ms:
                self._measure()
        gc.enable()
        self._judge()

    def _see(self, turn: Turn) -> None:
        after_s = (self._loop.now_ms - self._at_ms) / 1000
        self._see_alarms(turn.decisions, after_s)
        for command in turn.decisions.commands:
            if command.mat != self._bench.mat or command.cause in REGULATING:
                continue
            cause = command.cause
            if cause is Cause.TRIPPED:
                trip = turn.state.mats[command.mat].trip
                cause = trip.cause if trip else cause
            if self._result.off_s is None:
                self._result.off_s, self._result.off_by = after_s, cause.value
            if cause in self._causes:
                self._found(cause.value, after_s)

    def _see_alarms(self, decisions: Decisions, after_s: float) -> None:
        for change in decisions.alarm_changes:
            if change.turn is not AlarmTurn.RAISED:
                continue
            self._result.alarms.setdefault(change.kind.value, after_s)
            if change.kind is AlarmKind.TRIP:
                self._result.tripped.append(change.subject)
            if change.kind in self._alarms:
                self._found(change.kind.value, after_s)

    def _found(self, by: str, after_s: float) -> None:
        if self._result.found_s is None:
            self._result.found_by, self._result.found_s = by, after_s

    def _measure(self) -> None:
        world, result = self._loop.bench.world, self._result
        for tray in self._bench.mat_plan.trays:
            true_c = max(
                world.truth(tray.name), world.truth(tray.name, tray.depth_mm // 2)
            )
            result.hottest_c = max(result.hottest_c, true_c)
        off_k = world.truth(self._bench.driving_tray) - self._before_c
        result.too_warm_k = max(result.too_warm_k, off_k)
        result.too_cold_k = max(result.too_cold_k, -off_k)

    def _judge(self) -> None:
        """Count trips where none was right, and of mats that had no fault."""
        touched = {self._bench.mat}
        if self._scenario.name == "probes-swapped-between-mats":
            touched = {mat.name for mat in self._bench.plan.mats}
        self._result.false_trips = sum(
            not self._scenario.trips or mat not in touched
            for mat in self._result.tripped
        )
