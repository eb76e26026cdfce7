"""How numbers become text: times, temperatures, durations.

What may live here: pure formatting. Nothing about mats or trays.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

FAHRENHEIT = "°F"
"""The other display unit; everything else is shown in °C."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def utc_text(utc_ms: int) -> str:
    """Return an instant [ms] as RFC 3339 in UTC with milliseconds and Z."""
    moment = (_EPOCH + timedelta(milliseconds=utc_ms)).replace(tzinfo=None)
    return moment.isoformat(timespec="milliseconds") + "Z"


def local_text(utc_ms: int, now_utc_ms: int, timezone: str) -> str:
    """Return an instant on the bench's own clock, such as "14:30".

    The date is added when it is not today's.

    Args:
        utc_ms: The instant [ms].
        now_utc_ms: The present instant [ms].
        timezone: IANA name of the bench's time zone.
    """
    zone = ZoneInfo(timezone)
    moment = (_EPOCH + timedelta(milliseconds=utc_ms)).astimezone(zone)
    today = (_EPOCH + timedelta(milliseconds=now_utc_ms)).astimezone(zone).date()
    clock = f"{moment:%H:%M}"
    return clock if moment.date() == today else f"{clock} on {moment.date()}"


def temp_text(temp_mc: float, unit: str, decimals: int = 1) -> str:
    """Return a temperature [m°C] in the display unit."""
    value = temp_mc / 1000
    if unit == FAHRENHEIT:
        value = value * 9 / 5 + 32
    # Adding zero turns a rounded -0.0 into 0.0.
    figure = f"{round(value, decimals) + 0.0:.{decimals}f}"
    return f"{figure} {FAHRENHEIT if unit == FAHRENHEIT else '°C'}"


def difference_text(difference_mk: float, unit: str) -> str:
    """Return a difference of temperatures [mK] in the display unit: "3 K"."""
    value = difference_mk / 1000
    if unit == FAHRENHEIT:
        return f"{round(value * 9 / 5, 1) + 0.0:g} {FAHRENHEIT}"
    return f"{round(value, 1) + 0.0:g} K"


def short_temp_text(temp_mc: float, unit: str) -> str:
    """Return a temperature [m°C] without needless decimals: "24 °C"."""
    return temp_text(temp_mc, unit).replace(".0 ", " ")


def duration_text(lasting_ms: float) -> str:
    """Return a duration [ms] as a person says it: "45 s", "3 min", "2 h 5 min"."""
    if lasting_ms < MINUTE_MS:
        return f"{max(0, round(lasting_ms / SECOND_MS))} s"
    if lasting_ms < HOUR_MS:
        return f"{int(lasting_ms // MINUTE_MS)} min"
    if lasting_ms < DAY_MS:
        return _two(int(lasting_ms // MINUTE_MS), 60, "h", "min")
    return _two(int(lasting_ms // HOUR_MS), 24, "d", "h")


def percent_text(share: float) -> str:
    """Return a share from 0 to 1 as "40 %"."""
    return f"{100 * share:.0f} %"


def days_text(days: float) -> str:
    """Return a number of days: one decimal below ten, whole ones above."""
    figure = f"{days:.0f}" if days >= 10 else f"{days:.1f}".removesuffix(".0")  # noqa: PLR2004
    return f"{figure} day" if figure == "1" else f"{figure} days"


def _two(amount: int, per: int, large: str, small: str) -> str:
    whole, rest = divmod(amount, per)
    return f"{whole} {large} {rest} {small}" if rest else f"{whole} {large}"
