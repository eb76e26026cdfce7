"""`bottomheat degree-hours LOG`: thermal time counted again from a season log."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.adapters.season_log import SeasonLogReader
from controller.adapters.settings.quantities import temperature
from controller.cli.degree_hours_json import as_json
from controller.cli.degree_hours_words import Wanted, in_words
from controller.core.state import State
from controller.core.step import step
from controller.ports import IMPORTED, RunHeader
from controller.review.day_shapes import Cutoff
from controller.review.degree_hours import recount, trays_of
from controller.review.local_days import LocalDays
from controller.review.recounted import Recount, Span, Thresholds


class _NoUseError(Exception):
    """What was asked for makes no sense with this log; the message says why."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "degree-hours",
        help="count thermal time again from a season log",
        description=(
            "Counts each tray's degree-hours again from the readings in a season"
            " log: the exact area between base and upper under the straight lines"
            " from reading to reading. Gaps are told and never bridged, with what"
            " they could have added. Exit 0: done; 1: the live counter says"
            " otherwise; 2: it cannot be done."
        ),
        epilog=(
            "A crop's base belongs to the crop: give it with --base. Books and"
            " advisory services count from a day's highest and lowest; --methods"
            " puts their figures beside the integral."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument(
        "--tray", action="append", metavar="TRAY", help="only this one; may be repeated"
    )
    parser.add_argument(
        "--base",
        metavar="TEMP",
        help='such as "10 °C" or "50 °F"; else the tray\'s own',
    )
    parser.add_argument(
        "--upper",
        metavar="TEMP",
        help='no faster above, such as "30 °C", or "none"; else the tray\'s own',
    )
    parser.add_argument(
        "--from", dest="first", metavar="DATE", help="first day, such as 2027-02-01"
    )
    parser.add_argument("--to", dest="last", metavar="DATE", help="last day")
    parser.add_argument("--daily", action="store_true", help="tell each day")
    parser.add_argument(
        "--methods",
        action="store_true",
        help="beside each day's integral, what daily methods give",
    )
    parser.add_argument(
        "--cutoff",
        choices=[cutoff.value for cutoff in Cutoff],
        default=Cutoff.HORIZONTAL.value,
        help="how daily methods take the upper (the integral: horizontal)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        counted = list(_counted(args))
    except _NoUseError as error:
        print(f"bottomheat degree-hours: {error}", file=sys.stderr)
        return 2
    texts = [text for text in (args.base, args.upper) if text]
    wanted = Wanted(
        days=args.daily or args.methods,
        methods=args.methods,
        cutoff=Cutoff(args.cutoff),
        fahrenheit=any(temp.rstrip().upper().endswith("F") for temp in texts),
    )
    if args.json:
        record = as_json(args.log, counted, wanted)
        print(json.dumps(record, ensure_ascii=False, indent=2))
    else:
        print("\n".join(in_words(counted, wanted)))
    return 1 if any(agrees is False for _, agrees in counted) else 0


def _counted(args: argparse.Namespace) -> Iterator[tuple[Recount, bool | None]]:
    """Yield each tray's recount, and whether the live counter agrees."""
    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    if not headers:
        msg = f"{args.log}: no run of a controller is in it"
        raise _NoUseError(msg)
    newest = _newest(reader, headers)
    span = _span(args, headers[-1].timezone, newest.utc_ms)
    for name in _trays(args, headers):
        thresholds = _thresholds(args, headers, name)
        found = recount(reader, name, thresholds, span)
        live = None
        if thresholds is None and args.first is None and args.last is None:
            live = _agreement(newest.state, found)
        yield found, live


def _trays(args: argparse.Namespace, headers: Sequence[RunHeader]) -> list[str]:
    known = [tray.name for tray in trays_of(headers)]
    for asked in args.tray or ():
        if asked not in known:
            there = ", ".join(known) or "none"
            msg = f"--tray {asked}: the log has no such tray; there are: {there}"
            raise _NoUseError(msg)
    return list(dict.fromkeys(args.tray or known))


# ------------------------------------------------------------------ what is asked


def _thresholds(
    args: argparse.Namespace, headers: Sequence[RunHeader], tray: str
) -> Thresholds | None:
    """Return base and upper as asked for; None: the tray's own."""
    if args.base is None and args.upper is None:
        return None
    own = next(found for found in trays_of(headers) if found.name == tray)
    base_mc: int = own.base_mc if args.base is None else _temp_mc("base", args.base)
    upper_mc: int | None = own.upper_mc
    if args.upper is not None:
        none = args.upper.strip() == "none"
        upper_mc = None if none else _temp_mc("upper", args.upper)
    try:
        return Thresholds(base_mc, upper_mc)
    except ValueError as error:
        msg = f"tray {tray}: {error}"
        raise _NoUseError(msg) from None


def _temp_mc(option: str, text: str) -> int:
    try:
        return temperature(text).milli
    except ValueError as error:
        msg = f"--{option} {text!r}: {error}"
        raise _NoUseError(msg) from None


def _span(args: argparse.Namespace, timezone: str, newest_utc_ms: int) -> Span:
    """Return the days that were asked for, from midnight to midnight."""
    days = LocalDays(timezone)
    first, last = _day("from", args.first), _day("to", args.last)
    if first is not None and last is not None and first > last:
        msg = f"--from {first}: must not lie after --to, here {last}"
        raise _NoUseError(msg)
    return Span(
        None if first is None else days.midnight_ms(first),
        None if last is None else days.midnight_ms(last + timedelta(days=1)),
        newest_utc_ms,
    )


def _day(option: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        found = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=ZoneInfo("UTC"))
    except ValueError:
        msg = f"--{option} {text!r}: must be a day such as 2027-02-01"
        raise _NoUseError(msg) from None
    if not 1970 <= found.year < 9999:  # noqa: PLR2004
        msg = f"--{option} {text!r}: must lie in the years 1970 to 9998"
        raise _NoUseError(msg)
    return found.date()


# --------------------------------------------------------------- the live counter


@dataclass(frozen=True, slots=True)
class _Newest:
    """The end of the log: the state there, and the wall clock [ms]."""

    state: State
    utc_ms: int


def _newest(reader: SeasonLogReader, headers: Sequence[RunHeader]) -> _Newest:
    """Return the end of the log: its last kept state, carried on to there.

    What was imported has none: the controller's newest run is meant, if any.
    """
    header = next((one for one in headers[::-1] if one.origin != IMPORTED), headers[-1])
    last_seq = reader.last_seq(header.run)
    if not last_seq:
        return _Newest(header.state, header.started_utc_ms)
    kept_seq, state = reader.last_state(header.run)
    utc_ms = header.started_utc_ms
    for recorded in reader.scans(header.run, min(kept_seq, last_seq - 1)):
        utc_ms = recorded.scan.utc_ms
        if kept_seq < recorded.scan.seq:
            state, _ = step(header.plan, state, recorded.scan)
    return _Newest(state, utc_ms)


def _agreement(state: State, found: Recount) -> bool | None:
    """Return whether the live counter says the same; None: it cannot be told.

    While a controller writes the log, the recount may know more than the state.
    """
    live = state.accounts.get(found.tray)
    if live is None:
        return None
    if found.account.last_ms is not None and (
        live.last_ms is None or live.last_ms < found.account.last_ms
    ):
        return None
    return live == found.account
