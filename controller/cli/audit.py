"""`bottomheat audit LOG`: decide every recorded scan again and compare."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.season_log import LogError, SeasonLogReader
from controller.core.decisions import AlarmChange, Answer, Command, Doubt, Numbers
from controller.core.step import DECISIONS_VERSION, step
from controller.ports import RecordedScan
from controller.review.audit import AuditReport, Decided, Difference, audit

SHOWN = 20
"""Differences printed for each run; --json has more of them."""

_PROGRESS_EVERY = 5_000


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "audit",
        help="decide every scan of a season log again and compare",
        description=(
            "Puts every recorded scan of a season log through the controller's"
            " code once more and compares what it decides with what was recorded,"
            " exactly. Exit 0: no difference; 1: differences; 2: the log cannot be"
            " read."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        reports = list(_reports(args.log))
    except LogError as error:
        print(f"bottomheat audit: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(_as_json(args.log, reports), ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(args.log, reports)))
    return 1 if any(report.mismatches for report in reports) else 0


def _reports(log: Path) -> Iterator[AuditReport]:
    reader = SeasonLogReader(log)
    for header in reader.runs():
        scans = reader.scans(header.run)
        if sys.stderr.isatty():
            scans = _with_progress(scans, header.run, reader.last_seq(header.run))
        yield audit(header, scans, step, DECISIONS_VERSION)


def _with_progress(
    scans: Iterable[RecordedScan], name: str, last_seq: int
) -> Iterator[RecordedScan]:
    """Pass scans on, and say on the terminal how far they are."""
    for recorded in scans:
        if recorded.scan.seq % _PROGRESS_EVERY == 0:
            share = recorded.scan.seq / max(1, last_seq)
            print(f"\rrun {name}: {share:4.0%}", end="", file=sys.stderr, flush=True)
        yield recorded
    print("\r\033[K", end="", file=sys.stderr, flush=True)


# --------------------------------------------------------------------- in words


@dataclass(frozen=True, slots=True)
class _Sums:
    """Mismatches, apart by whether the run's decisions are of this version."""

    same: int
    other: int


def _sums(reports: list[AuditReport]) -> _Sums:
    same = sum(report.mismatches for report in reports if report.same_version)
    return _Sums(same, sum(report.mismatches for report in reports) - same)


def _in_words(log: Path, reports: list[AuditReport]) -> Iterator[str]:
    for report in reports:
        yield from _run_in_words(report)
    scans, sums = _scans(reports, imported=False), _sums(reports)
    yield (
        f"{log}: {_count(len(reports), 'run')}, {_count(scans, 'scan')} decided"
        f" again, {_count(sums.same, 'mismatch')}"
    )
    if any(report.imported for report in reports):
        imported = _count(_scans(reports, imported=True), "scan")
        yield f"and {imported} imported, with nothing to decide"
    if any(not report.same_version for report in reports):
        yield (
            f"and {_count(sums.other, 'mismatch')} in runs of other decisions than"
            f" version {DECISIONS_VERSION}, where some are to be expected"
        )


def _scans(reports: list[AuditReport], *, imported: bool) -> int:
    return sum(report.scans for report in reports if report.imported == imported)


def _run_in_words(report: AuditReport) -> Iterator[str]:
    other = (
        ", imported, nothing to decide"
        if report.imported
        else ""
        if report.same_version
        else f", recorded with decisions version {report.decisions_version}"
    )
    yield (
        f"run {report.run}{other}: {_count(report.scans, 'scan')},"
        f" {_count(report.mismatches, 'mismatch')}"
    )
    shown = report.differences[:SHOWN]
    for difference in shown:
        yield f"  {_difference(difference)}"
    if report.mismatches > len(shown):
        yield f"  … and {report.mismatches - len(shown):,} more"


def _count(number: int, noun: str) -> str:
    ending = "" if number == 1 else "es" if noun.endswith("h") else "s"
    return f"{number:,} {noun}{ending}"


def _difference(difference: Difference) -> str:
    place = f"scan {difference.seq}"
    if difference.what == "scan":
        return f"{place} {difference.note}"
    if difference.note:
        return f"{place}, {difference.what}s: {difference.note}"
    return (
        f"{place}, {difference.what}: recorded {_decided(difference.recorded)};"
        f" decided again {_decided(difference.redecided)}"
    )


def _decided(decided: Decided | None) -> str:
    match decided:
        case None:
            return "nothing"
        case Command(mat, energised, cause, numbers):
            on = "on" if energised else "off"
            return f"{mat} {on}, {cause.value}{_numbers(numbers)}"
        case Doubt(probe, at_ms, temp_mc, quality, why):
            value = "no value" if temp_mc is None else f"{temp_mc / 1000} °C"
            return f"{probe} {value} at {at_ms} ms {quality.value}, {why.value}"
        case AlarmChange(kind, subject, turn, numbers):
            return f"{kind.value} {subject} {turn.value}{_numbers(numbers)}"
        case Answer(request_id, accepted, sentence):
            granted = "granted" if accepted else "refused"
            return f"request {request_id} {granted}: {sentence}"


def _numbers(numbers: Numbers) -> str:
    if not numbers:
        return ""
    return " (" + ", ".join(f"{name} {value!r}" for name, value in numbers) + ")"


# ---------------------------------------------------------------------- as JSON


def _as_json(log: Path, reports: list[AuditReport]) -> dict[str, object]:
    sums = _sums(reports)
    return {
        "log": str(log),
        "decisions_version": DECISIONS_VERSION,
        "scans": _scans(reports, imported=False),
        "imported_scans": _scans(reports, imported=True),
        "mismatches": sums.same,
        "mismatches_of_other_versions": sums.other,
        "runs": [_run_as_json(report) for report in reports],
    }


def _run_as_json(report: AuditReport) -> dict[str, object]:
    return {
        "run": report.run,
        "imported": report.imported,
        "decisions_version": report.decisions_version,
        "same_version": report.same_version,
        "scans": report.scans,
        "mismatches": report.mismatches,
        "counts": report.counts,
        "differences": [
            {
                "seq": difference.seq,
                "what": difference.what,
                "in_words": _difference(difference),
            }
            for difference in report.differences
        ],
    }
