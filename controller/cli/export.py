"""`bottomheat export LOG -o FILE`: readings or switchings for other programs."""

import argparse
import json
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Protocol

from controller.adapters.exchange import (
    COMMANDS,
    READINGS,
    Chosen,
    ExchangeError,
    Row,
    Source,
    Table,
    pieces,
    rows_of,
    write_csv,
    write_parquet,
)
from controller.adapters.season_log import SeasonLogReader
from controller.cli.beginning import versions
from controller.cli.log_words import A_TIME, scans_with_progress, utc_ms_said
from controller.core.plan import all_probes, all_trays
from controller.ports import RunHeader

_NEVER = 2**62


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "export",
        help="write a season log's readings to CSV or Parquet",
        description=(
            "Writes the readings of a season log for other programs, one row each:"
            " CSV (RFC 4180, with a description after W3C CSV on the Web beside it)"
            " or, with pyarrow installed, Parquet. The log may be in use meanwhile."
        ),
        epilog=_columns(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument(
        "-o",
        "--out",
        metavar="FILE",
        type=Path,
        required=True,
        help="the file, whose name ends in .csv or .parquet",
    )
    parser.add_argument(
        "--commands", action="store_true", help="write switchings, not readings"
    )
    parser.add_argument(
        "--probe", action="append", default=[], help="only this probe; may be repeated"
    )
    parser.add_argument(
        "--tray", action="append", default=[], help="only this tray; may be repeated"
    )
    parser.add_argument(
        "--from", dest="from_", metavar="TIME", help=f"from then on: {A_TIME}"
    )
    parser.add_argument("--to", metavar="TIME", help="up to, and without, then")
    parser.add_argument(
        "--untaken",
        action="store_true",
        help="with readings that the controller did not take, and why it did not",
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="replace a file that is there"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def _columns() -> str:
    """Return what each column means."""
    lines = ["Columns of readings; with --commands, of switchings:"]
    for table in (READINGS, COMMANDS):
        lines += ["", f"  {table.name}"]
        for column in table.columns:
            unit = f" [{column.unit}]" if column.unit else ""
            lines += textwrap.wrap(
                f"{column.name:13}  {column.about}{unit}",
                80,
                initial_indent=" " * 4,
                subsequent_indent=" " * 19,
            )
    return "\n".join(lines)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    write = _writer(args)
    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    table = COMMANDS if args.commands else READINGS
    chosen = _chosen(args, headers)
    rows = _rows(reader, headers, table, chosen)
    source = Source(table, headers, rows, versions()["bottomheat"])
    count = write(args.out, source, overwrite=args.overwrite)
    size = args.out.stat().st_size
    if args.json:
        told = {"file": str(args.out), "table": table.name, "rows": count}
        print(json.dumps({**told, "bytes": size}, ensure_ascii=False, indent=2))
    else:
        print(f"{args.out}: {count:,} {table.name}, {size / 1e6:.1f} MB")
    return 0


class _Write(Protocol):
    """How a table is written; returns the number of rows."""

    def __call__(self, path: Path, source: Source, *, overwrite: bool) -> int:
        """Write it."""
        ...


def _writer(args: argparse.Namespace) -> _Write:
    """Return what writes the file that was asked for."""
    if args.commands and (args.probe or args.tray or args.untaken):
        raise ExchangeError(
            "--commands writes switchings of mats: leave out --probe, --tray and"
            " --untaken"
        )
    if args.out.suffix.lower() == ".csv":
        return write_csv
    if args.out.suffix.lower() == ".parquet":
        return write_parquet
    raise ExchangeError(
        f"-o {args.out}: the name tells the format, and must end in .csv or .parquet"
    )


def _chosen(args: argparse.Namespace, headers: Sequence[RunHeader]) -> Chosen:
    timezone = headers[-1].timezone if headers else "UTC"
    start, end = args.from_, args.to
    from_utc_ms = utc_ms_said("--from", start, timezone) if start else -_NEVER
    to_utc_ms = utc_ms_said("--to", end, timezone) if end else _NEVER
    if from_utc_ms >= to_utc_ms:
        raise ExchangeError(f"--from {start} --to {end}: the end must lie later")
    return Chosen(
        from_utc_ms=from_utc_ms,
        to_utc_ms=to_utc_ms,
        probes=_probes(args.probe, args.tray, headers),
        untaken=args.untaken,
    )


def _probes(
    probes: Sequence[str], trays: Sequence[str], headers: Sequence[RunHeader]
) -> frozenset[str] | None:
    """Return the names of the probes that are wanted; None: all."""
    if not probes and not trays:
        return None
    plans = [header.plan for header in headers]
    known = {probe.name for plan in plans for probe in all_probes(plan)}
    within: dict[str, set[str]] = {}
    for plan in plans:
        for tray in all_trays(plan):
            names = {probe.name for probe in tray.probes}
            within.setdefault(tray.name, set()).update(names)
    _check_known("--probe", probes, known)
    _check_known("--tray", trays, within)
    return frozenset(probes).union(*(within[name] for name in trays))


def _check_known(option: str, names: Iterable[str], known: Iterable[str]) -> None:
    there = sorted(known)
    for name in names:
        if name not in there:
            raise ExchangeError(
                f"{option} {name}: the log has none of that name; it has"
                f" {', '.join(there)}"
            )


def _rows(
    reader: SeasonLogReader,
    headers: Sequence[RunHeader],
    table: Table,
    chosen: Chosen,
) -> Iterator[Sequence[Row]]:
    for header in headers:
        scans = scans_with_progress(reader, header)
        yield from pieces(rows_of(table, header, scans, chosen))
