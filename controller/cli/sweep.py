"""`bottomheat sweep FOLDER`: fit and tune every season log of a folder."""

import argparse
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from controller.adapters.fleet import (
    NICE,
    Here,
    JournalError,
    Lost,
    Mapper,
    SchedulerError,
    pool,
)
from controller.cli.extras import ExtraMissingError, have, need

if TYPE_CHECKING:
    from controller.cli.sweep_kept import Keeper
    from controller.cli.sweep_rows import Heated, Row
    from controller.cli.swept import Item, Sweeping

LOCAL = "local"

_MOST_WORKERS = 1_024
_NICEST = 19

_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Sums of many numbers depend, in their last bits, on how many threads share
them; with one the answer is the same on every machine of a kind."""


class _NoUseError(Exception):
    """What was asked for makes no sense; the message says why."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "sweep",
        help="fit and tune the season logs of many benches",
        description=(
            "Fits a thermal model to each mat of each season log (*.db) in a folder"
            " and, if something is wished, looks for the best way of keeping it, as"
            " `fit` and `tune` do for one. The answers are the same whoever works on"
            " them. A log that cannot be used is named, and the others go on. Exit 0:"
            " done; 1: some log or mat tells nothing; 2: it cannot be done."
        ),
        epilog=(
            "Whoever reaches a dask scheduler can run code on its workers: keep it on"
            ' a network of your own, or use "tls://". Its workers need the same'
            " bottomheat, and the logs under the same names."
        ),
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="of season logs")
    parser.add_argument("--mat", metavar="MAT", help="only mats of this name")
    parser.add_argument(
        "--wish", metavar="WISH", help="what the next season shall be, as for tune"
    )
    parser.add_argument("--rooting", metavar="SUM", help="as for tune")
    parser.add_argument(
        "--candidates", metavar="N", type=int, help="how many to try, as for tune"
    )
    parser.add_argument(
        "--seed", metavar="N", type=int, default=1, help="candidates are drawn from (1)"
    )
    parser.add_argument(
        "--workers",
        metavar="N",
        type=int,
        help="processes (one for each core); 0: none but this one",
    )
    parser.add_argument(
        "--nice",
        metavar="N",
        type=int,
        default=NICE,
        help=f"by how much other programs go before these processes ({NICE}); 0: not",
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help='of a dask cluster, such as tcp://127.0.0.1:8786; "local": one of its'
        " own, which listens on this machine only",
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="write each answer to a new file as it comes, a line of JSON each",
    )
    parser.add_argument(
        "--continue",
        dest="resume",
        action="store_true",
        help="go on with --out: what it has is not done again, unless it failed or"
        " its log changed",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    for name in _ONE_THREAD:  # before anything imports numpy
        os.environ.setdefault(name, "1")
    from controller.cli.prices import AskedError
    from sim.tuning.wishes import WishError

    try:
        rows = _swept(args)
    except (
        AskedError,
        ExtraMissingError,
        JournalError,
        SchedulerError,
        WishError,
        _NoUseError,
    ) as error:
        print(f"bottomheat sweep: {error}", file=sys.stderr)
        return 2
    _print(args, rows)
    return 1 if any(row.why for row in rows) else 0


def _swept(args: argparse.Namespace) -> "list[Row]":
    """Return a row for each mat of each log, by the names of logs and mats."""
    sweeping = _asked(args)
    from controller.cli.sweep_kept import Keeper, kept_before, still_so

    logs = sorted(args.folder.glob("*.db"))
    if not logs:
        why = "no *.db is in it" if args.folder.is_dir() else "is no folder"
        raise _NoUseError(f"{args.folder}: {why}; name a folder of season logs")
    kept = kept_before(args.out, resume=args.resume, mat=args.mat, sweeping=sweeping)
    with kept as (journal, before), _mapper(args) as mapper:
        keep = Keeper(journal, len(logs))
        items = list(_items(args, mapper, logs, keep))
        known = {
            (row.log, row.mat): row for row in before if still_so(args.folder, row)
        }
        left = []
        for item in items:
            row = known.get((Path(item.log).name, item.mat))
            if row is None:
                left.append(item)
            else:
                keep.rows.append(row)
        keep.total = len(left)
        mapper.map(sweeping, left, lambda n, row: keep.came(left[n], row))
    return sorted(keep.rows, key=lambda row: (row.log, row.mat))


def _refuse_numbers(args: argparse.Namespace) -> None:
    workers = args.workers or 0
    for right, message in (
        (
            0 <= workers <= _MOST_WORKERS,
            f"--workers {workers}: from 0 to {_MOST_WORKERS:,}",
        ),
        (args.seed >= 0, f"--seed {args.seed}: 0 or more"),
        (0 <= args.nice <= _NICEST, f"--nice {args.nice}: from 0 to {_NICEST}"),
    ):
        if not right:
            raise _NoUseError(message)


def _asked(args: argparse.Namespace) -> "Sweeping":
    """Return what is asked of every log, having refused what cannot be done."""
    need("replay", "a thermal model", "numpy", "scipy")
    if args.scheduler is not None:
        need("fleet", "--scheduler", "distributed")
    from controller.cli import asked
    from controller.cli.swept import Sweeping
    from controller.cli.tune import CANDIDATES, MOST_CANDIDATES, WITHOUT_NUMBA
    from sim.tuning.wishes import ROOTING_ASK, WishError, read_wish

    wish = None if args.wish is None else read_wish(args.wish)
    rooting = None if args.rooting is None else asked.rooting(args.rooting)
    if wish is not None and wish.needs_rooting and rooting is None:
        raise WishError(ROOTING_ASK)
    if args.resume and args.out is None:
        raise _NoUseError("--continue needs --out, the file to go on with")
    _refuse_numbers(args)
    count = args.candidates
    if count is None:
        count = CANDIDATES if have("numba") else WITHOUT_NUMBA
    if not 1 <= count <= MOST_CANDIDATES:
        raise _NoUseError(f"--candidates {count}: from 1 to {MOST_CANDIDATES:,}")
    return Sweeping(args.wish, args.rooting, count, args.seed)


@contextmanager
def _mapper(args: argparse.Namespace) -> Iterator[Mapper]:
    """Keep who does the work."""
    if args.scheduler is None:
        own = pool(args.workers, nice=args.nice)
        with nullcontext(Here()) if args.workers == 0 else own as made:
            yield made
        return
    from controller.adapters.fleet.on_dask import cluster, scheduler

    if args.scheduler != LOCAL:
        with scheduler(args.scheduler) as made:
            yield made
        return
    count = args.workers or len(os.sched_getaffinity(0))
    with cluster(count, nice=args.nice) as made:
        yield made


def _items(
    args: argparse.Namespace, mapper: Mapper, logs: Sequence[Path], keep: "Keeper"
) -> "Iterator[Item]":
    """Yield every mat of every log; a log that cannot be read is told of."""
    from controller.cli.sweep_rows import untold
    from controller.cli.swept import Item, heated

    names = [str(log) for log in logs]
    if args.mat is not None:
        yield from (Item(name, args.mat) for name in names)
        return
    found: list[Heated | Lost] = mapper.map(heated, names)
    for log, one in zip(logs, found, strict=True):
        if isinstance(one, Lost) or one.why:
            keep.keep(untold(log, "", one.why))
        else:
            yield from (Item(str(log), mat) for mat in one.mats)


def _print(args: argparse.Namespace, rows: "list[Row]") -> None:
    from controller.cli.sweep_words import in_words

    if args.json:
        told = {
            "wish": args.wish,
            "rows": [row.model_dump(mode="json") for row in rows],
        }
        print(json.dumps(told, ensure_ascii=False, indent=2))
        return
    print("\n".join(in_words(rows, wish=args.wish)))
    for row in rows:
        if row.why:
            name = f"{row.log}, mat {row.mat}" if row.mat else row.log
            print(f"bottomheat sweep: {name}: {row.why}", file=sys.stderr)
