"""What another recorder's figures become: thousandths, in order, each time once.

Numbers as people and devices write them, in °C, °F or K, become the whole
thousandths of a degree Celsius that the season log keeps. Readings that were
found anywhere in a file come out in order of time. Nothing is guessed: a time
with two values has none, and a gap stays a gap. What may live here: this
arithmetic. No files, no clocks, no time zones.
"""

import itertools
import re
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from statistics import median_low
from typing import Literal

from controller.core.judge import HIGHEST_MC, LOWEST_MC
from controller.core.units import celsius

Unit = Literal["°C", "°F", "K"]

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?", re.ASCII)
_LONGEST = 40
_THOUSAND = 1000
_FREEZING_F = 32
_FREEZING_K = Fraction(27_315, 100)

_PER_INTERVAL = (5, 2)
"""A gap is longer than 2.5 times the usual interval: two readings may be missing,
as many as the controller forgives its own probes."""


class NoReadingError(ValueError):
    """A cell holds no temperature of a bench; the message is the reason."""


def milli_celsius(text: str, unit: Unit, decimal: str = ".") -> int:
    """Return what a cell says, in whole thousandths of a degree Celsius.

    Halves are rounded to the even neighbour, exactly.

    Args:
        text: The cell.
        unit: Its unit. The kelvin scale has 273.15 K at 0 °C, and 180 °F lie
            between 32 °F and 212 °F, 0 °C and 100 °C.
        decimal: The decimal mark, "." or ",".

    Raises:
        NoReadingError: It is empty, no number, or outside what a probe of a
            bench can say.
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if not plain:
        raise NoReadingError("empty")
    if decimal != ".":
        plain = plain.replace(".", " ").replace(decimal, ".")
    if len(plain) > _LONGEST or not _NUMBER.fullmatch(plain):
        raise NoReadingError("no number")
    exact = Fraction(Decimal(plain))
    if unit == "°F":
        exact = (exact - _FREEZING_F) * 5 / 9
    elif unit == "K":
        exact -= _FREEZING_K
    milli = round(exact * _THOUSAND)
    if not LOWEST_MC <= milli <= HIGHEST_MC:
        low, high = celsius(LOWEST_MC), celsius(HIGHEST_MC)
        raise NoReadingError(f"outside {low:g} to {high:g} °C")
    return milli


@dataclass(slots=True)
class Found:
    """Readings as they stand in a file, in as little memory as will do.

    Attributes:
        probes: Numbers of their columns.
        utc_ms: When they were measured [ms].
        milli: Their values [m°C].
        lines: The lines that they stand in.
    """

    probes: "array[int]" = field(default_factory=lambda: array("H"))
    utc_ms: "array[int]" = field(default_factory=lambda: array("q"))
    milli: "array[int]" = field(default_factory=lambda: array("i"))
    lines: "array[int]" = field(default_factory=lambda: array("q"))

    def add(self, probe: int, utc_ms: int, milli: int, line: int) -> None:
        """Take one more reading."""
        self.probes.append(probe)
        self.utc_ms.append(utc_ms)
        self.milli.append(milli)
        self.lines.append(line)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.lines)


@dataclass(frozen=True, slots=True)
class Once:
    """All that a file says of one probe at one time.

    Attributes:
        probe: Number of its column.
        utc_ms: When [ms].
        said: Values [m°C], each with its line, in the order of the file.
    """

    probe: int
    utc_ms: int
    said: tuple[tuple[int, int], ...]

    @property
    def agreed(self) -> bool:
        """Whether all of it is the same value."""
        return len({milli for milli, _ in self.said}) == 1


def in_order(found: Found) -> Iterator[Once]:
    """Yield readings in order of time, then of columns; each time of a probe once."""
    times, probes = found.utc_ms, found.probes
    # One whole number for each key: a pair would take thrice the memory.
    order = sorted(range(len(found)), key=lambda i: times[i] << 16 | probes[i])
    start = 0
    for end in range(1, len(order) + 1):
        here = order[start]
        there = order[end] if end < len(order) else None
        same = there is not None and (times[there], probes[there]) == (
            times[here],
            probes[here],
        )
        if not same:
            group = order[start:end]
            said = tuple((found.milli[i], found.lines[i]) for i in group)
            yield Once(probes[here], times[here], said)
            start = end


def usual_interval_ms(times_ms: Sequence[int]) -> int | None:
    """Return the usual interval of times in order: the median; None: fewer than two."""
    steps = [late - early for early, late in itertools.pairwise(times_ms)]
    return median_low(steps) if steps else None


def longest_ms(interval_ms: int) -> int:
    """Return the longest interval that is no gap [ms], for a usual interval [ms]."""
    times, per = _PER_INTERVAL
    return -(-interval_ms * times // per)


def gaps(times_ms: Sequence[int], interval_ms: int) -> list[tuple[int, int]]:
    """Return from when to when readings are missing [ms]."""
    longest = longest_ms(interval_ms)
    pairs = itertools.pairwise(times_ms)
    return [(early, late) for early, late in pairs if late - early > longest]
