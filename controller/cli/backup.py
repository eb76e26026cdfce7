"""`bottomheat backup LOG DEST`: a copy of a season log, also while it is written."""

import argparse
import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from controller.adapters.clocks import SystemClock
from controller.adapters.exchange import ExchangeError
from controller.adapters.season_log.backup import (
    Contents,
    FaultyCopyError,
    back_up,
    check_backup,
)
from controller.adapters.season_log.trips import trips_beside

_RESTORE = """\
To go back to a backup:
  1. stop the daemon: nothing may write the log meanwhile;
  2. rename the log, and what is named like it with -wal, -shm, -journal or
     -malformed behind it, out of the way: else it counts for the backup;
  3. copy the backup to the log's name, and its .trips.json to that of the log;
  4. bottomheat backup --check LOG, and start the daemon.
A mat that was locked off after the backup was made is not locked off in it: look
at mats, trays and cables before heat comes on again.

Photos are not copied: they lie in a folder beside the log, such as season.photos.
Copy it too, at any time: a photo never changes once it has its name."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "backup",
        help="copy a season log, also while it is written",
        description=(
            "Copies a season log with the file of locked-off mats beside it, while"
            " the daemon writes it or not; then looks at every page of the copy and"
            " counts its rows against the log's. Exit 0: a good copy; 1: something"
            " is wrong, and nothing was replaced; 2: it could not be done."
        ),
        epilog=_RESTORE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument(
        "copy",
        metavar="DEST",
        type=Path,
        nargs="?",
        help="the copy, a new file, or a folder: then the time goes into its name",
    )
    parser.add_argument(
        "--check", action="store_true", help="copy nothing: look at LOG, a backup"
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="replace a file that is there"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        path, found = _done(args)
    except FaultyCopyError as error:
        print(f"bottomheat backup: {error}", file=sys.stderr)
        return 1
    if args.json:
        print(json.dumps(_as_json(path, found), ensure_ascii=False, indent=2))
    else:
        print(_in_words(path, found, checked=args.check))
    return 0


def _done(args: argparse.Namespace) -> tuple[Path, Contents]:
    if args.check:
        if args.copy is not None:
            raise ExchangeError("--check looks at one file: leave DEST out")
        return args.log, check_backup(args.log)
    if args.copy is None:
        raise ExchangeError(
            "say where the copy goes: bottomheat backup LOG DEST; or --check a backup"
        )
    copy = _named(args.log, args.copy)
    found = back_up(args.log, copy, overwrite=args.overwrite, progress=_progress())
    return copy, found


def _named(log: Path, copy: Path) -> Path:
    """Return the copy's name; in a folder it is made of the log's and the time."""
    if not copy.is_dir():
        return copy
    at = datetime.fromtimestamp(SystemClock("UTC").now().utc_ms / 1000, UTC)
    return copy / f"{log.stem}-{at:%Y%m%dT%H%M%SZ}{log.suffix}"


def _progress() -> Callable[[int, int], None]:
    if not sys.stderr.isatty():
        return lambda _left, _all: None

    def say(left: int, total: int) -> None:
        done = 1 - left / max(1, total)
        end = "\r\033[K" if left == 0 else ""
        print(f"\rcopied {done:4.0%}{end}", end="", file=sys.stderr, flush=True)

    return say


def _in_words(path: Path, found: Contents, *, checked: bool) -> str:
    trips = trips_beside(path)
    beside = f", with {trips.name} beside it" if trips.exists() else ""
    what = "looked at" if checked else "copied and looked at"
    last = f"; the last run is {found.last_run}, to scan {found.last_seq:,}"
    return (
        f"{path}: {what}, nothing wrong{beside}: {found.runs} run"
        f"{'' if found.runs == 1 else 's'}, {found.size / 1e6:.1f} MB"
        f"{last if found.runs else ''}"
    )


def _as_json(path: Path, found: Contents) -> dict[str, object]:
    return {
        "file": str(path),
        "bytes": found.size,
        "runs": found.runs,
        "last_run": found.last_run,
        "last_scan": found.last_seq,
        "rows": found.rows,
    }
