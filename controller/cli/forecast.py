"""`bottomheat forecast`: by when half of those that will root have rooted."""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path

from controller.cli.asking import Json, add_options, ask, clean
from controller.cli.over_http import AskError


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "forecast",
        help="by when half of those of each batch that will root have rooted",
        description=(
            "Shows what a running bench has last worked out of each open batch: the"
            " date by which half of those that will root (of seed: come up) have,"
            " with windows, how much of it is from your own looks, and how earlier"
            " forecasts did. With --log it is worked out here, from a season log that"
            " a daemon may write meanwhile, and nothing is written. Exit 0: shown; 1:"
            " no batch has a date; 2: it cannot be."
        ),
    )
    parser.add_argument(
        "batch", metavar="BATCH", nargs="?", help="the code of one batch only"
    )
    parser.add_argument(
        "--crops",
        metavar="FILE",
        type=Path,
        help="a crop file of your own, with --log (a daemon has it configured)",
    )
    parser.add_argument(
        "--at",
        metavar="TIME",
        help="as if it were then, with --log; else when the log ends",
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        found = _one(args, _found(args))
    except AskError as error:
        print(f"bottomheat forecast: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(in_words(found)))
    return 0 if any(one.get("half_rooted") for one in batches_in(found)) else 1


def _found(args: argparse.Namespace) -> Json:
    if args.log is None:
        if args.crops is not None or args.at is not None:
            raise AskError("--crops and --at go with --log: a daemon has its own")
        return ask(args, "GET", "/v1/forecast")
    from controller.cli.forecast_job import (
        end_of,
        forecast_beside,
        read_result,
        worked_out,
    )
    from controller.cli.log_bench import zone_of
    from controller.cli.log_words import utc_ms_said

    if args.at is None:
        at_ms = end_of(args.log)
    else:
        at_ms = utc_ms_said("--at", args.at, zone_of(args.log))
    before = read_result(forecast_beside(args.log))
    found = worked_out(args.log, args.crops, at_ms, before)
    return {key: found[key] for key in found if key not in ("history", "newest")}


def batches_in(found: Json) -> list[Json]:
    """Return the batches of a forecast."""
    listed = found.get("batches")
    if not isinstance(listed, list):
        return []
    return [one for one in listed if isinstance(one, dict)]


def _one(args: argparse.Namespace, found: Json) -> Json:
    """Return a forecast of the one batch that was asked for, or of all."""
    if args.batch is None:
        return found
    from controller.records.codes import CodeError, canonical

    try:
        code = canonical(args.batch)
    except CodeError as error:
        raise AskError(f"{args.batch}: {error}") from None
    own = [one for one in batches_in(found) if one.get("code") == code]
    if not own:
        raise AskError(
            f"batch {code}: nothing is foretold of it: it is not open, or new"
        )
    return {**found, "batches": own}


def in_words(found: Json) -> Iterator[str]:
    """Yield a forecast as a person reads it."""
    at = found.get("at")
    yield f"Worked out {_when(at)}." if at else "Not worked out yet."
    yield clean(_sentence(found.get("words")))
    failed = found.get("failed")
    if isinstance(failed, dict):
        why = clean(failed.get("why"))
        yield f"The last attempt failed, {_when(failed.get('at'))}: {why}"
    for one in batches_in(found):
        yield ""
        yield from _batch(one)
    scores = found.get("scores")
    if isinstance(scores, dict):
        yield ""
        yield clean(_sentence(scores.get("words")))


def _batch(one: Json) -> Iterator[str]:
    name = " ".join(clean(one.get(key) or "") for key in ("crop", "cultivar")).strip()
    yield f"{clean(one.get('code'))}  {name}"
    for sentence in str(one.get("words")).split(". "):
        yield f"  {clean(sentence.rstrip('.'))}."
    notes = one.get("notes")
    for note in notes if isinstance(notes, list) else ():
        yield f"  {clean(_sentence(note))}"


def _when(at: object) -> str:
    return f"{clean(at)[:16].replace('T', ' ')} UTC"


def _sentence(text: object) -> str:
    said = str(text or "").rstrip(".")
    return f"{said[:1].upper()}{said[1:]}." if said else ""
