"""Ill-treat season logs: damage them, kill their writers, fill their disks.

`./dev log-faults` asks damaged logs all they can be asked, and starts and writes
on them; kills writing processes at random points; and fills a small file system
while a log is written on it. What is printed of a case is made again by the same
seed and number.
"""

import argparse
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # it is started as a script

from tests.campaigns.logs import damaging

PARTS = ("damage", "kill", "full")


def main(words: Sequence[str] | None = None) -> int:
    """Run the campaign; return 1 if a gate does not hold."""
    args = _parser().parse_args(words)
    broken: list[str] = []
    for part in args.only or PARTS:
        began_s = time.monotonic()
        print(f"== {part}, seed {args.seed}", flush=True)
        broken += _RUN[part](args)
        print(f"{time.monotonic() - began_s:.0f} s", flush=True)
    for words in broken:
        print(f"FAILED: {words}")
    print(f"{len(broken)} gates do not hold" if broken else "every gate holds")
    return 1 if broken else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="./dev log-faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="(default: 1)")
    parser.add_argument(
        "--only", action="append", choices=PARTS, help="only this; repeatable"
    )
    parser.add_argument(
        "--damaged", type=int, default=200, help="logs to damage (default: 200)"
    )
    parser.add_argument(
        "--jobs",
        type=int,
        default=os.cpu_count() or 1,
        help="processes that look at damaged logs (default: one for each core)",
    )
    parser.add_argument(
        "--first", type=int, default=0, help="number of the first damaged log"
    )
    return parser


def _damage(args: argparse.Namespace) -> list[str]:
    found = list(damaging.cases(args.seed, args.damaged, args.jobs, first=args.first))
    print(damaging.table(found))
    return damaging.failures(found)


_RUN = {"damage": _damage}

if __name__ == "__main__":
    sys.exit(main())
