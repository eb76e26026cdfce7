"""What people saw and did, carried from a log that was set aside into a new one.

Readings of a damaged log are history; what a person wrote nobody else knows. What
may live here: that much of a damaged file.
"""

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.reader import read_only
from controller.adapters.season_log.record_rows import sound_beginning
from controller.adapters.season_log.rows import Row
from controller.adapters.season_log.schema import LogError


@dataclass(frozen=True, slots=True)
class Carried:
    """What became of the records.

    Attributes:
        carried: How many changes stand in the new log.
        left: How many more could be counted in the old one.
    """

    carried: int
    left: int


def carry_records(aside: Path, path: Path) -> Carried:
    """Copy the sound changes of a log that was set aside into a new log.

    Whoever calls holds the new log's lock. Without any, nothing is made.

    Args:
        aside: The log that was set aside; it is only read.
        path: The new log, which is not there yet.

    Raises:
        LogError: They could not be written.
    """
    rows, known = _found(aside)
    if not rows:
        return Carried(0, known)
    try:
        file = LogFile(path)
        try:
            file.add_records(rows)
            file.close()
        except BaseException:
            file.abandon()
            raise
    except (sqlite3.Error, OSError) as error:
        raise LogError(f"{path} cannot be written: {error}") from error
    return Carried(len(rows), max(0, known - len(rows)))


def _found(aside: Path) -> tuple[list[Row], int]:
    try:
        with closing(read_only(aside)) as db:
            return sound_beginning(db), _known(db)
    except (sqlite3.Error, OSError):
        return [], 0


def _known(db: sqlite3.Connection) -> int:
    try:
        (told,) = db.execute("SELECT count(*) FROM record").fetchone()
        return int(told)
    except sqlite3.Error:
        return 0
