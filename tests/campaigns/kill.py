"""Kill and freeze real daemons, brokers and relay nodes while they heat.

Each bench has a mosquitto, a `bottomheat run`, a `bottomheat relay-keeper` on mock
pins, and probes that stand still below the setpoint. At random points one of the
three is killed (SIGKILL) or frozen (SIGSTOP); then it is told how long the relay's
contact stayed closed, and after recovery what is left of the season log and of
what a person and the guards had decided. Needs mosquitto.
"""

import argparse
import asyncio
import logging
import random
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from itertools import cycle, islice
from pathlib import Path

from bench_to_kill import LEASE_S, Bench, BenchError

GRACE_S = 1.0
"""The promise: off within the lease and this."""

_AFTERWARDS = """\
After each: all rows of the season log that a reader had seen are there; a trip, a
switched-off mat, a setpoint of a person's, a step and degree-hours go on; tripped and
switched-off mats were never on. At the end each log is decided again alike, and the
relays are off. What a dead or frozen relay node's pin does meanwhile no software of it
can decide: its time counts from its start or thaw."""

Fault = Callable[[Bench, random.Random], Awaitable[float]]


@dataclass
class Tally:
    """What came of one kind of fault."""

    seconds: list[float] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)


async def daemon_killed(bench: Bench, _: random.Random) -> float:
    """It is started again when the relay is off."""
    at_ns = await bench.struck("daemon", "KILL")
    off_s = await bench.off_after(at_ns, LEASE_S + GRACE_S)
    await bench.started("daemon")
    return off_s


async def daemon_killed_and_restarted(bench: Bench, _: random.Random) -> float:
    """It is started again at once, as a service manager does."""
    at_ns = await bench.struck("daemon", "KILL")
    await bench.started("daemon")
    return await bench.off_after(at_ns, LEASE_S + GRACE_S)


async def daemon_frozen(bench: Bench, chance: random.Random) -> float:
    """It goes on later as if nothing had been."""
    at_ns = await bench.struck("daemon", "STOP")
    try:
        off_s = await bench.off_after(at_ns, LEASE_S + GRACE_S)
        await asyncio.sleep(chance.uniform(0, 4))
    finally:
        await bench.struck("daemon", "CONT")
    return off_s


async def broker_killed(bench: Bench, chance: random.Random) -> float:
    """Nobody can say anything to anybody."""
    at_ns = await bench.struck("broker", "KILL")
    off_s = await bench.off_after(at_ns, LEASE_S + GRACE_S)
    await asyncio.sleep(chance.uniform(0, 2))
    await bench.started("broker")
    return off_s


async def broker_frozen(bench: Bench, chance: random.Random) -> float:
    """Writing to it seems to succeed."""
    at_ns = await bench.struck("broker", "STOP")
    try:
        off_s = await bench.off_after(at_ns, LEASE_S + GRACE_S)
        await asyncio.sleep(chance.uniform(0, 8))
    finally:
        await bench.struck("broker", "CONT")
    return off_s


async def node_killed(bench: Bench, chance: random.Random) -> float:
    """A dead program switches nothing: it is the start that must be off."""
    await bench.struck("node", "KILL")
    await asyncio.sleep(chance.uniform(0, 2))
    at_ns = bench.now_ns()
    await bench.started("node")
    return await bench.off_after(at_ns, Bench.START_S, reason="start")


async def node_frozen(bench: Bench, chance: random.Random) -> float:
    """A frozen program switches nothing: thawed after its lease, it must, at once.

    Commands that came meanwhile wait for it and must not be obeyed.
    """
    await bench.struck("node", "STOP")
    await asyncio.sleep(LEASE_S + chance.uniform(0.1, 4))
    at_ns = await bench.struck("node", "CONT")
    return await bench.off_after(at_ns, GRACE_S)


FAULTS: dict[str, Fault] = {
    "daemon killed": daemon_killed,
    "daemon killed, restarted at once": daemon_killed_and_restarted,
    "daemon frozen": daemon_frozen,
    "broker killed": broker_killed,
    "broker frozen": broker_frozen,
    "relay node killed; off at its start": node_killed,
    "relay node frozen; off after its thaw": node_frozen,
}


async def _fought(
    bench: Bench,
    points: list[str],
    chance: random.Random,
    tallies: dict[str, Tally],
    done: Callable[[], None],
) -> None:
    """Run one bench through its faults; what it promises is checked after each."""
    await bench.prepared()
    for name in points:
        tally = tallies[name]
        try:
            await bench.heats()
            await asyncio.sleep(chance.uniform(0, 3))
            before = await bench.remembered()
            off_s = await FAULTS[name](bench, chance)
            tally.seconds.append(off_s)
            await bench.heats()
            await bench.still_knows(before)
        except BenchError as error:
            tally.failures.append(str(error))
            await bench.mended()
        done()


async def _campaign(args: argparse.Namespace, folder: Path) -> dict[str, Tally]:
    chance = random.Random(args.seed)
    points = list(islice(cycle(FAULTS), args.points))
    chance.shuffle(points)
    tallies = {name: Tally() for name in FAULTS}
    count, began_s = 0, time.monotonic()

    def done() -> None:
        nonlocal count
        count += 1
        if sys.stderr.isatty() or count % 20 == 0:
            passed_s = time.monotonic() - began_s
            bad = sum(len(t.failures) for t in tallies.values())
            line = f"{count} of {args.points} points, {bad} failures, {passed_s:.0f} s"
            print(line, file=sys.stderr, flush=True)

    # A connection that is cut leaves futures behind that nobody asks any more.
    asyncio.get_running_loop().set_exception_handler(lambda _loop, _context: None)
    benches = [Bench(folder / f"bench{n}", f"b{n}") for n in range(args.benches)]
    try:
        async with asyncio.TaskGroup() as group:
            for number, bench in enumerate(benches):
                own = random.Random(f"{args.seed} {number}")
                mine = points[number :: args.benches]
                group.create_task(_fought(bench, mine, own, tallies, done))
    finally:
        for bench in benches:
            await bench.ended()
    ahead = max(bench.most_ahead for bench in benches)
    print(f"Before a fault at most {ahead} scans were not yet in the log.")
    last = tallies.setdefault("at the end", Tally())
    for bench in benches:
        last.failures.extend(bench.last_checks())
    return tallies


def _table(tallies: dict[str, Tally]) -> str:
    head = ("what", "n", "worst to off", "median", "failures")
    lines = ["{:38} {:>4} {:>13} {:>8} {:>9}".format(*head)]
    for name, tally in tallies.items():
        times = sorted(tally.seconds)
        worst = f"{times[-1]:.2f} s" if times else "-"
        median = f"{times[len(times) // 2]:.2f} s" if times else "-"
        n = len(times) + len(tally.failures)
        lines.append(
            f"{name:38} {n:>4} {worst:>13} {median:>8} {len(tally.failures):>9}"
        )
    return "\n".join(lines)


def main() -> int:
    """Run the campaign; return 1 if a promise was broken."""
    parser = argparse.ArgumentParser(prog="./dev kill", description=__doc__)
    parser.add_argument("--points", type=int, default=210, help="(default: 210)")
    parser.add_argument("--benches", type=int, default=5, help="at once (default: 5)")
    parser.add_argument("--seed", type=int, default=1, help="(default: 1)")
    args = parser.parse_args()
    if Bench.MOSQUITTO is None:
        print("kill: mosquitto is not installed; nothing was tried", file=sys.stderr)
        return 2
    logging.disable()  # of our own probes, that their broker is gone: no news here
    with tempfile.TemporaryDirectory(prefix="bottomheat-kill-") as folder:
        tallies = asyncio.run(_campaign(args, Path(folder)))
    print(
        f"Lease {LEASE_S:g} s, promise: off within {LEASE_S + GRACE_S:g} s; a relay"
        f" node that thaws after its lease: within {GRACE_S:g} s; seed {args.seed}."
    )
    print(_table(tallies))
    print(_AFTERWARDS)
    failures = [(n, f) for n, t in tallies.items() for f in t.failures]
    for name, failure in failures:
        print(f"FAILED: {name}: {failure}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
