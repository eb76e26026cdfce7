"""How a daemon ends: told to, or because a part of it did; and the words for it.

What may live here: the frame around each part, and sentences about ends. No
scans, no I/O but a line to a person.
"""

import asyncio
import contextlib
import os
import sys
from collections.abc import Awaitable, Callable
from typing import TextIO

_WARNING = "<4>"
"""How the journal is told of the priority of a line: sd-daemon(3), syslog(3)."""


class Stopped(Exception):  # noqa: N818  (an order, not an error)
    """The daemon was asked to stop."""


class StopOrder(asyncio.Event):
    """An event that says, too, who gave the order.

    Attributes:
        reason: The words for the journal.
    """

    def __init__(self) -> None:
        super().__init__()
        self.reason = "told to stop"

    def give(self, reason: str) -> None:
        """Order the stop; a second order changes nothing."""
        if not self.is_set():
            self.reason = reason
            self.set()


class TaskEndedError(RuntimeError):
    """A part of the daemon ended by itself, which none may."""


async def until(stop: asyncio.Event) -> None:
    """Wait for the order to stop, then raise Stopped with its reason."""
    await stop.wait()
    raise Stopped(stop.reason if isinstance(stop, StopOrder) else "told to stop")


async def for_ever(work: Callable[[], Awaitable[None]], what: str) -> None:
    """Run a part that must not end.

    Args:
        work: The part.
        what: Its name, for people.

    Raises:
        TaskEndedError: It ended.
        Exception: It broke; the error has a note that says where.
    """
    try:
        await work()
    except Exception as error:
        error.add_note(f"in {what}")
        raise
    text = f"{what} ended by itself"
    raise TaskEndedError(text)


def causes(error: BaseException) -> list[str]:
    """Return the sentences of what ended a daemon, without its traceback."""
    if isinstance(error, BaseExceptionGroup):
        return [text for part in error.exceptions for text in causes(part)]
    if isinstance(error, Stopped | TaskEndedError):
        return [str(error)]
    where = f" ({'; '.join(error.__notes__)})" if hasattr(error, "__notes__") else ""
    return [f"{type(error).__name__}: {error}{where}"]


def warn(text: str) -> None:
    """Print what a person should look at, at once: in the journal, as a warning."""
    named = os.environ.get("JOURNAL_STREAM")
    if named and is_journal(named, sys.stderr):
        text = "\n".join(f"{_WARNING}{line}" for line in text.split("\n"))
    say(text)


def say(text: str) -> None:
    """Print a line for a person, at once; a terminal that is gone stops nobody."""
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(text + "\n")
        sys.stderr.flush()


def is_journal(named: str, stream: TextIO) -> bool:
    """Whether what is written to a stream goes to systemd's journal.

    Args:
        named: JOURNAL_STREAM (systemd.exec(5)): device and inode of what the service
            manager connected; a child whose output goes elsewhere inherits it, too.
        stream: The stream.
    """
    with contextlib.suppress(OSError, ValueError):
        there = os.fstat(stream.fileno())
        return named == f"{there.st_dev}:{there.st_ino}"
    return False
