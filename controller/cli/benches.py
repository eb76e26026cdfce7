"""`bottomheat benches`: many daemons at a glance, or on a page, by their APIs."""

import argparse
import asyncio
import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from controller.cli.bench_glance import ALARM, Glance
from controller.cli.bench_list import Asked, ListError, asked_for
from controller.cli.output import table

AT_ONCE, WITHIN_S, STALE_S, EVERY_S = 16, 5.0, 60.0, 10.0


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "benches",
        help="many benches at a glance, what needs somebody first",
        description=(
            "Asks the APIs of many benches, some at a time, and shows a line for each:"
            " what needs somebody first. One that does not answer, or whose last scan"
            " is old, is marked. Exit 0: all well; 1: somebody is needed somewhere; 2:"
            " usage. With --serve it goes on looking and serves a page, which only"
            " looks, on this machine's port 8100."
        ),
        epilog=(
            "A list is a TOML file: for each bench [[bench]] with url, and name,"
            " page (where people reach its page) and token_file if it has them; for"
            " --serve it may have [api], as a bench's configuration has it. A token"
            " is sent to the bench of its own file only; that of the environment to"
            " none. Where other machines reach the page it asks for tokens of its own:"
            " bottomheat token add NAME --may read --list FILE."
        ),
    )
    parser.add_argument("urls", metavar="URL", nargs="*", help="addresses of APIs")
    parser.add_argument("--list", type=Path, metavar="FILE", help="a TOML list")
    parser.add_argument("--serve", action="store_true", help="serve a page")
    _add_numbers(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")


def _add_numbers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--at-once",
        type=int,
        default=AT_ONCE,
        metavar="N",
        help="so many are asked at a time (default: %(default)s)",
    )
    parser.add_argument(
        "--within",
        type=float,
        default=WITHIN_S,
        metavar="SECONDS",
        help="waited for each answer (default: %(default)s)",
    )
    parser.add_argument(
        "--stale",
        type=float,
        default=STALE_S,
        metavar="SECONDS",
        help="a last scan older than this is stale (default: %(default)s)",
    )
    parser.add_argument(
        "--every",
        type=float,
        default=EVERY_S,
        metavar="SECONDS",
        help="with --serve: how often each is asked (default: %(default)s)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status.

    Raises:
        AccessError: The page may not be served there without tokens.
        SettingsError: [api] of the list is wrong.
    """
    try:
        _check(args)
        benches, api = asked_for(args.urls, args.list)
    except ListError as error:
        print(f"bottomheat benches: {error}", file=sys.stderr)
        return 2
    if args.serve:
        from controller.cli.benches_page import served

        return served(args, benches, api)
    found = asyncio.run(seen(benches, args.at_once, args.within, args.stale))
    found.sort(key=lambda one: one.order)
    if args.json:
        rows = [one.record() for one in found]
        print(json.dumps({"benches": rows}, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(found)))
    return 1 if any(one.needed for one in found) else 0


async def seen(
    benches: Sequence[Asked], at_once: int, within_s: float, stale_s: float
) -> list[Glance]:
    """Return a glance at each bench, in the order in which they were given.

    Args:
        benches: The benches.
        at_once: How many are asked at a time.
        within_s: How long each may take to answer [s].
        stale_s: From which age on a last scan is stale [s].
    """
    from controller.adapters.clocks import SystemClock
    from controller.cli.benches_watch import Watch

    watch = Watch(
        benches,
        SystemClock("UTC"),
        at_once=at_once,
        within_s=within_s,
        stale_s=stale_s,
        every_s=EVERY_S,
    )
    await watch.look()
    return [seen.glance for seen in watch.seen()]


def _check(args: argparse.Namespace) -> None:
    if not 1 <= args.at_once <= 256:  # noqa: PLR2004
        raise ListError(f"--at-once {args.at_once}: from 1 to 256")
    if not 0 < args.within <= 60 or not args.stale > 0:  # noqa: PLR2004
        raise ListError("--within: above 0, to 60 s; --stale: above 0")
    if not 1 <= args.every <= 3600:  # noqa: PLR2004
        raise ListError(f"--every {args.every:g}: from 1 to 3600 s")
    if args.serve and args.json:
        raise ListError("--serve and --json: one of them; the page has /v1/benches")


# ------------------------------------------------------------------------- words


def _in_words(found: Sequence[Glance]) -> Iterator[str]:
    needed = sum(one.needed for one in found)
    count = "1 bench" if len(found) == 1 else f"{len(found)} benches"
    yield f"{count}; somebody is needed at {needed}."
    yield ""
    head = ("BENCH", "STATE", "COLDEST", "WARMEST", "HEATING", "WHAT")
    rows = [
        (
            one.name,
            one.state.upper() if one.rank > ALARM else one.state,
            _degrees(min(one.temps_c, default=None)),
            _degrees(max(one.temps_c, default=None)),
            f"{one.heating} of {one.mats}",
            one.what,
        )
        for one in found
    ]
    yield from table(head, rows).splitlines()


def _degrees(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f} °C"
