"""`bottomheat export LOG -o FILE`: readings or switchings for other programs."""

import argparse
import json
import sys
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
from controller.adapters.season_log import LogError, SeasonLogReader
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
    parser.add_argument(
        "log",
        metavar="LOG",
        type=Path,
        help="the season log, or a folder of those of many benches",
    )
    parser.add_argument(
        "-o",
        "--out",
        metavar="FILE",
        type=Path,
        required=True,
        help="the file, whose name ends in .csv or .parquet; of a folder of logs the"
        " folder that gets bench=NAME/LOG.parquet",
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
    if args.log.is_dir():
        return _run_folder(args)
    told = _exported(args)
    if args.json:
        print(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        print(_in_words(told))
    return 0


def _run_folder(args: argparse.Namespace) -> int:
    """Write each log of a folder to a file of its own; return the exit status.

    The folders are named as several programs read them: bench=NAME is a column.
    """
    if args.out.suffix:
        raise ExchangeError(f"-o {args.out}: for a folder of logs, name a folder")
    done, failed = [], []
    for log in sorted(args.log.glob("*.db")):
        try:
            done.append(_exported(_one_of(args, log)))
        except (ExchangeError, LogError) as error:
            failed.append({"log": str(log), "why": str(error)})
            print(f"bottomheat export: {error}", file=sys.stderr)
    if args.json:
        told = {"files": done, "failed": failed}
        print(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(one) for one in done))
    if not done and not failed:
        raise ExchangeError(f"{args.log}: there is no season log (*.db) in it")
    return 1 if failed else 0


def _one_of(args: argparse.Namespace, log: Path) -> argparse.Namespace:
    """Return what is asked of one log of a folder.

    Raises:
        LogError: It is none.
        ExchangeError: It has no run.
    """
    headers = SeasonLogReader(log).runs()
    if not headers:
        raise ExchangeError(f"{log}: there is no run in it")
    folder: Path = args.out / f"bench={headers[-1].plan.bench}"
    folder.mkdir(parents=True, exist_ok=True)
    out = folder / f"{log.stem}.parquet"
    return argparse.Namespace(**{**vars(args), "log": log, "out": out})


def _in_words(told: "dict[str, str | int]") -> str:
    size_mb = int(told["bytes"]) / 1e6
    return f"{told['file']}: {told['rows']:,} {told['table']}, {size_mb:.1f} MB"


def _exported(args: argparse.Namespace) -> "dict[str, str | int]":
    """Write one log; return what was written."""
    write = _writer(args)
    reader = SeasonLogReader(args.log)
    headers = reader.runs()
    table = COMMANDS if args.commands else READINGS
    chosen = _chosen(args, headers)
    rows = _rows(reader, headers, table, chosen)
    source = Source(table, headers, rows, versions()["bottomheat"])
    count = write(args.out, source, overwrite=args.overwrite)
    size = args.out.stat().st_size
    name = str(args.out)
    return {"file": name, "table": table.name, "rows": count, "bytes": size}


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
