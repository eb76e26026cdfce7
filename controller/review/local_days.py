"""Local days as stretches of the wall clock: 24 hours, sometimes 23 or 25.

What may live here: which day of the bench's time zone an instant lies in, and
where that day begins and ends. The zone is a name; nothing reads a clock.
"""

from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from typing_extensions import override

from controller.core.units import HOUR_MS

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_DAY = date(1970, 1, 1).toordinal()
_MS = timedelta(milliseconds=1)
_EVER_MS = 2**61


class Stretch(NamedTuple):
    """A stretch of time [start, end).

    Attributes:
        day: Days since 1970-01-01, local; None: not asked for.
        start_utc_ms: Where it begins [ms].
        end_utc_ms: Where it ends [ms].
    """

    day: int | None
    start_utc_ms: int
    end_utc_ms: int


class LocalDays:
    """The days of a time zone, within a span of time.

    Args:
        timezone: IANA name.
        from_utc_ms: Beginning of the span [ms]; None: none.
        to_utc_ms: Its end, not part of it [ms]; None: none.
    """

    def __init__(
        self,
        timezone: str,
        from_utc_ms: int | None = None,
        to_utc_ms: int | None = None,
    ) -> None:
        self._zone = ZoneInfo(timezone)
        self.from_ms = -_EVER_MS if from_utc_ms is None else from_utc_ms
        self.to_ms = _EVER_MS if to_utc_ms is None else to_utc_ms

    def at(self, utc_ms: int) -> Stretch:
        """Return the day of an instant, cut by the span.

        Raises:
            ValueError: The instant lies outside of the years 1 to 9999.
        """
        if utc_ms < self.from_ms:
            return Stretch(None, -_EVER_MS, self.from_ms)
        if utc_ms >= self.to_ms:
            return Stretch(None, self.to_ms, _EVER_MS)
        try:
            here = (_EPOCH + timedelta(milliseconds=utc_ms)).astimezone(self._zone)
            start_ms = self.midnight_ms(here.date())
            end_ms = self.midnight_ms(here.date() + timedelta(days=1))
        except OverflowError:
            msg = f"{utc_ms} ms since 1970: no day of the years 1 to 9999"
            raise ValueError(msg) from None
        return Stretch(
            here.date().toordinal() - _FIRST_DAY,
            max(start_ms, self.from_ms),
            min(end_ms, self.to_ms),
        )

    def midnight_ms(self, day: date) -> int:
        """Return when a local day begins [ms]; where midnight is left out, after."""
        start = datetime(day.year, day.month, day.day, tzinfo=self._zone)
        return (start.astimezone(UTC) - _EPOCH) // _MS


class EvenHours(LocalDays):
    """Full hours of UTC in place of days, numbered since 1970.

    Args:
        from_utc_ms: Beginning of the span [ms].
        to_utc_ms: Its end, not part of it [ms].
    """

    def __init__(self, from_utc_ms: int, to_utc_ms: int) -> None:
        super().__init__("UTC", from_utc_ms, to_utc_ms)

    @override
    def at(self, utc_ms: int) -> Stretch:
        """Return the hour of an instant, cut by the span."""
        if utc_ms < self.from_ms:
            return Stretch(None, -_EVER_MS, self.from_ms)
        if utc_ms >= self.to_ms:
            return Stretch(None, self.to_ms, _EVER_MS)
        hour = utc_ms // HOUR_MS
        return Stretch(
            hour,
            max(hour * HOUR_MS, self.from_ms),
            min((hour + 1) * HOUR_MS, self.to_ms),
        )


def date_of(day: int) -> date:
    """Return the date of a day since 1970-01-01."""
    return date.fromordinal(day + _FIRST_DAY)
