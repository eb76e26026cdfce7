"""A wish for next season in plain words: one goal, and what must hold.

Strict: every word of it must be understood, and there is one goal. What may
live here: what can be wished, and how it is read. Whether it can be had is in
granting.
"""

import re
from calendar import isleap
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from typing_extensions import override


class Goal(Enum):
    """What there shall be least of."""

    ENERGY = "least energy"
    OPERATIONS = "fewest relay operations"
    DEVIATION = "steadiest"
    UNEVEN = "most even trays"


class YearDay(NamedTuple):
    """A day of which nobody said the year.

    Attributes:
        month: 1 to 12.
        day: 1 to 31.
    """

    month: int
    day: int

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"{self.day} {_MONTHS[self.month - 1].capitalize()}"

    def after(self, first: date) -> date:
        """Return the first one from a day on."""
        for year in range(first.year, first.year + _NEVER_LONGER):
            if (self.month, self.day) == _FEBRUARY_29 and not isleap(year):
                continue
            found = date(year, self.month, self.day)
            if found >= first:
                return found
        raise AssertionError(f"{self} never comes")


Day = date | YearDay
_FEBRUARY_29 = (2, 29)
_LEAP_YEAR = 2000
_NEVER_LONGER = 10
"""More years than there are from one 29 February to the next."""


@dataclass(frozen=True, slots=True)
class NeverBelow:
    """No tray may be colder, once the mat is warm [°C]."""

    temp_c: float

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"coolest tray never below {self.temp_c:.4g} °C"


@dataclass(frozen=True, slots=True)
class NeverAbove:
    """No tray may be warmer [°C]."""

    temp_c: float

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"no tray above {self.temp_c:.4g} °C"


@dataclass(frozen=True, slots=True)
class RootedBy:
    """Every tray has the sum that stands for rooted by the end of a day."""

    day: Day

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"rooted by {self.day}"


@dataclass(frozen=True, slots=True)
class SumBy:
    """A tray has a sum of degree-hours, above its own base, by the end of a day.

    Attributes:
        tray: Its name.
        heat_k_h: The sum [K·h].
        day: The day.
    """

    tray: str
    heat_k_h: float
    day: Day

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"{self.tray} has {self.heat_k_h:.6g} K·h by {self.day}"


@dataclass(frozen=True, slots=True)
class AtMostEnergy:
    """No more energy than this in the season of the log [kWh]."""

    energy_kwh: float

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"at most {self.energy_kwh:.6g} kWh"


@dataclass(frozen=True, slots=True)
class AtMostOperations:
    """The relay closes no more often than this in the season of the log."""

    operations: float

    @override
    def __str__(self) -> str:
        """Return it as it can be written."""
        return f"at most {self.operations:.0f} relay operations"


Constraint = (
    NeverBelow | NeverAbove | RootedBy | SumBy | AtMostEnergy | AtMostOperations
)


@dataclass(frozen=True, slots=True)
class Wish:
    """One goal, and what must hold.

    Attributes:
        text: As it was written.
        goal: What there shall be least of.
        constraints: What must hold.
    """

    text: str
    goal: Goal
    constraints: tuple[Constraint, ...]

    @property
    def needs_rooting(self) -> bool:
        """Whether it must be known what stands for rooted."""
        return any(isinstance(one, RootedBy) for one in self.constraints)


class WishError(ValueError):
    """A wish that is not understood; the message says where, and what would be."""


ROOTING_ASK = (
    "'rooted by' needs to know what stands for rooted: say --rooting"
    ' "3200 K·h above 10 °C", with your crop\'s own figures'
)

GRAMMAR = (
    'one of "least energy", "fewest relay operations", "steadiest", "most even'
    ' trays"; with any of "coolest tray never below 20 °C", "no tray above 28 °C",'
    ' "rooted by 2027-03-20", "N2 has 300 K·h by 2027-03-20", "at most 40 kWh",'
    ' "at most 5000 relay operations"'
)

_MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]

_NUMBER = r"(\d{1,9}(?:\.\d{1,9})?)"
_TEMP = r"(-?\d{1,4}(?:\.\d{1,9})?)\s*°?\s*(C|F)"
_DAY = r"(\d{4}-\d{2}-\d{2}|\d{1,2}\s+[A-Za-z]+(?:\s+\d{4})?)"
_JOINER = re.compile(
    r"\s+|[,;]|(?:and|with|but|at(?!\s+most\s+\d))(?!\w)", re.IGNORECASE
)
"""What may stand between phrases; "at most 40 kWh" is one of them itself."""

_Reader = Callable[["re.Match[str]"], Goal | Constraint]


def _celsius(number: str, unit: str) -> float:
    value = Fraction(number)
    if unit.upper() == "F":
        value = (value - 32) * 5 / 9
    return float(value)


def _day(text: str) -> Day:
    """Return a day; raise ValueError where there is none such."""
    if "-" in text:
        return date.fromisoformat(text)
    number, word, *year = text.split()
    fits = [
        place
        for place, month in enumerate(_MONTHS, start=1)
        if len(word) > 2 and month.startswith(word.lower())  # noqa: PLR2004 ("mar")
    ]
    if len(fits) != 1:
        raise ValueError(f"{word} is no month")
    found = date(int(year[0]) if year else _LEAP_YEAR, fits[0], int(number))
    return found if year else YearDay(found.month, found.day)


def _sum_by(found: "re.Match[str]") -> SumBy:
    heat = Fraction(found[2])
    if not heat:
        raise ValueError("a sum must be above 0")
    if found[3].upper() == "F":
        heat = heat * 5 / 9
    return SumBy(found[1], float(heat), _day(found[4]))


_PHRASES: tuple[tuple[str, _Reader], ...] = (
    (r"least energy", lambda _: Goal.ENERGY),
    (r"fewest (?:relay )?operations", lambda _: Goal.OPERATIONS),
    (r"steadiest", lambda _: Goal.DEVIATION),
    (r"most even(?: trays)?", lambda _: Goal.UNEVEN),
    (
        rf"(?:coolest tray never|no tray(?: ever)?) below {_TEMP}",
        lambda found: NeverBelow(_celsius(found[1], found[2])),
    ),
    (
        rf"(?:warmest tray never|no tray(?: ever)?) above {_TEMP}",
        lambda found: NeverAbove(_celsius(found[1], found[2])),
    ),
    (rf"rooted by {_DAY}", lambda found: RootedBy(_day(found[1]))),
    (
        rf"([A-Za-z0-9_-]{{1,32}}) has {_NUMBER}\s*°?([KF])\s*[·*]?\s*h by {_DAY}",
        _sum_by,
    ),
    (rf"at most {_NUMBER}\s*kWh", lambda found: AtMostEnergy(float(found[1]))),
    (
        r"at most (\d{1,9}) (?:relay )?operations",
        lambda found: AtMostOperations(float(found[1])),
    ),
)

_READ = tuple(
    (re.compile(phrase.replace(" ", r"\s+") + r"(?!\w)", re.IGNORECASE), reader)
    for phrase, reader in _PHRASES
)


def read_wish(text: str) -> Wish:
    """Return what somebody wishes.

    Raises:
        WishError: It is not understood, has no goal or more than one; the
            message names the place and what can be wished.
    """
    said = list(_said(text))
    goals = [one for one in said if isinstance(one, Goal)]
    if len(goals) != 1:
        there = " and ".join(f'"{goal.value}"' for goal in goals) or "none"
        raise WishError(f"{text!r} has {there} for a goal; write {GRAMMAR}")
    constraints = tuple(one for one in said if not isinstance(one, Goal))
    return Wish(text, goals[0], constraints)


def _said(text: str) -> Iterator[Goal | Constraint]:
    at = len(text) - len(text.lstrip())
    if at == len(text):
        raise WishError(f"it is empty; write {GRAMMAR}")
    while at < len(text):
        one, at = _phrase(text, at)
        yield one
        start = at
        while at < len(text) and (joiner := _JOINER.match(text, at)):
            at = joiner.end()
        if start == at < len(text) or (at == len(text) and text[start:at].strip()):
            raise _not_understood(text, start)


def _phrase(text: str, at: int) -> tuple[Goal | Constraint, int]:
    for pattern, reader in _READ:
        found = pattern.match(text, at)
        if found is not None:
            try:
                return reader(found), found.end()
            except ValueError as error:
                message = f"{text!r}: {found[0]!r}: {error}"
                raise WishError(message) from None
    raise _not_understood(text, at)


def _not_understood(text: str, at: int) -> WishError:
    return WishError(f"{text!r}: not understood from {text[at:]!r} on; write {GRAMMAR}")
