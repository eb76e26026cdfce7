"""One working-out of the rooting forecast: from a season log to a result file.

`python -m controller.cli.forecast_job LOG RESULT` is what the daemon starts once a
day, in a process of its own that gives way to everything else and may use only so
much memory and time. The result replaces the old one whole or not at all. Exit 0:
done; 2: it cannot be, and stderr says why.
"""

import argparse
import json
import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.niced import give_way

if TYPE_CHECKING:
    from controller.adapters.season_log import SeasonLogReader
    from controller.records.book import BatchFile
    from controller.review.days_ahead import Standing
    from controller.review.foretold import Foretold

MEMORY_BYTES = 768 * 1024 * 1024
"""Chosen: some six times what a season of a large bench takes."""

CPU_S = 900
"""Chosen: a quarter of an hour, of a board that has a day for it."""

Json = dict[str, object]


def forecast_beside(log: Path) -> Path:
    """Return where the forecast of a bench is kept whose season log is there."""
    return log.with_name(f"{log.stem}.forecast.json")


def main(words: Sequence[str] | None = None) -> int:
    """Work the forecast out within limits; return the exit code."""
    parser = argparse.ArgumentParser(prog="forecast_job", description=__doc__)
    parser.add_argument("log", type=Path)
    parser.add_argument("result", type=Path)
    parser.add_argument("--crops", type=Path, help="a crop file of one's own")
    parser.add_argument("--at", type=int, help="the present, ms since 1970")
    args = parser.parse_args(words)
    give_way(MEMORY_BYTES, CPU_S)
    try:
        before = read_result(args.result)
        kept = worked_out(args.log, args.crops, args.at, before)
        if not before and args.result.exists():  # its history may be worth a look
            args.result.replace(args.result.with_name(f"{args.result.name}.damaged"))
        write_result(args.result, kept)
    except MemoryError:
        print("it needs more memory than it may have", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  # whatever it is, the daemon is told
        print(str(error) or type(error).__name__, file=sys.stderr)
        return 2
    return 0


def worked_out(log: Path, crops: Path | None, at_ms: int | None, before: Json) -> Json:
    """Return the forecast of a season log, with its history.

    Args:
        log: The season log; a daemon may write it meanwhile.
        crops: A crop file of one's own; None: there is none.
        at_ms: The present [ms]; None: this machine's.
        before: What was worked out last; its history goes on.

    Raises:
        LogError: The log cannot be read, or has no run.
        SettingsError: The crop file has faults.
    """
    from controller.review.forecast_scores import (
        as_kept,
        issued_from,
        scores,
        with_today,
    )
    from controller.review.foretold_words import report

    told, standing, newest = foretold_in(log, crops, at_ms)
    now_ms, zone = standing.now_utc_ms, standing.timezone
    history = with_today(issued_from(before.get("history")), told, zone, now_ms)
    return {
        **report(told, zone, now_ms, scores(history, told, zone)),
        "history": as_kept(history),
        "newest": newest,
    }


def foretold_in(
    log: Path, crops: Path | None, at_ms: int | None
) -> "tuple[list[Foretold], Standing, int]":
    """Return what is foretold of every batch, how the bench stands, the last change.

    Raises:
        LogError: The log cannot be read, or has no run.
        SettingsError: The crop file has faults.
    """
    from controller.adapters.season_log import SeasonLogReader
    from controller.cli.crop_files import crops_of
    from controller.core.units import HOUR_MS
    from controller.records.book import Book, batches, fold
    from controller.review.days_ahead import RECENT_HOURS
    from controller.review.foretold import foretell
    from controller.review.tray_hours import TrayHours

    known = crops_of(crops)
    reader = SeasonLogReader(log)
    standing = _standing(reader, log, at_ms)
    changes = reader.changes()
    now_ms = standing.now_utc_ms
    files = list(_by_then(batches(fold(Book(), changes)), now_ms))
    stuck = [one.batch.stuck_utc_ms for one in files]
    first_ms = min((at for at in stuck if at is not None), default=now_ms)
    first_ms = min(first_ms, now_ms - RECENT_HOURS * HOUR_MS)
    trays = TrayHours(reader, standing.plan, first_ms, now_ms)
    told = foretell(files, known, trays, standing)
    return told, standing, changes[-1].id if changes else 0


def _by_then(files: "Iterable[BatchFile]", now_ms: int) -> "Iterator[BatchFile]":
    """Yield batches without what happened later: --at knows what its day knew."""
    for one in files:
        stuck_ms, closing = one.batch.stuck_utc_ms, one.closing
        if stuck_ms is None or stuck_ms <= now_ms:
            yield replace(
                one,
                looks=tuple(told for told in one.looks if told[1].utc_ms <= now_ms),
                moves=tuple(told for told in one.moves if told[1].utc_ms <= now_ms),
                closing=closing if closing and closing.utc_ms <= now_ms else None,
            )


def _standing(reader: "SeasonLogReader", log: Path, at_ms: int | None) -> "Standing":
    from controller.adapters.clocks import SystemClock
    from controller.adapters.season_log import LogError
    from controller.ports import IMPORTED
    from controller.review.days_ahead import Standing

    own = [header for header in reader.runs() if header.origin != IMPORTED]
    if not own:
        raise LogError(f"{log} has no run: start the bench once")
    header = own[-1]
    zone = header.timezone
    now_ms = SystemClock(zone).now().utc_ms if at_ms is None else at_ms
    return Standing(
        plan=header.plan,
        state=reader.last_state(header.run)[1],
        timezone=zone,
        now_utc_ms=now_ms,
        utc_less_run_ms=header.started_utc_ms - header.started_run_ms,
    )


def end_of(log: Path) -> int:
    """Return when the newest run of a log ends [ms].

    Raises:
        LogError: The log cannot be read, or has no run.
    """
    from controller.adapters.season_log import LogError, SeasonLogReader
    from controller.cli.log_bench import LogBench

    snapshot = LogBench(log, SeasonLogReader(log)).snapshot()
    if snapshot is None:
        raise LogError(f"{log} has no run: start the bench once")
    return snapshot.scan.utc_ms


def read_result(path: Path) -> Json:
    """Return a result as it is kept; nothing: there is none, or it is damaged."""
    try:
        found: object = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def write_result(path: Path, kept: Json) -> None:
    """Replace a result: after a power cut it is the old one or the new one.

    Raises:
        OSError: The disk does not take it; the old file stands.
    """
    building = path.with_name(path.name + ".new")
    with building.open("w", encoding="utf-8") as file:
        json.dump(kept, file, ensure_ascii=False, indent=1)
        file.write("\n")
        file.flush()
        os.fsync(file.fileno())
    building.replace(path)


if __name__ == "__main__":
    sys.exit(main())
