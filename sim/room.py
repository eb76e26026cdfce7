"""The room around a bench: a day-and-night model, or a table of hours."""

import csv
import io
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import numpy as np

from sim.thermal import Vector

COLDEST_C = 11.0
WARMEST_C = 17.0
"""The invented lean-to in late winter: frost-free but barely heated."""

_WARMEST_MINUTE = 15 * 60
_WEATHER_K = 0.9
_WEATHER_DAYS = 2.0
_DAY_MINUTES = 1440
_MOST_HOURS = 1_000_000
_ROOM_RANGE_C = (-40.0, 60.0)


class DayAndNight:
    """A room that is warmest at 15:00 and has weather of a few days.

    Args:
        seed: Of the weather.
        start_minute: Minute of the day at which the table of time begins.
    """

    def __init__(self, seed: int, start_minute: int) -> None:
        self._start_minute = start_minute
        self._noise = np.random.default_rng([seed, 1])
        self._weather: list[float] = [0.0]

    def at(self, minute: int) -> float:
        """Return the temperature [°C] so many minutes after the beginning."""
        clock = (self._start_minute + minute - _WARMEST_MINUTE) / _DAY_MINUTES
        middle = (WARMEST_C + COLDEST_C) / 2
        swing = (WARMEST_C - COLDEST_C) / 2 - 1.0
        temp = middle + swing * math.cos(2 * math.pi * clock) + self._weather_at(minute)
        return min(WARMEST_C, max(COLDEST_C, temp))

    def over(self, minute: int, count: int) -> Vector:
        """Return the temperatures [°C] of so many minutes from one on."""
        minutes = minute + np.arange(count)
        clock = (self._start_minute + minutes - _WARMEST_MINUTE) / _DAY_MINUTES
        middle = (WARMEST_C + COLDEST_C) / 2
        swing = (WARMEST_C - COLDEST_C) / 2 - 1.0
        first, last = minute // 60, (minute + count - 1) // 60
        self._know_hours(last + 2)
        hours = np.arange(first, last + 2)
        weather = np.interp(minutes, 60 * hours, self._weather[first : last + 2])
        temps = middle + swing * np.cos(2 * math.pi * clock) + weather
        return np.clip(temps, COLDEST_C, WARMEST_C)

    def _weather_at(self, minute: int) -> float:
        """Return the slow part [K]: hourly, joined by straight lines."""
        hour, within = divmod(minute, 60)
        self._know_hours(hour + 2)
        one, other = self._weather[hour : hour + 2]
        return one + (other - one) * within / 60

    def _know_hours(self, count: int) -> None:
        while len(self._weather) < count:
            keep = math.exp(-1 / (24 * _WEATHER_DAYS))
            push = math.sqrt(1 - keep * keep) * _WEATHER_K
            shock = float(self._noise.standard_normal())
            self._weather.append(keep * self._weather[-1] + push * shock)


@dataclass(frozen=True, slots=True)
class RoomTable:
    """A room by a table; straight lines between rows, the ends held.

    Attributes:
        minutes: Minutes after the first row.
        temps_c: Temperatures [°C].
        starts: The moment of the first row, where rows have moments.
    """

    minutes: Sequence[float]
    temps_c: Sequence[float]
    starts: datetime | None = None

    def at(self, minute: int) -> float:
        """Return the temperature [°C] so many minutes after the first row."""
        after = bisect_right(self.minutes, minute)
        if after == 0:
            return self.temps_c[0]
        if after == len(self.minutes):
            return self.temps_c[-1]
        from_min, to_min = self.minutes[after - 1], self.minutes[after]
        from_c, to_c = self.temps_c[after - 1], self.temps_c[after]
        return from_c + (to_c - from_c) * (minute - from_min) / (to_min - from_min)

    def over(self, minute: int, count: int) -> Vector:
        """Return the temperatures [°C] of so many minutes from one on."""
        minutes = minute + np.arange(count)
        found: Vector = np.interp(minutes, self.minutes, self.temps_c)
        return found


Room = DayAndNight | RoomTable


def room_table(text: str) -> RoomTable:
    """Read a table with a head "time,temp_c".

    The time is RFC 3339 with its offset, or hours as a number; it grows from
    row to row. The first row is the beginning of the simulation; whoever runs it
    lets it begin at that moment, so that night and sun are the table's.

    Raises:
        ValueError: Something is wrong; the message names the line.
    """
    try:
        rows = list(csv.reader(io.StringIO(text), strict=True))
    except csv.Error as error:
        message = f"not readable as CSV: {error}"
        raise ValueError(message) from error
    if not rows or [cell.strip() for cell in rows[0]] != ["time", "temp_c"]:
        head = ",".join(rows[0])[:60] if rows else "nothing"
        message = f"line 1: {head!r}: the head must be time,temp_c"
        raise ValueError(message)
    found: list[_Row] = []
    for line, row in enumerate(rows[1:], start=2):
        if row:
            one = _row(line, row)
            _refuse_before(found, one, f"line {line}: {row[0]!r}")
            found.append(one)
    if not found:
        message = "line 2: nothing: at least one row of time and temperature"
        raise ValueError(message)
    first = found[0]
    minutes = [one.minutes - first.minutes for one in found]
    return RoomTable(minutes, [one.temp_c for one in found], first.moment)


class _Row(NamedTuple):
    """Time [min] and temperature [°C] of a row, and its moment if it has one."""

    minutes: float
    temp_c: float
    moment: datetime | None


def _refuse_before(found: Sequence[_Row], one: _Row, where: str) -> None:
    if not found:
        return
    if (found[0].moment is None) is not (one.moment is None):
        message = f"{where}: hours in one row, a moment in another"
        raise ValueError(message)
    if one.minutes <= found[-1].minutes:
        message = f"{where}: each time must be later than before"
        raise ValueError(message)


def _row(line: int, row: Sequence[str]) -> _Row:
    if len(row) != 2:  # noqa: PLR2004
        message = f"line {line}: {len(row)} columns: must be time and temp_c"
        raise ValueError(message)
    low, high = _ROOM_RANGE_C
    try:
        temp = float(row[1])
    except ValueError:
        temp = math.nan
    if not low <= temp <= high:
        message = f"line {line}: {row[1]!r}: must be a temperature from -40 to 60 °C"
        raise ValueError(message)
    minutes, moment = _minutes(line, row[0].strip())
    return _Row(minutes, temp, moment)


def _minutes(line: int, text: str) -> tuple[float, datetime | None]:
    """Return a time in minutes, of hours or of RFC 3339, and its moment if any."""
    try:
        hours = float(text)
    except ValueError:
        pass
    else:
        if abs(hours) <= _MOST_HOURS:
            return hours * 60, None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        message = (
            f"line {line}: {text!r}: must be hours, or a time such as"
            " 2027-02-01T09:00:00Z"
        )
        raise ValueError(message)
    return moment.timestamp() / 60, moment
