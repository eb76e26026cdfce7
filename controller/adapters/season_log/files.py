"""Small promises about files: one writer, names that survive a power cut, a mark."""

import fcntl
import os
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from controller.adapters.season_log.schema import LogError

MALFORMED = "-malformed"
"""End of the name of a mark: see mark_malformed."""

SIDECARS = ("", "-wal", "-shm", "-journal", MALFORMED)
"""Ends of the names of the files that make a SQLite database, and of our mark."""


def set_aside(log: Path, utc_ms: int) -> Path:
    """Rename a season log with all that belongs to it; return its new name.

    Nothing is deleted and nothing that exists is replaced.

    Args:
        log: The log. Whoever calls holds its lock.
        utc_ms: The time, which goes into the name [ms].

    Raises:
        OSError: The file system does not take it.
    """
    # The log first. Should the power go in between, what is left of it is a stray;
    # a log without its "-wal" might be taken for whole, and is not.
    return _renamed(log, SIDECARS, utc_ms, "damaged")


def _renamed(log: Path, ends: tuple[str, ...], utc_ms: int, why: str) -> Path:
    at = datetime.fromtimestamp(utc_ms / 1000, UTC)
    stem = f"{log.name}.{why}-{at:%Y%m%dT%H%M%SZ}"
    aside, again = log.with_name(stem), 1
    while any(aside.with_name(aside.name + end).exists() for end in SIDECARS):
        again += 1
        aside = log.with_name(f"{stem}-{again}")
    for end in ends:
        part = log.with_name(log.name + end)
        if part.exists():
            part.rename(aside.with_name(aside.name + end))
    sync_directory(log.parent)
    return aside


def mark_malformed(log: Path, error: Exception) -> None:
    """Leave word beside a log, for the next start, that it cannot be written in.

    A look may not find what writing found. Where the disk does not take the mark,
    nothing is raised: the look is all there is then.
    """
    with suppress(OSError):
        log.with_name(log.name + MALFORMED).write_text(f"{error}\n", encoding="utf-8")


def unmark(log: Path) -> None:
    """Take that word away: the log was written in after all."""
    with suppress(OSError):
        log.with_name(log.name + MALFORMED).unlink(missing_ok=True)


def marked(log: Path) -> str | None:
    """Return the word that was left beside a log; None: there is none.

    Raises:
        OSError: It cannot be read.
    """
    try:
        found = log.with_name(log.name + MALFORMED).read_bytes()
    except FileNotFoundError:
        return None
    return found.decode(errors="replace").strip()


def clear_strays(log: Path) -> None:
    """Set aside what another log of this name left beside it, or beside nothing.

    SQLite would take an old "-wal" for a new log's own.

    Raises:
        OSError: The file system does not take it.
    """
    left = [log.with_name(log.name + end) for end in SIDECARS[1:]]
    found = [part.stat() for part in left if part.exists()]
    times = [part.st_mtime for part in found]
    if any(part.st_size for part in found):
        _renamed(log, SIDECARS[1:], int(max(times) * 1000), "stray")


def sync_directory(directory: Path) -> None:
    """Make a rename in a directory durable; raise OSError if that fails."""
    handle = os.open(directory, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class LogLock:
    """The right to write a season log: one holder, gone with its process.

    It is an advisory lock on a file beside the log, whose name ends in
    ".lock". That file stays when the lock is given back: only a lock on it
    means anything, and to delete it would let two writers in.
    """

    def __init__(self, log: Path) -> None:
        """Take the lock.

        Raises:
            LogError: The log's folder is missing, or another program writes
                this log.
            OSError: The file system does not take the lock's file.
        """
        if not log.parent.is_dir():
            raise LogError(
                f"{log}: the folder {log.parent} does not exist; make it first"
            )
        self._file: TextIO | None = _locked(log)

    def release(self) -> None:
        """Give the lock back. Doing so twice does no harm."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _locked(log: Path) -> TextIO:
    file = log.with_name(log.name + ".lock").open("a+", encoding="utf-8")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise _taken(log, file) from None
    except OSError:
        file.close()
        raise
    with suppress(OSError):  # on a full disk the lock holds without a name in it
        file.truncate(0)
        file.write(f"{os.getpid()}\n")
        file.flush()
    return file


def _taken(log: Path, file: TextIO) -> LogError:
    with file:
        file.seek(0)
        holder = file.read(20).strip() or "unknown"
    return LogError(
        f"{log} is being written by another program (process {holder}): a season"
        " log has one writer; stop that one, or give this one another file"
    )
