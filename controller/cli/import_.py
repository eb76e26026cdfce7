"""`bottomheat import F.csv LOG`: another recorder's readings, into a season log."""

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import cast

from controller.adapters.exchange import (
    ExchangeError,
    Fold,
    Layout,
    reader_of_times,
    rows_in,
)
from controller.adapters.season_log import LogLock, SeasonLogReader
from controller.adapters.season_log.whole_run import write_run
from controller.adapters.settings.quantities import duration
from controller.cli.import_report import (
    ProbeReport,
    Report,
    as_json,
    in_words,
)
from controller.cli.import_sifting import (
    Asked,
    Known,
    Work,
    collect,
    interval_ms_of,
    sift,
)
from controller.cli.imported_run import (
    Sample,
    Target,
    ending_of,
    header_for,
    plan_for,
    scans_of,
    target_of,
)
from controller.ports import RunHeader
from controller.review.other_recorders import (
    Found,
    Unit,
    gaps,
)


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "import",
        help="take another recorder's CSV file into a season log",
        description=(
            "Takes temperatures that another recorder wrote as CSV into a season log,"
            " as a run of its own in which nothing was controlled. It tells what was"
            " taken, what was refused, where and why; all that is taken is written at"
            " once or not at all, and what the log has already is not taken twice."
            " Exit 0: done; 1: something but empty cells was refused; 2: not done."
        ),
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="the CSV file")
    parser.add_argument(
        "log", metavar="LOG", type=Path, help="the season log; may be a new file"
    )
    parser.add_argument(
        "--column",
        metavar="NAME=PROBE",
        action="append",
        required=True,
        help=(
            "a column with temperatures and the probe that it becomes; a tray's name"
            " stands for its probe, TRAY/PROBE for both, room/PROBE for the room; may"
            " be repeated"
        ),
    )
    parser.add_argument(
        "--time-column",
        metavar="NAME",
        action="append",
        required=True,
        help="the column with the time; given twice, date and time of day",
    )
    parser.add_argument(
        "--time-format",
        metavar="PATTERN",
        default="iso",
        help=(
            "iso (the default), unix, unix-ms, or a pattern such as '%%d.%%m.%%Y"
            " %%H:%%M' with the directives of C's strptime"
        ),
    )
    parser.add_argument(
        "--timezone",
        metavar="ZONE",
        help="of times that bring no offset (the log's own, if it has a run)",
    )
    parser.add_argument(
        "--fold",
        choices=("earlier", "later"),
        help=(
            "which one is meant by a local time that comes twice, or never, as clocks"
            " change; without it such times are refused"
        ),
    )
    parser.add_argument(
        "--unit", choices=("°C", "°F", "K"), required=True, help="of temperatures"
    )
    parser.add_argument(
        "--delimiter", default=",", help="between cells (default: %(default)s); tab"
    )
    parser.add_argument(
        "--decimal", choices=(".", ","), default=".", help="the decimal mark"
    )
    parser.add_argument(
        "--encoding", default="utf-8", help="of the file (default: %(default)s)"
    )
    parser.add_argument(
        "--every",
        metavar="TIME",
        help="usual interval, such as '10 min' (the file's median)",
    )
    parser.add_argument(
        "--dry-run", action="store_true", help="write nothing: only tell"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    headers = _headers(args.log, dry=args.dry_run)
    asked = _asked(args, headers)
    work = Work(asked, Known(args.log if headers else None))
    collect(rows_in(args.file, asked.layout), work)
    sift(work)
    name = _written(args, work, headers)
    report = Report(
        file=str(args.file),
        log=str(args.log),
        run=name,
        dry=args.dry_run,
        counts=work.counts,
        probes=[_probe_report(work, n) for n in range(len(asked.targets))],
    )
    if args.json:
        print(json.dumps(as_json(report), ensure_ascii=False, indent=2))
    else:
        print("\n".join(in_words(report)))
    return 1 if work.counts.findings else 0


# -------------------------------------------------------------- what is asked for


def _headers(log: Path, *, dry: bool) -> Sequence[RunHeader]:
    """Return the runs that the log has, once it is known that it may be written."""
    if not log.exists():
        # A lock is taken when it is written: none is left where nothing is.
        if not log.parent.is_dir():
            raise ExchangeError(
                f"{log}: the folder {log.parent} does not exist; make it first"
            )
        return ()
    headers = SeasonLogReader(log).runs()
    if not dry:
        LogLock(log).release()
    return headers


def _asked(args: argparse.Namespace, headers: Sequence[RunHeader]) -> Asked:
    targets = [target_of(said, headers) for said in args.column]
    _check_once([target.probe for target in targets])
    timezone = args.timezone or (headers[-1].timezone if headers else "")
    if not timezone:
        raise ExchangeError(
            "--timezone is needed for a new log: write the zone of the recorder's"
            " clock, such as Europe/Paris, or UTC"
        )
    delimiter = "\t" if args.delimiter in {"tab", "\\t"} else args.delimiter
    if len(delimiter) != 1 or delimiter in '\r\n"':
        raise ExchangeError(f"--delimiter {args.delimiter!r}: write one mark, or tab")
    return Asked(
        targets=targets,
        layout=Layout(
            times=[name.strip() for name in args.time_column],
            values=[target.column for target in targets],
            delimiter=delimiter,
            encoding=args.encoding,
        ),
        time=reader_of_times(
            args.time_format, timezone, cast("Fold | None", args.fold)
        ),
        unit=cast("Unit", args.unit),
        decimal=args.decimal,
        every_ms=_every_ms(args.every),
        timezone=headers[-1].timezone if headers else timezone,
    )


def _check_once(probes: Sequence[str]) -> None:
    for probe in probes:
        if probes.count(probe) > 1:
            raise ExchangeError(
                f"--column: {probes.count(probe)} columns would become probe {probe};"
                " write TRAY/PROBE to tell them apart"
            )


def _every_ms(said: str | None) -> int | None:
    if said is None:
        return None
    try:
        every_ms = duration(said).milli
    except ValueError as error:
        raise ExchangeError(f"--every {said!r}: {error}") from None
    if every_ms <= 0:
        raise ExchangeError(f"--every {said!r}: must be longer than nothing")
    return every_ms


# ------------------------------------------------------------------ into the log


def _written(args: argparse.Namespace, work: Work, headers: Sequence[RunHeader]) -> str:
    """Write the run; return its identity, or "" where there is none to write."""
    kept, targets = work.kept, work.asked.targets
    if not kept:
        return ""
    numbers = sorted(set(kept.probes))
    every_ms = {targets[n].probe: interval_ms_of(work, n) for n in numbers}
    plan = plan_for([targets[n] for n in numbers], every_ms, headers, args.log.stem)
    note = f"imported from {args.file.name}: {len(kept):,} readings"
    first_ms, last_ms = kept.utc_ms[0], kept.utc_ms[-1]
    header = header_for(plan, first_ms, headers, work.asked.timezone, note)
    if args.dry_run:
        return ""
    scans = scans_of(header, _samples(kept, targets))
    write_run(args.log, header, scans, ending_of(header, last_ms))
    return header.run


def _samples(kept: Found, targets: Sequence[Target]) -> Iterator[Sample]:
    cells = zip(kept.utc_ms, kept.probes, kept.milli, strict=True)
    for utc_ms, number, milli in cells:
        yield Sample(utc_ms, targets[number].probe, milli)


def _probe_report(work: Work, number: int) -> ProbeReport:
    target = work.asked.targets[number]
    times: Sequence[int] = work.times.get(number, ())
    every_ms = interval_ms_of(work, number)
    return ProbeReport(
        column=target.column,
        probe=target.probe,
        tray=target.tray,
        known=target.known,
        taken=work.kept.probes.count(number),
        first_ms=times[0] if times else None,
        last_ms=times[-1] if times else None,
        every_ms=every_ms,
        gaps=gaps(times, every_ms),
    )
