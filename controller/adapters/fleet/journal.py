"""What a long piece of work has done so far, a line for each result.

The first line says what the work is. A line is written by one call, at the end
of the file, so that a reader never sees two of them mixed; the last one may be
cut short by a power cut, and is then dropped.
"""

import fcntl
import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Self


class JournalError(Exception):
    """A journal cannot be begun or gone on with; the message says which and why."""


class Journal:
    """A file that results are appended to."""

    def __init__(self, path: Path, file: int) -> None:
        """Append to an open file.

        Args:
            path: Its name.
            file: Its descriptor, opened to append; closed with the journal.
        """
        self.path, self._file = path, file

    def append(self, line: str) -> None:
        """Write a line, and have it on the disk.

        Raises:
            OSError: The disk does not take it.
        """
        data = line.encode() + b"\n"
        written = os.write(self._file, data)
        if written != len(data):  # the next write says why, if it still fails
            os.write(self._file, data[written:])
        os.fdatasync(self._file)

    def close(self) -> None:
        """Close the file."""
        os.close(self._file)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def begun(path: Path, about: Mapping[str, object]) -> Journal:
    """Begin a journal in a new file.

    Args:
        path: Its name.
        about: What the work is, for the first line.

    Raises:
        JournalError: The file is there already.
    """
    try:
        file = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL, 0o666)
    except FileExistsError:
        message = f"{path}: is there already; go on with it, or name a new file"
        raise JournalError(message) from None
    journal = Journal(path, _locked(path, file))
    journal.append(json.dumps(about, ensure_ascii=False))
    return journal


def resumed(path: Path, about: Mapping[str, object]) -> tuple[Journal, list[str]]:
    """Go on with a journal.

    Args:
        path: The file.
        about: What the work is; the same as when it was begun.

    Returns:
        The journal, and the lines after its first one.

    Raises:
        JournalError: It is of other work, or somebody else writes it now.
        OSError: It cannot be opened.
    """
    file = _locked(path, os.open(path, os.O_RDWR | os.O_APPEND))
    try:
        data = path.read_bytes()
        whole = data[: data.rfind(b"\n") + 1]
        lines = whole.decode("utf-8", "replace").splitlines()
        _same_work(path, lines, about)
        os.ftruncate(file, len(whole))
    except BaseException:
        os.close(file)
        raise
    return Journal(path, file), lines[1:]


def _locked(path: Path, file: int) -> int:
    """Keep others out of an open file."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(file)
        raise JournalError(f"{path}: somebody else is writing it now") from None
    return file


def _same_work(path: Path, lines: list[str], about: Mapping[str, object]) -> None:
    """Refuse a journal of other work."""
    try:
        found = json.loads(lines[0]) if lines else None
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise JournalError(f"{path}: line 1: says not what it is a journal of")
    for key in sorted(about.keys() | found.keys()):
        if found.get(key) != about.get(key):
            there, here = (
                json.dumps(one.get(key), ensure_ascii=False) for one in (found, about)
            )
            message = f"{path}: was begun with {key} {there}, now it is {here}"
            raise JournalError(message)
