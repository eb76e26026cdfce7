"""`bottomheat report`: a season, from its log, as one page that prints well."""

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from controller.adapters.exchange import ExchangeError
from controller.adapters.exchange.whole_file import check_free, whole_file
from controller.adapters.season_log import SeasonLogReader
from controller.adapters.settings import load
from controller.cli.forecast_job import forecast_beside, read_result
from controller.cli.log_words import A_TIME, scans_with_progress, utc_ms_said
from controller.cli.prices import AskedError, price
from controller.core.decisions import AlarmChange
from controller.ports import RunHeader
from controller.review.forecast_scores import issued_from
from controller.review.recounted import Span
from controller.review.report.gather import gathered
from controller.review.report.page import season_page
from controller.review.report.plant_sections import recommendation
from controller.review.report.scale import Degrees
from controller.review.report.sections import Telling
from controller.review.report.story import SeasonStory

_LARGEST_JSON = 16 * 1024 * 1024


class _NoReportError(Exception):
    """It cannot be made; the message says why."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "report",
        help="a season with pictures, as one page that prints well",
        description=(
            "Writes one HTML file that needs nothing else: batches and their outcomes,"
            " mats and trays, heat, gaps, alarms, results by variety. A daemon may"
            " write the log meanwhile. Exit 0: written; 2: not."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path)
    parser.add_argument(
        "--out", "-o", metavar="FILE.html", type=Path, required=True, help="the page"
    )
    parser.add_argument("--from", dest="begin", metavar="TIME", help=A_TIME)
    parser.add_argument("--to", dest="end", metavar="TIME", help="not part of it")
    parser.add_argument(
        "--price", help='of energy, such as "0.30 per kWh" or "0.30 EUR per kWh"'
    )
    parser.add_argument(
        "--config",
        type=Path,
        metavar="FILE",
        help="the bench's configuration: its unit for people",
    )
    parser.add_argument("--unit", choices=("C", "F"), help="instead of --config's")
    parser.add_argument(
        "--tuned",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="what tune --json printed, to stand beside it; may be repeated",
    )
    parser.add_argument("--overwrite", action="store_true")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        story = _written(args)
    except (_NoReportError, AskedError) as error:
        print(f"bottomheat report: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(_as_json(args, story), ensure_ascii=False, indent=2))
    else:
        print(args.out)
    return 0


def _written(args: argparse.Namespace) -> SeasonStory:
    check_free(args.out, overwrite=args.overwrite)
    degrees, more = _degrees(args), [_tuned(path) for path in args.tuned]
    cost = None if args.price is None else price(args.price).of
    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    span = _span(args, headers)
    try:
        story = gathered(
            reader,
            span,
            lambda header: scans_with_progress(reader, header),
            _alarm_words(headers, degrees),
        )
    except ValueError as error:  # nothing to tell, or a clock out of all bounds
        raise _NoReportError(f"{args.log}: {error}") from None
    telling = Telling(story, degrees, cost)
    issued = issued_from(read_result(forecast_beside(args.log)).get("history"))
    text = season_page(telling, args.log.name, more, issued)
    with whole_file(args.out) as building:
        building.write_text(text, encoding="utf-8")
    return story


def _degrees(args: argparse.Namespace) -> Degrees:
    if args.unit is not None:
        return Degrees(f"°{args.unit}")
    if args.config is not None:
        return Degrees(load(args.config, os.environ).display_unit)
    return Degrees()


def _span(args: argparse.Namespace, headers: Sequence[RunHeader]) -> Span:
    zone = headers[-1].timezone if headers else "UTC"
    ends = [
        None if text is None else utc_ms_said(option, text, zone)
        for option, text in (("--from", args.begin), ("--to", args.end))
    ]
    if ends[0] is not None and ends[1] is not None and ends[0] >= ends[1]:
        raise ExchangeError("--to must lie after --from")
    return Span(ends[0], ends[1])


def _alarm_words(
    headers: Sequence[RunHeader], degrees: Degrees
) -> Callable[[AlarmChange], str]:
    from api.sentences import Reader, alarm_sentence

    first = headers[-1] if headers else None
    at = (first.started_run_ms, first.started_utc_ms) if first else (0, 0)

    def words(change: AlarmChange) -> str:
        reader = Reader(degrees.unit, *at)
        return alarm_sentence(change.kind, change.subject, change.numbers, reader)

    return words


def _tuned(path: Path) -> str:
    if path.stat().st_size > _LARGEST_JSON:
        raise _NoReportError(f"{path} is larger than what tune prints")
    try:
        return recommendation(json.loads(path.read_text(encoding="utf-8")))
    except (ValueError, RecursionError) as error:
        raise _NoReportError(f"{path}: {error}") from None


def _as_json(args: argparse.Namespace, story: SeasonStory) -> dict[str, object]:
    return {
        "file": str(args.out),
        "bench": story.bench,
        "scans": story.scans,
        "runs": story.runs,
        "batches": len(story.batches),
        "alarms": len(story.alarms),
        "energy_kwh": {mat.name: round(mat.energy_kwh, 3) for mat in story.mats},
    }
