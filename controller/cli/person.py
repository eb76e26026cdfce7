"""Somebody at the keyboard, or nobody: what is told and asked."""

import asyncio
import sys
import threading
from typing import Protocol, TextIO

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
