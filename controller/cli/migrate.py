"""`bottomheat migrate LOG`: an older season log brought up to this version."""

import argparse
from pathlib import Path


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "migrate",
        help="bring an older season log up to this version",
        description=(
            "Brings a season log of an older schema to the present one and keeps the"
            " old file beside it under another name. Where rows change it is written"
            " anew, looked at, and only then put in the old one's place. A daemon does"
            " the same when it starts; this is for logs that no daemon goes on in. Exit"
            " 0: done, or nothing to do; 2: not done, the old file stands as it was."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.season_log import (
        LogError,
        LogLock,
        SeasonLogReader,
        is_former,
        migrated,
    )

    log: Path = args.log
    if not log.exists():
        raise LogError(f"{log} does not exist; give the path of a season log")
    if not is_former(log):
        SeasonLogReader(log)  # what is no log at all is told, and gets no lock file
        print(f"{log} has the present schema: there is nothing to do")
        return 0
    lock = LogLock(log)
    try:
        kept = migrated(log)
    finally:
        lock.release()
    print(f"{log} was brought up; as it was before it is kept as {kept.name}")
    return 0
