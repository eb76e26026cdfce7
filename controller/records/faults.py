"""What is wrong with a record, in sentences for whoever wrote it.

What may live here: a fault and its place, and the checks that several kinds of
records share.
"""

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

LONGEST_TEXT = 2_000
"""Chosen: characters of a free text; more belongs into a file of its own."""

LONGEST_WORDS = 120
"""Chosen: characters of a name, a recipe or a place."""

_NAME = re.compile(r"[A-Za-z0-9_-]{1,32}", re.ASCII)
_LONGEST_FOUND = 60


@dataclass(frozen=True, slots=True)
class Fault:
    """One place that is at fault.

    Attributes:
        field: Where: a name such as "hormone.ppm".
        found: What stands there.
        right: What would be right, in words.
    """

    field: str
    found: str
    right: str

    def __str__(self) -> str:
        return f"{self.field}: found {self.found}: {self.right}"


class RecordError(ValueError):
    """A record does not keep the rules.

    Attributes:
        faults: Every place that is at fault, at least one.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(map(str, self.faults)))


def refuse(faults: Iterable[Fault]) -> None:
    """Raise RecordError if there is any fault."""
    found = tuple(faults)
    if found:
        raise RecordError(found)


def fault(field: str, found: object, right: str) -> Fault:
    """Return a fault; what was found is shortened."""
    shown = repr(found) if isinstance(found, str) else str(found)
    if len(shown) > _LONGEST_FOUND:
        shown = shown[:_LONGEST_FOUND] + "…"
    return Fault(field, shown, right)


def name_faults(field: str, names: Iterable[str]) -> Iterator[Fault]:
    """Yield what is wrong with names of trays, mats or probes."""
    seen: set[str] = set()
    for name in names:
        if not _NAME.fullmatch(name):
            yield fault(
                field, name, "a name is 1 to 32 of letters, digits, '-' and '_'"
            )
        elif name in seen:
            yield fault(field, name, "is named twice; once is enough")
        seen.add(name)


def text_faults(field: str, text: str, longest: int = LONGEST_WORDS) -> Iterator[Fault]:
    """Yield what is wrong with a text that a person wrote.

    Lines may only be broken where a longer text is allowed.
    """
    if len(text) > longest:
        count = f"{len(text)} characters"
        yield Fault(field, count, f"at most {longest} are kept")
    lines = text.split("\n") if longest > LONGEST_WORDS else [text]
    if not all(line.replace("\t", " ").isprintable() for line in lines):
        yield fault(field, text, "must be plain text without control characters")


def number_faults(
    field: str, value: float | None, least: float, most: float, unit: str
) -> Iterator[Fault]:
    """Yield what is wrong with a number; None is none.

    Args:
        field: Where it stands.
        value: The number.
        least: The least that may be.
        most: The most that may be.
        unit: Behind the bounds in words, such as "ml"; may be empty.
    """
    if value is None:
        return
    if not math.isfinite(value) or not least <= value <= most:
        of = f" {unit}" if unit else ""
        yield fault(field, value, f"must be from {least:g} to {most:g}{of}")
