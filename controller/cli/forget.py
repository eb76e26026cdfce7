"""`bottomheat forget LOG --before DATE`: old runs go, after saying what goes."""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.exchange import ExchangeError
from controller.adapters.exchange.about import utc_text
from controller.adapters.season_log import (
    LogLock,
    SeasonLogReader,
    TripFile,
    trips_beside,
)
from controller.adapters.season_log.forgetting import Forgotten, forget_runs
from controller.cli.log_words import A_TIME, scans_with_progress, utc_ms_said
from controller.core.plan import all_trays
from controller.core.scan import Scan
from controller.core.state import State
from controller.core.units import DAY_MS
from controller.ports import RunHeader
from controller.records.book import Book, fold
from controller.review.retention import (
    Choice,
    Missed,
    Need,
    Span,
    batches_need,
    choose,
    counters_need,
    missed,
)

_WARNING = """\
The daemon deletes nothing, ever: this command alone does, and only with --yes.
Only whole runs go, so that what stays can still be audited; a run that began
before that day and ended after it stays. What people saw and did (batches, looks,
events) stays always. Make a backup first."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "forget",
        help="delete old runs of a season log, after saying what goes",
        description=(
            "Says which runs of a season log ended before a day, what is in them and"
            " what still needs them; with --yes it deletes them and gives their room"
            " back to the disk. Exit 0: done, or nothing stands against it; 1:"
            " something still needs them, and nothing was deleted; 2: not done."
        ),
        epilog=_WARNING,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument(
        "--before", metavar="TIME", required=True, help=f"a local day: {A_TIME}"
    )
    parser.add_argument(
        "--keep",
        metavar="[TRAY=]TIME",
        action="append",
        default=[],
        help="readings that you need: of a tray, or all, from then on",
    )
    parser.add_argument("--yes", action="store_true", help="delete them")
    parser.add_argument(
        "--even-if-needed",
        action="store_true",
        help="with --yes: also what is still needed",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Outlook:
    """What would go, and what came of it.

    Attributes:
        choice: Which runs go and stay.
        readings: In those that go, by tray; "" is what is in no tray.
        misses: What would miss them.
        share: Share of the log's scans that goes.
    """

    choice: Choice
    readings: Counter[str]
    misses: list[Missed]
    share: float


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    if not args.yes:
        return _told(args, _outlook(args), None)
    SeasonLogReader(args.log)  # before a lock file is made beside what is no log
    lock = LogLock(args.log)
    try:
        outlook = _outlook(args)
        refused = outlook.misses and not args.even_if_needed
        if refused or not outlook.choice.go:
            return _told(args, outlook, None)
        runs = [span.header.run for span in outlook.choice.go]
        return _told(args, outlook, forget_runs(args.log, runs))
    finally:
        lock.release()


# ------------------------------------------------------------------ what would go


def _outlook(args: argparse.Namespace) -> _Outlook:
    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    if not headers:
        raise ExchangeError(f"{args.log} has no run: there is nothing to forget")
    timezone = headers[-1].timezone
    before_ms = utc_ms_said("--before", args.before, timezone)
    kept = [_kept(said, headers, timezone) for said in args.keep]
    spans = [_span(reader, header) for header in headers]
    choice = choose(spans, before_ms, _tripped(args.log, reader, headers))
    readings: Counter[str] = Counter()
    for span in choice.go:
        readings += _readings(reader, span.header)
    scans = sum(span.scans for span in spans)
    share = sum(span.scans for span in choice.go) / max(1, scans)
    book = fold(Book(), reader.changes())
    needs = [*counters_need(headers), *batches_need(book), *kept]
    return _Outlook(choice, readings, missed(needs, choice.go), share)


def _kept(said: str, headers: Sequence[RunHeader], timezone: str) -> Need:
    """Return the need that a grower wrote with --keep."""
    tray, _, time = said.rpartition("=")
    known = {tray.name for one in headers for tray in all_trays(one.plan)}
    if tray and tray not in known:
        raise ExchangeError(
            f"--keep {said}: the log has no tray {tray}; it has"
            f" {', '.join(sorted(known))}"
        )
    from_ms = utc_ms_said("--keep", time, timezone)
    return Need(f"you, with --keep {said}", tray, from_ms)


def _span(reader: SeasonLogReader, header: RunHeader) -> Span:
    first = _scan_after(reader, header, 0)
    last_seq = reader.last_seq(header.run)
    last = _scan_after(reader, header, last_seq - 1)
    if first is None or last is None:
        began_ms = header.started_utc_ms
        return Span(header, began_ms, began_ms, 0, clock_ok=True)
    return Span(
        header,
        min(first.utc_ms, last.utc_ms),
        max(first.utc_ms, last.utc_ms),
        last_seq,
        clock_ok=first.clock_ok and last.clock_ok,
    )


def _scan_after(
    reader: SeasonLogReader, header: RunHeader, after_seq: int
) -> Scan | None:
    found = next(reader.scans(header.run, after_seq), None)
    return None if found is None else found.scan


def _tripped(
    log: Path, reader: SeasonLogReader, headers: Sequence[RunHeader]
) -> list[int]:
    """Return when mats tripped that are locked off now, as log and side file say."""
    try:
        trips = list(TripFile(trips_beside(log)).load().values())
    except ValueError as error:
        raise ExchangeError(str(error)) from error
    live = [header for header in headers if header.origin == "live"]
    if live:
        state: State = reader.last_state(live[-1].run)[1]
        trips += [mat.trip for mat in state.mats.values() if mat.trip]
    return [trip.utc_ms for trip in trips]


def _readings(reader: SeasonLogReader, header: RunHeader) -> Counter[str]:
    where = {
        probe.name: tray.name
        for tray in all_trays(header.plan)
        for probe in tray.probes
    }
    counts: Counter[str] = Counter()
    for recorded in scans_with_progress(reader, header):
        for reading in recorded.scan.readings:
            counts[where.get(reading.probe, "")] += 1
    return counts


# ------------------------------------------------------------------- what is told


def _told(args: argparse.Namespace, outlook: _Outlook, done: Forgotten | None) -> int:
    """Tell what goes, or went, and return the exit status."""
    stopped = bool(outlook.misses) and done is None and not args.even_if_needed
    if args.json:
        told = _as_json(args.log, outlook, done)
        print(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(args, outlook, done)))
    if stopped and args.yes:
        print(
            "bottomheat forget: nothing was deleted: it is still needed; say"
            " --even-if-needed to delete it all the same",
            file=sys.stderr,
        )
    return 1 if stopped else 0


def _in_words(
    args: argparse.Namespace, outlook: _Outlook, done: Forgotten | None
) -> Iterator[str]:
    for stays in outlook.choice.stay:
        yield f"run {stays.span.header.run} stays: {stays.why}"
    for span in outlook.choice.go:
        yield (
            f"run {span.header.run} ({span.header.origin}), {_days(span):.1f} days from"
            f" {utc_text(span.first_utc_ms)} to {utc_text(span.last_utc_ms)}:"
            f" {span.scans:,} scans"
        )
    for tray, count in sorted(outlook.readings.items()):
        place = f"of tray {tray}" if tray else "of surfaces, room and witnesses"
        yield f"  {count:,} readings {place}"
    for miss in outlook.misses:
        since = utc_text(miss.need.from_utc_ms)
        yield f"still needed by {miss.need.what}: run {miss.run} and since {since}"
    yield from _sum_in_words(args, outlook, done)


def _sum_in_words(
    args: argparse.Namespace, outlook: _Outlook, done: Forgotten | None
) -> Iterator[str]:
    count = len(outlook.choice.go)
    runs = "1 run" if count == 1 else f"{count} runs"
    if not count:
        yield f"{args.log}: no run that may go ended before {args.before}"
    elif done is None:
        about = args.log.stat().st_size * outlook.share / 1e6
        yield f"{args.log}: {runs}, about {about:.1f} MB, would go; nothing was deleted"
        if not args.yes:
            yield "make a backup (bottomheat backup), then say --yes to delete them"
    else:
        yield (
            f"{args.log}: {runs} deleted; {done.before / 1e6:.2f} MB before,"
            f" {done.after / 1e6:.2f} MB now"
        )
        if done.why_not:
            yield f"the file was not made smaller: {done.why_not}"


def _days(span: Span) -> float:
    return (span.last_utc_ms - span.first_utc_ms) / DAY_MS


def _as_json(log: Path, outlook: _Outlook, done: Forgotten | None) -> dict[str, object]:
    return {
        "log": str(log),
        "deleted": done is not None,
        "bytes_before": done.before if done else log.stat().st_size,
        "bytes_after": done.after if done else None,
        "not_made_smaller": (done.why_not or None) if done else None,
        "share_of_scans": outlook.share,
        "runs": [_span_as_json(span) for span in outlook.choice.go],
        "stay": [
            {**_span_as_json(stays.span), "why": stays.why}
            for stays in outlook.choice.stay
        ],
        "readings_by_tray": dict(outlook.readings),
        "needed": [
            {
                "what": miss.need.what,
                "tray": miss.need.tray or None,
                "from_utc": utc_text(miss.need.from_utc_ms),
                "run": miss.run,
            }
            for miss in outlook.misses
        ],
    }


def _span_as_json(span: Span) -> dict[str, object]:
    return {
        "run": span.header.run,
        "origin": span.header.origin,
        "from_utc": utc_text(span.first_utc_ms),
        "to_utc": utc_text(span.last_utc_ms),
        "scans": span.scans,
    }
