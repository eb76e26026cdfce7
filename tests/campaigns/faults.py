"""The fault campaign: faults injected into simulated benches, and counted.

Every scenario, at each of its severities, meets benches, policies and times of
day in rounds. In each round every scenario and severity runs once; from round
to round its bench moves on by three of sixteen and its time of day by one of
four (by one more every four rounds). After four rounds a severity has met
every time of day, after sixteen every bench, each time of day four times with
each quarter of the benches: a balanced fraction of the whole, however many
rounds the budget allows.
"""

import argparse
import json
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.campaigns.benches import BENCHES
from tests.campaigns.healthy import SEASONS, Season, season
from tests.campaigns.scenarios import SCENARIOS
from tests.campaigns.tables import campaign_tables, failures
from tests.campaigns.watch import HOURS_OF_DAY, Result, settled, watched

SETTLED: dict[int, dict[int, bytes]] = {}
"""Settled benches by number and hour, inherited by the worker processes."""

HEALTHY_DAYS = 120.0
SLICE_DAYS = 3.0
SLICE_BENCHES = (0, 3, 5, 8, 13, 14)
SLICE_ROUNDS = 2


class Task(NamedTuple):
    """One run: a scenario at a severity, on a bench, at a time of day."""

    scenario: int
    severity: float
    bench: int
    hour: int


def tasks(benches: tuple[int, ...], seed: int) -> Iterator[list[Task]]:
    """Yield rounds of runs, for ever."""
    turn = seed
    while True:
        yield list(_round(benches, turn))
        turn += 1


def _round(benches: tuple[int, ...], turn: int) -> Iterator[Task]:
    for number, scenario in enumerate(SCENARIOS):
        fitting = [b for b in benches if scenario.fits(BENCHES[b])]
        for rank, severity in enumerate(scenario.severities):
            place = (5 * number + 2 * rank + 3 * turn) % len(fitting)
            when = (number + rank + turn + turn // 4) % len(HOURS_OF_DAY)
            yield Task(number, severity, fitting[place], HOURS_OF_DAY[when])


def run_task(task: Task) -> Result:
    """Run one task in a worker process."""
    scenario, bench = SCENARIOS[task.scenario], BENCHES[task.bench]
    kept = SETTLED[task.bench][task.hour]
    return watched(bench, kept, scenario, task.severity, task.hour)


def settle(number: int) -> tuple[int, dict[int, bytes]]:
    """Settle one bench in a worker process."""
    return number, settled(BENCHES[number])


def main() -> int:
    """Run the campaign; return 1 if a gate does not hold."""
    args = _arguments()
    began = time.monotonic()

    def left_s() -> float:
        return 60 * args.budget - (time.monotonic() - began)

    benches = SLICE_BENCHES if args.slice else tuple(range(len(BENCHES)))
    context = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(args.jobs, context) as pool:
        SETTLED.update(pool.map(settle, benches))
    _say(f"{len(benches)} benches settled", began)
    with ProcessPoolExecutor(args.jobs, context) as pool:
        days = SLICE_DAYS if args.slice else args.healthy_days
        healthy = [pool.submit(season, n, days) for n in range(_seasons(args))]
        results = _rounds(pool, args, benches, left_s)
        seasons = [future.result() for future in healthy]
    _say(f"{len(results)} faults and {len(seasons)} healthy seasons", began)
    print(campaign_tables(results, seasons))
    if args.json:
        _write(args.json, results, seasons)
    found = failures(results, seasons)
    print("\n".join(found) if found else "\nEvery gate holds.")
    return 1 if found else 0


def _seasons(args: argparse.Namespace) -> int:
    if args.hazard:
        return 0
    return 2 if args.slice else len(SEASONS)


def _rounds(
    pool: ProcessPoolExecutor,
    args: argparse.Namespace,
    benches: tuple[int, ...],
    left_s: Callable[[], float],
) -> list[Result]:
    """Run rounds while there is time, at least one, and return all results."""
    results: list[Result] = []
    waiting: set[Future[Result]] = set()
    for number, todo in enumerate(tasks(benches, args.seed)):
        if (number and left_s() < 0) or number == args.rounds:
            break
        for task in todo:
            if args.hazard and SCENARIOS[task.scenario].name not in args.hazard:
                continue
            if number and left_s() < 0:
                break
            waiting.add(pool.submit(run_task, task))
            while len(waiting) > 2 * args.jobs:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                results += [future.result() for future in done]
    results += [future.result() for future in waiting]
    return results


def _arguments() -> argparse.Namespace:
    names = [scenario.name for scenario in SCENARIOS]
    parser = argparse.ArgumentParser(
        prog="./dev faults",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--budget", type=float, default=36, metavar="MINUTES", help="(default: 36)"
    )
    parser.add_argument(
        "--slice", action="store_true", help="some two minutes, alike on any machine"
    )
    parser.add_argument("--seed", type=int, default=0, help="the round to begin with")
    parser.add_argument("--jobs", type=int, default=2, help="processes (default: 2)")
    parser.add_argument("--rounds", type=int, help="no more than so many")
    parser.add_argument(
        "--healthy-days", type=float, default=HEALTHY_DAYS, help="of each season"
    )
    parser.add_argument(
        "--hazard",
        action="append",
        choices=names,
        metavar="SCENARIO",
        help="only this one, without healthy seasons; may be said again: "
        + ", ".join(names),
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every run")
    args = parser.parse_args()
    if args.slice and args.rounds is None:
        args.rounds = SLICE_ROUNDS
    return args


def _say(what: str, began: float) -> None:
    print(f"{(time.monotonic() - began) / 60:5.1f} min: {what}", flush=True)


def _write(path: Path, results: list[Result], seasons: list[Season]) -> None:
    runs = [vars(result) for result in results]
    healthy = [vars(one) for one in seasons]
    text = json.dumps({"runs": runs, "healthy": healthy}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
