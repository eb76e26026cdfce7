"""When trays are watered: every so many days, at an hour, with how much.

What may live here: the schedule, as data and as a person writes it. No heat.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

DAY_MINUTES = 1440
MOST_MM = 100.0
_WARMTH_C = (0.0, 60.0)


@dataclass(frozen=True, slots=True)
class Watering:
    """Waterings that come again and again.

    Attributes:
        mm: How much [mm, which is litres per square metre].
        temp_c: How warm the water is [°C].
        at_minute: Minute of the day.
        every_days: On every which day.
        first_day: On which day for the first time; 0 is the day on which the
            world begins.
        trays: Which trays, by name; none named: all.

    Raises:
        ValueError: Something is out of its range; the message says what.
    """

    mm: float
    temp_c: float
    at_minute: int = 8 * 60
    every_days: int = 1
    first_day: int = 0
    trays: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        low, high = _WARMTH_C
        for what, value, right in (
            (
                f"{self.mm:g} mm",
                0 < self.mm <= MOST_MM,
                f"above 0, at most {MOST_MM:g}",
            ),
            (f"{self.temp_c:g} °C", low <= self.temp_c <= high, "from 0 to 60 °C"),
            (
                f"minute {self.at_minute} of the day",
                0 <= self.at_minute < DAY_MINUTES,
                "from 0 to 1439",
            ),
            (f"every {self.every_days} days", self.every_days >= 1, "at least 1"),
            (f"first on day {self.first_day}", self.first_day >= 0, "at least 0"),
        ):
            if not value:
                message = f"watering with {what}: must be {right}"
                raise ValueError(message)

    def after(self, minute: int, start_minute: int) -> int:
        """Return the first minute, from one on, at which it happens.

        Args:
            minute: Minutes since the world began.
            start_minute: Minute of the day at which it began.
        """
        first = self.first_day * DAY_MINUTES + self.at_minute - start_minute
        if first < 0:
            first += self.every_days * DAY_MINUTES
        period = self.every_days * DAY_MINUTES
        return first + max(0, -(-(minute - first) // period)) * period


class Pour(NamedTuple):
    """Water that is poured over a tray.

    Attributes:
        tray: The tray.
        mm: How much [mm, which is litres per square metre].
        temp_c: How warm [°C].
    """

    tray: str
    mm: float
    temp_c: float


@dataclass(frozen=True, slots=True)
class Watered:
    """A watering that was done.

    Attributes:
        at_ms: When, on the world's clock [ms].
        tray: The tray.
        mm: How much [mm].
        temp_c: How warm the water was [°C].
        kept_mm: How much the medium kept [mm].
        out_c: How warm the rest ran out [°C].
    """

    at_ms: int
    tray: str
    mm: float
    temp_c: float
    kept_mm: float
    out_c: float


_NEVER = 2**62


class Waterings:
    """A schedule, minute by minute since a world began.

    Args:
        schedule: What is done.
        trays: All trays, by name.
        start_minute: Minute of the day at which the world begins.

    Attributes:
        next_minute: The next with a watering; beyond all time: there is none.

    Raises:
        ValueError: A tray is named that is not there.
    """

    def __init__(
        self, schedule: Sequence[Watering], trays: Sequence[str], start_minute: int
    ) -> None:
        self._schedule, self._trays = schedule, trays
        self._start_minute = start_minute
        for name in (name for watering in schedule for name in watering.trays):
            if name not in trays:
                message = f"watering of tray {name}: there is no such tray"
                raise ValueError(message)
        self.next_minute = self._after(0)

    def due(self, minute: int) -> Iterator[Pour]:
        """Yield what is poured at a minute, and look ahead."""
        self.next_minute = self._after(minute + 1)
        for watering in self._schedule:
            if watering.after(minute, self._start_minute) == minute:
                for tray in watering.trays or self._trays:
                    yield Pour(tray, watering.mm, watering.temp_c)

    def _after(self, minute: int) -> int:
        nexts = (w.after(minute, self._start_minute) for w in self._schedule)
        return min(nexts, default=_NEVER)


def moments(
    schedule: Sequence[Watering], minutes: int, start_minute: int
) -> list[tuple[int, Watering]]:
    """Return when what of a schedule happens, for whoever fits between waterings.

    Args:
        schedule: What is done.
        minutes: For how long [min].
        start_minute: Minute of the day at which the world begins.

    Returns:
        Minutes since the world began, in order, each with what is done.
    """
    found = []
    for watering in schedule:
        minute = watering.after(0, start_minute)
        while minute < minutes:
            found.append((minute, watering))
            minute = watering.after(minute + 1, start_minute)
    return sorted(found, key=lambda moment: moment[0])


_WORDS = re.compile(
    r"""(?: (?P<trays>[^:]+?) \s* : \s* )?
    every \s+ (?: (?P<days>\d+) \s+ )? days? \s+
    (?P<hour>\d{1,2}) : (?P<minute>\d\d) \s+
    (?P<mm>\d+(?:\.\d+)?) \s* mm \s+
    (?P<temp>\d+(?:\.\d+)?) \s* °?C""",
    re.VERBOSE,
)


def read(text: str) -> Watering:
    """Read waterings as a person writes them.

    "every 3 days 08:00 6 mm 12 °C", or with trays before: "N1, N2: every day
    07:30 4 mm 15 °C".

    Raises:
        ValueError: It cannot be read, or a value is out of its range.
    """
    found = _WORDS.fullmatch(text.strip())
    if found is None:
        message = (
            f'watering {text!r}: must be such as "every 3 days 08:00 6 mm 12 °C",'
            ' or "N1, N2: every day 07:30 4 mm 15 °C"'
        )
        raise ValueError(message)
    hour, minute = int(found["hour"]), int(found["minute"])
    if minute > 59 or hour > 23:  # noqa: PLR2004
        message = f"watering {text!r}: {hour}:{minute:02}: must be a time of the day"
        raise ValueError(message)
    named = (found["trays"] or "").split(",")
    return Watering(
        mm=float(found["mm"]),
        temp_c=float(found["temp"]),
        at_minute=60 * hour + minute,
        every_days=int(found["days"] or 1),
        trays=tuple(name.strip() for name in named if name.strip()),
    )
