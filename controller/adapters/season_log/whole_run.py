"""One finished run, written into a season log whole or not at all.

What may live here: that one transaction. A run that is lived through is the
writer's.
"""

import sqlite3
from collections.abc import Iterable
from contextlib import suppress
from itertools import islice
from pathlib import Path

from controller.adapters.season_log.files import SIDECARS, LogLock
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.memory import Taken
from controller.adapters.season_log.rows import Ending, header_row
from controller.adapters.season_log.schema import LogError
from controller.ports import RunHeader

_PIECE = 500


def write_run(
    log: Path, header: RunHeader, taken: Iterable[Taken], ending: Ending
) -> None:
    """Add a run to a season log, a new one if there is none.

    Raises:
        LogError: Somebody writes the log, it is none, or the disk does not take
            the run: then nothing of it is there.
    """
    new = not log.exists()
    try:
        lock = LogLock(log)
        try:
            _write(log, header, taken, ending)
        except BaseException:
            if new:
                _take_away(log)
            raise
        finally:
            lock.release()
    except (sqlite3.Error, OSError, OverflowError, ValueError) as error:
        raise LogError(f"{log} cannot be written: {error}") from error


def _write(
    log: Path, header: RunHeader, taken: Iterable[Taken], ending: Ending
) -> None:
    file = LogFile(log)
    try:
        file.begin(header_row(header))
        left = iter(taken)
        while batch := list(islice(left, _PIECE)):
            file.write(batch)
        file.end(ending)
        file.close()
    except BaseException:
        file.abandon()
        raise


def _take_away(log: Path) -> None:
    """Take away a log that was made a moment ago and has no run."""
    for end in reversed(SIDECARS):
        with suppress(OSError):
            log.with_name(log.name + end).unlink(missing_ok=True)
