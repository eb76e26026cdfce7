"""The closed loop in virtual time: a simulated bench through the same core."""

import gc
import sys
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from controller.cli.local_time import LocalTime
from controller.cli.what_rang import Rung
from controller.core.decisions import AlarmChange, AlarmTurn
from controller.core.relays import on_time_ms
from controller.core.setpoints import on_ramp
from controller.core.state import State
from controller.core.units import MINUTE_MS, celsius
from controller.ports import RunHeader, SeasonLog
from sim.closed_loop import ClosedLoop, Turn
from sim.faults import Fault
from sim.faulty import FaultyBench
from sim.tally import MatTally, tallies
from sim.world import World


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a run in virtual time.

    Attributes:
        state: The state after the last scan.
        tallies: How each mat was kept, by name.
        rung: Alarms that were raised, in order.
    """

    state: State
    tallies: dict[str, MatTally]
    rung: tuple[Rung, ...]


def simulated(
    header: RunHeader,
    world: World,
    log: SeasonLog,
    lasting_ms: int,
    faults: tuple[Fault, ...] = (),
) -> Outcome:
    """Run a bench in virtual time from its header on.

    Args:
        header: The run; its state is where it begins.
        world: The bench that is driven.
        log: Where every scan goes; a daemon that restarts begins a new run.
        lasting_ms: How long [ms].
        faults: What happens on the way.
    """
    plan = header.plan
    counted = tallies(plan)
    bench = FaultyBench(plan, world, faults)
    calendar = LocalTime(header.timezone).at
    loop = ClosedLoop(plan, header.state, bench, header.started_utc_ms, calendar)
    scans = lasting_ms // plan.scan_ms
    say = _progress(scans)
    rung: list[Rung] = []
    log.begin(header)
    with _no_cycles():
        for number in range(1, scans + 1):
            turn = loop.turn()
            if turn is not None:
                if turn.resumed is not None:
                    log.begin(_next_run(header, turn, turn.resumed))
                log.append(turn.scan, turn.decisions, turn.state)
                if turn.decisions.alarm_changes:
                    after_ms = loop.now_ms - header.started_run_ms
                    rung += _raised(turn.decisions.alarm_changes, after_ms)
            if loop.now_ms % MINUTE_MS < plan.scan_ms:
                _count(counted, world, loop.state)
            say(number)
    return Outcome(loop.state, counted, tuple(rung))


def _raised(changes: tuple[AlarmChange, ...], after_ms: int) -> Iterator[Rung]:
    silent = {
        (change.kind, change.subject)
        for change in changes
        if change.turn is AlarmTurn.SUPPRESSED
    }
    for change in changes:
        explained = (change.kind, change.subject) in silent
        if change.turn is AlarmTurn.RAISED and not explained:
            yield Rung(after_ms, change)


def _next_run(header: RunHeader, turn: Turn, resumed: State) -> RunHeader:
    """Return the header of the run that a restarted daemon begins."""
    scan = turn.scan
    return replace(
        header,
        run=uuid.uuid4().hex[:12],
        started_run_ms=resumed.run_ms,
        started_utc_ms=scan.utc_ms - (scan.run_ms - resumed.run_ms),
        state=resumed,
    )


@contextmanager
def _no_cycles() -> Iterator[None]:
    """Run without the search for reference cycles: a step makes none."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _count(counted: dict[str, MatTally], world: World, state: State) -> None:
    now_ms = state.run_ms
    for name, tally in counted.items():
        known = state.mats[name]
        if known.ramp is None:
            continue
        setpoint_mc = on_ramp(known.ramp, tally.plan.ramp_mk_per_h, now_ms)
        temps_c = {tray.name: world.truth(tray.name) for tray in tally.plan.trays}
        on_ms = on_time_ms(known.relay, now_ms)
        tally.add(now_ms, temps_c, celsius(setpoint_mc), on_ms)


def _progress(scans: int) -> Callable[[int], None]:
    """Return what says on a terminal how far it is; elsewhere it is silent."""
    if not sys.stderr.isatty():
        return lambda _: None
    every = max(1, scans // 100)

    def say(seq: int) -> None:
        if seq % every == 0:
            end = "\n" if seq > scans - every else ""
            print(f"\r{100 * seq // scans} %", end=end, file=sys.stderr, flush=True)

    return say
