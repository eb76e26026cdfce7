"""Somebody at the keyboard, or nobody: what is told and asked."""

import asyncio
import signal
import sys
import threading
from collections.abc import Coroutine
from typing import Protocol, TextIO, TypeVar

T = TypeVar("T")

NOBODY = ""
"""What is answered where nobody sits there."""


class Person(Protocol):
    """Whoever is told things and asked."""

    def tell(self, text: str) -> None:
        """Tell something."""
        ...

    async def ask(self, question: str, usual: str = NOBODY) -> str:
        """Ask; return the answer, or what is usual where none was given."""
        ...


class Terminal:
    """A person at a terminal.

    A question waits in a thread that nobody waits for at the end: Ctrl-C must
    switch things off at once, whatever was being asked.

    Args:
        out: Where it is told and asked.
    """

    def __init__(self, out: TextIO = sys.stdout) -> None:
        self._out = out

    def tell(self, text: str) -> None:
        """Print it."""
        print(text, file=self._out, flush=True)

    async def ask(self, question: str, usual: str = NOBODY) -> str:
        """Print the question and wait for a line."""
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[str] = loop.create_future()
        shown = f" [{usual}]" if usual else ""
        print(f"{question}{shown} ", end="", file=self._out, flush=True)

        def read() -> None:
            line = sys.stdin.readline()
            if not loop.is_closed():
                loop.call_soon_threadsafe(_given, answer, line)

        threading.Thread(target=read, name="keyboard", daemon=True).start()
        line = await answer
        if not line:  # the end of what was piped in
            raise EOFError
        return line.strip() or usual


def _given(answer: "asyncio.Future[str]", line: str) -> None:
    if not answer.done():
        answer.set_result(line)


async def yes(person: Person, question: str, usual: str = NOBODY) -> bool | None:
    """Ask for yes or no; None: neither was said, three times over."""
    for _ in range(3):
        answer = (await person.ask(f"{question} (y/n)", usual)).casefold()
        if answer in {"y", "yes"}:
            return True
        if answer in {"n", "no"}:
            return False
        if answer in {"s", "skip"}:
            return None
    return None


class LeftError(Exception):
    """Nobody is there any more: the terminal was closed, or somebody ended this."""


async def attended(work: Coroutine[object, object, T]) -> T:
    """Do what needs somebody there; cancel it when the terminal is closed.

    SIGHUP and SIGTERM would else end this process where it stands, and a relay on a
    pin stays as it is. Whoever started it deaf to SIGHUP (nohup) has asked for it.

    Raises:
        LeftError: The work was cancelled for that; its own end is over.
    """
    loop, task = asyncio.get_running_loop(), asyncio.ensure_future(work)
    left = False

    def leave() -> None:
        nonlocal left
        left = True
        task.cancel()

    heard = [
        number
        for number in (signal.SIGTERM, signal.SIGHUP)
        if signal.getsignal(number) != signal.SIG_IGN
    ]
    for number in heard:
        loop.add_signal_handler(number, leave)
    try:
        return await task
    except asyncio.CancelledError:
        if left:
            raise LeftError from None
        raise
    finally:
        for number in heard:
            loop.remove_signal_handler(number)
