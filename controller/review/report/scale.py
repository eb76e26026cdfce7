"""Axes: where things lie on a picture, and where its ticks are.

What may live here: straight scales, ticks of numbers, ticks of local days.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_STEPS = (1, 2, 5, 10)
_DAY_STEPS = (1, 2, 3, 7, 14, 28)


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight scale from values to places.

    Attributes:
        low: The value at begin.
        high: The value at end; above low.
        begin: A place.
        end: Another place; may lie before it.
    """

    low: float
    high: float
    begin: float
    end: float

    def at(self, value: float) -> float:
        """Return the place of a value, also beyond the ends."""
        share = (value - self.low) / (self.high - self.low)
        return self.begin + share * (self.end - self.begin)

    def within(self, value: float) -> float:
        """Return the place of a value, held within the ends."""
        return self.at(min(max(value, self.low), self.high))


@dataclass(frozen=True, slots=True)
class Degrees:
    """In which unit temperatures are shown.

    Attributes:
        unit: "°C" or "°F".
    """

    unit: str = "°C"

    def of(self, temp_mc: float) -> float:
        """Return a temperature [m°C] in the unit."""
        value = temp_mc / 1000
        return value * 9 / 5 + 32 if self.unit == "°F" else value

    def text(self, temp_mc: float, digits: int = 1) -> str:
        """Return it as text with its unit."""
        return f"{self.of(temp_mc) + 0.0:.{digits}f} {self.unit}"

    def short(self, temp_mc: float) -> str:
        """Return it without needless digits."""
        return f"{round(self.of(temp_mc), 1) + 0.0:g} {self.unit}"

    def heat(self, k_h: float) -> str:
        """Return thermal time [K·h] in the unit."""
        value, unit = (k_h * 9 / 5, "°F·h") if self.unit == "°F" else (k_h, "K·h")
        return f"{value:,.0f} {unit}"


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers within two values, at most so many."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return []
    rough = (high - low) / max(1, most)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * n for n in _STEPS if power * n >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(n * step, 9) for n in range(first, last + 1)]


def midnights(
    from_ms: int, to_ms: int, timezone: str, most: int
) -> Iterator[tuple[int, date]]:
    """Yield local midnights within two times, at most so many, in equal steps."""
    zone = ZoneInfo(timezone)
    days = max(1, math.ceil((to_ms - from_ms) / DAY_MS))
    step = next((n for n in _DAY_STEPS if days / n <= most), None)
    step = step or math.ceil(days / most)
    day = local(from_ms, zone).date()
    while True:
        at_ms = midnight_ms(day, zone)
        if at_ms >= to_ms:
            return
        if at_ms >= from_ms:
            yield at_ms, day
            day += timedelta(days=step)
        else:
            day += timedelta(days=1)


def midnight_ms(day: date, zone: ZoneInfo) -> int:
    """Return when a local day begins [ms]."""
    begins = datetime(day.year, day.month, day.day, tzinfo=zone)
    return (begins.astimezone(UTC) - _EPOCH) // timedelta(milliseconds=1)


def local(utc_ms: int, zone: ZoneInfo) -> datetime:
    """Return a time [ms] on the bench's own clock."""
    return (_EPOCH + timedelta(milliseconds=utc_ms)).astimezone(zone)


def day_text(day: date) -> str:
    """Return a day without its year, such as "3 Feb", not to be broken."""
    return f"{day.day}\N{NO-BREAK SPACE}{day:%b}"
