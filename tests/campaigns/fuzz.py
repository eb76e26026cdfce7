"""Feed rubbish to whatever reads something, and count what breaks.

`./dev fuzz` makes a million inputs, each from its own number, so that one that
broke something is made again by the same seed and number; then it calls the API as
its document admits, and otherwise (fuzzing/calls.py). What is printed of it
can be pasted into tests/adapters/corpus.txt as well, where every later run of
the tests tries it.
"""

import argparse
import os
import signal
import sys
import time
import traceback
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[2]))  # it is started as a script

from tests.campaigns.fuzzing import beside, configurations, logs, messages, relays
from tests.campaigns.fuzzing.calls import fuzzed
from tests.campaigns.fuzzing.target import Target

TARGETS: Mapping[str, Target] = {
    target.name: target
    for part in (messages, relays, configurations, beside, logs)
    for target in part.TARGETS
}
INPUTS = 1_000_000
CALLS = 20_000
TOO_LONG_S = 20
"""An input that takes more processor time than this hangs."""

_LONGEST_SHOWN = 20_000


@dataclass
class Crash:
    """One way of breaking, with its shortest example so far."""

    times: int
    number: int
    error: str
    example: str


@dataclass
class Tally:
    """What became of some inputs of a target."""

    inputs: int = 0
    taken: int = 0
    seconds: float = 0.0
    crashes: dict[str, Crash] = field(default_factory=dict)

    def add(self, other: "Tally") -> None:
        """Take in what became of more of them."""
        self.inputs += other.inputs
        self.taken += other.taken
        self.seconds += other.seconds
        for place, crash in other.crashes.items():
            self.note(place, crash)

    def note(self, place: str, crash: Crash) -> None:
        """Take in a crash; of those at one place the shortest example stays."""
        known = self.crashes.setdefault(place, crash)
        if known is not crash:
            crash.times += known.times
            shorter = min(known, crash, key=lambda one: len(one.example))
            shorter.times = crash.times
            self.crashes[place] = shorter


def main(words: Sequence[str] | None = None) -> int:
    """Run the campaign; return 1 if anything broke."""
    args = _parser().parse_args(words)
    wanted = [TARGETS[name] for name in args.target or TARGETS]
    total = sum(target.share for target in wanted)
    tallies = {target.name: Tally() for target in wanted}
    print(f"seed {args.seed}; what breaks is printed as it stands in the corpus")
    for target in wanted:
        inputs = max(1, round(args.inputs * target.share / total))
        for tally in _fed(target, args.seed, inputs, args.jobs):
            tallies[target.name].add(tally)
        _tell(target.name, tallies[target.name])
    return max(_told(tallies), _called(args.seed, args.calls))


def _called(seed: int, calls: int) -> int:
    """Call the API; tell what came of it, and return the exit status."""
    if not calls:
        return 0
    found = fuzzed(calls, seed)
    print(f"{found.calls} calls of the API: {'broken' if found.broke else 'all well'}")
    print(found.broke, end="")
    return 1 if found.broke else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="./dev fuzz", description=__doc__)
    parser.add_argument(
        "--inputs",
        type=int,
        default=INPUTS,
        help="how many inputs over all targets (default: %(default)s)",
    )
    parser.add_argument(
        "--seed", type=int, default=1, help="another seed, other inputs (default: 1)"
    )
    parser.add_argument(
        "--jobs",
        type=int,
        default=os.cpu_count() or 1,
        help="processes (default: one for each core)",
    )
    parser.add_argument(
        "--calls",
        type=int,
        default=CALLS,
        help="how many calls of the API at least; 0: none (default: %(default)s)",
    )
    parser.add_argument(
        "--target", action="append", choices=list(TARGETS), help="only this; repeatable"
    )
    return parser


def _fed(target: Target, seed: int, inputs: int, jobs: int) -> Iterator[Tally]:
    """Yield what became of all inputs of a target, piece by piece."""
    piece = max(1, min(20_000, -(-inputs // (4 * jobs))))
    starts = range(0, inputs, piece)
    if jobs == 1:
        yield from (feed(target.name, seed, n, min(inputs, n + piece)) for n in starts)
        return
    with ProcessPoolExecutor(jobs) as pool:
        waiting = [
            pool.submit(feed, target.name, seed, n, min(inputs, n + piece))
            for n in starts
        ]
        for future in waiting:
            yield future.result()


def feed(name: str, seed: int, first: int, end: int) -> Tally:
    """Feed the inputs of some numbers to a target."""
    target, tally = TARGETS[name], Tally()
    before = time.perf_counter()
    signal.signal(signal.SIGPROF, _hangs)
    for number in range(first, end):
        given = target.made(Random(f"{seed} {name} {number}"))
        signal.setitimer(signal.ITIMER_PROF, TOO_LONG_S)
        try:
            tally.taken += target.check(given)
        except Exception as error:  # noqa: BLE001 - whatever comes is the finding
            signal.setitimer(signal.ITIMER_PROF, 0)
            text = f"{type(error).__name__}: {error}"
            crash = Crash(1, number, text, repr((name, given)))
            tally.note(_place(error), crash)
        signal.setitimer(signal.ITIMER_PROF, 0)
        tally.inputs += 1
    tally.seconds = time.perf_counter() - before
    return tally


def _hangs(*_: object) -> None:
    raise TimeoutError(f"read for more than {TOO_LONG_S} s")


def _place(error: BaseException) -> str:
    """Return where an error arose: the kind, the file and the line."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "site-packages" not in f.filename] or frames
    return f"{type(error).__name__} in {Path(ours[-1].filename).name}:{ours[-1].lineno}"


def _tell(name: str, tally: Tally) -> None:
    broke = sum(crash.times for crash in tally.crashes.values())
    each_us = 1e6 * tally.seconds / tally.inputs
    print(
        f"{name:14} {tally.inputs:8} inputs, {tally.taken:7} taken, {broke:6} broke"
        f" it, {each_us:7.0f} µs each",
        flush=True,
    )


def _told(tallies: Mapping[str, Tally]) -> int:
    """Print every way of breaking; return the exit status."""
    crashes = list(chain.from_iterable(t.crashes.items() for t in tallies.values()))
    for place, crash in crashes:
        print(f"\n{place}, {crash.times} times, first with number {crash.number}")
        print(f"  {crash.error[:500]}")
        print(f"  {crash.example[:_LONGEST_SHOWN]}")
    inputs = sum(tally.inputs for tally in tallies.values())
    broke = sum(crash.times for _, crash in crashes)
    print(f"\n{inputs} inputs, {broke} broke something, in {len(crashes)} ways")
    return 1 if crashes else 0


if __name__ == "__main__":
    sys.exit(main())
