"""`bottomheat fit LOG`: a thermal model of each root zone, from a season log."""

import argparse
import sys
from collections.abc import Sequence
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from controller.adapters.exchange import ExchangeError
from controller.adapters.season_log import SeasonLogReader
from controller.cli.extras import how_to_get, one_thread
from controller.cli.log_words import A_TIME, scans_with_progress, utc_ms_said
from controller.ports import RunHeader
from controller.review.mat_history import MatHistory, mat_histories, mats_of
from controller.review.recounted import Span

if TYPE_CHECKING:
    from sim.fitting.fitted import FittedMat
    from sim.fitting.record import Record

NEEDS = ("numpy", "scipy")


class _NoUseError(Exception):
    """What was asked for makes no sense with this log; the message says why."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "fit",
        help="find a thermal model of each root zone in a season log",
        description=(
            "Finds out from a season log how much a mat warms each of its trays, how"
            " fast, and how warm they are without it, each with its error. Says so"
            " where the log cannot tell. Nothing is sent to the bench. Exit 0: done;"
            " 1: something cannot be told; 2: it cannot be done."
        ),
        epilog=(
            "A model holds for one state of the bench: watering, covers and other"
            " media change it. Name waterings with --watered; large ones are found."
            " One night with the setpoint 3 K lower tells more than a week of steady"
            " warmth."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument("--mat", metavar="MAT", help="only this one")
    parser.add_argument("--from", dest="first", metavar="TIME", help=f"{A_TIME}")
    parser.add_argument("--to", dest="last", metavar="TIME", help="not part of it")
    parser.add_argument(
        "--watered",
        action="append",
        default=[],
        metavar="TIME",
        help="it was watered then: the model begins anew; may be repeated",
    )
    parser.add_argument(
        "--out", metavar="FILE", type=Path, help="write the models to a new JSON file"
    )
    parser.add_argument(
        "--plan",
        action="store_true",
        help="instead, what to do tonight so that the log tells more",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    one_thread()
    try:
        _refuse(args)
        headers, records = _records(args)
    except (_NoUseError, ExchangeError) as error:
        print(f"bottomheat fit: {error}", file=sys.stderr)
        return 2
    fits = _fits(records)
    if args.plan:
        from controller.cli.evening import tell_evenings

        tell_evenings(headers, records, fits, as_json=args.json)
        return 0
    _tell(args, fits)
    told = not any(zone.whys for fit in fits for zone in fit.zones)
    return 0 if told else 1


def _refuse(args: argparse.Namespace) -> None:
    """Refuse what can be seen to fail before the log is read."""
    missing = [name for name in NEEDS if find_spec(name) is None]
    if missing:
        message = (
            f"fitting needs {' and '.join(missing)}, which the daemon does not;"
            f" install with: {how_to_get('analysis')}"
        )
        raise _NoUseError(message)
    if args.out is not None and args.out.exists():
        message = f"--out {args.out}: is there already; name a new file"
        raise _NoUseError(message)


def _tell(args: argparse.Namespace, fits: "tuple[FittedMat, ...]") -> None:
    from controller.cli.fit_words import in_words
    from sim.fitting.model_file import written

    text = written(args.log.name, fits)
    if args.out is not None:
        with args.out.open("x", encoding="utf-8") as file:
            file.write(text)
    if args.json:
        print(text, end="")
    else:
        print("\n\n".join(block for fit in fits for block in in_words(fit)))


def _fits(records: "Sequence[Record]") -> "tuple[FittedMat, ...]":
    from sim.fitting.fit import fit_mat

    return tuple(fit_mat(record) for record in records)


def _records(
    args: argparse.Namespace,
) -> "tuple[Sequence[RunHeader], list[Record]]":
    """Return the runs of the log, and a record of each mat."""
    from sim.fitting.gridded import record_of

    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    histories = _histories(args, reader, headers)
    zone = headers[-1].timezone
    watered = [utc_ms_said("--watered", text, zone) for text in args.watered]
    try:
        records = [record_of(one, watered_utc_ms=watered) for one in histories]
    except ValueError as error:
        message = f"{args.log}: {error}"
        raise _NoUseError(message) from None
    return headers, records


def _histories(
    args: argparse.Namespace, reader: SeasonLogReader, headers: Sequence[RunHeader]
) -> tuple[MatHistory, ...]:
    """Return what the log tells of the mats that were asked for."""
    known = mats_of(headers)
    if not known:
        message = f"{args.log}: no run of a controller with a mat is in it"
        raise _NoUseError(message)
    if args.mat is not None and args.mat not in known:
        there = ", ".join(known)
        message = f"--mat {args.mat}: the log has no such mat; there are: {there}"
        raise _NoUseError(message)
    span = _span(args, headers[-1].timezone)
    wanted = known if args.mat is None else [args.mat]
    scans = partial(scans_with_progress, reader)
    histories = mat_histories(reader, wanted, span, scans)
    if not histories:
        message = f"{args.log}: nothing was controlled in that time"
        raise _NoUseError(message)
    return histories


def _span(args: argparse.Namespace, timezone: str) -> Span:
    """Return the time that was asked for."""
    first, last = (
        None if text is None else utc_ms_said(option, text, timezone)
        for option, text in (("--from", args.first), ("--to", args.last))
    )
    if first is not None and last is not None and first >= last:
        message = f"--from {args.first}: must lie before --to, here {args.last}"
        raise _NoUseError(message)
    return Span(first, last)
