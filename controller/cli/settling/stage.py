"""What the steps of setup reach the world through, and words they share."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from controller.cli.person import Person
from controller.cli.relay_trial import Hand
from controller.cli.settling.answers import Answers, MatAnswers
from controller.ports import Clock

_NAME = re.compile(r"[A-Za-z0-9_-]{1,32}")


class LaterError(Exception):
    """The evening ends here for now; the message says what to do before it goes on."""


class Senses(Protocol):
    """Whatever measures: one-wire probes of this board, and topics on the broker."""

    async def listen(self, for_ms: int) -> None:
        """Listen for a while [ms]."""
        ...

    def values(self) -> Mapping[str, int]:
        """Return the newest value of each, by address, in thousandths as it came."""
        ...

    def samples(self, address: str) -> Sequence[tuple[int, int]]:
        """Return when [ms] and what each said, in order."""
        ...


class System(Protocol):
    """The board that is set up."""

    def write(self, path: str, text: str, mode: int) -> Path:
        """Write a file of the board, whole or not at all; return where it lies."""
        ...

    def run(self, *words: str) -> bool:
        """Run a command as root, or tell it to the person; return whether it went."""
        ...

    def one_wire_bus(self) -> bool:
        """Whether the kernel drives a one-wire bus."""
        ...

    def boot_config(self) -> Path | None:
        """Return the file that switches the bus on at boot; None: there is none."""
        ...

    def timezone(self) -> str:
        """Return the board's time zone (IANA)."""
        ...

    def name(self) -> str:
        """Return the name by which other boards reach this one."""
        ...


@dataclass(slots=True)
class Stage:
    """An evening.

    Attributes:
        answers: What was answered so far.
        keep: Keeps the answers.
        person: Who answers.
        clock: Where time comes from.
        system: The board.
        senses: Opens what measures.
        hand: Opens what reaches the relay of a mat.
        random: Returns so many random bytes.
        port: The broker's TCP port.
    """

    answers: Answers
    keep: Callable[[], None]
    person: Person
    clock: Clock
    system: System
    senses: Callable[[], AbstractAsyncContextManager[Senses]]
    hand: Callable[[MatAnswers], AbstractAsyncContextManager[Hand]]
    random: Callable[[int], bytes]
    port: int = 1883


async def asked_name(
    stage: Stage, question: str, usual: str, taken: Collection[str] = ()
) -> str:
    """Ask for a name until it is one: it goes into topics and addresses.

    Args:
        stage: Who is asked.
        question: What is asked.
        usual: What is taken where nothing is said.
        taken: Names that others of its kind have.
    """
    while True:
        name = await stage.person.ask(question, usual)
        if not _NAME.fullmatch(name):
            stage.person.tell("  1 to 32 letters, digits, - and _")
        elif name in taken:
            stage.person.tell("  another one has that name")
        else:
            return name


async def asked_number(stage: Stage, question: str, usual: int, most: int) -> int:
    """Ask for a whole number from 0 to `most`."""
    while True:
        said = await stage.person.ask(question, str(usual))
        if said.isdecimal() and int(said) <= most:
            return int(said)
        stage.person.tell(f"  a whole number from 0 to {most}")


async def asked_text(
    stage: Stage, question: str, usual: str, rule: Callable[[object], object]
) -> str:
    """Ask for something that a rule of the settings takes."""
    while True:
        said = await stage.person.ask(question, usual)
        try:
            rule(said)
        except ValueError as error:
            stage.person.tell(f"  {error}")
        else:
            return said


def in_mc(milli: int, unit: str) -> int:
    """Return thousandths of a unit as m°C."""
    return round((milli - 32_000) * 5 / 9) if unit == "°F" else milli
