"""Times as another recorder wrote them, as milliseconds of UTC.

A time without an offset is local: when clocks go back an hour comes twice, and
when they go forward an hour never comes. Neither is guessed. What may live
here: how a written time becomes an instant.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from controller.adapters.exchange.errors import ExchangeError

Fold = Literal["earlier", "later"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
_FIRST_YEAR = 1970
_LAST_YEAR = 2200
_EXAMPLE = datetime(2027, 2, 1, 21, 5, 7)  # noqa: DTZ001


class NoTimeError(ValueError):
    """A cell holds no instant; the message is the reason."""


def reader_of_times(
    written: str, timezone: str, fold: Fold | None
) -> Callable[[str], int]:
    """Return what reads a written time as milliseconds of UTC.

    Args:
        written: "iso" (ISO 8601), "unix" (seconds since 1970), "unix-ms", or a
            pattern with the directives of C's strptime.
        timezone: Where times without an offset are local (IANA name).
        fold: Which instant a time means that comes twice or never; None:
            such a time is refused.

    Raises:
        ExchangeError: The time zone or the pattern is none.
    """
    zone = zone_of(timezone)
    if written in {"unix", "unix-ms"}:
        unit = 1000 if written == "unix" else 1
        return lambda text: _unix(text, unit)
    if written != "iso":
        _check_pattern(written)

    def read(text: str) -> int:
        try:
            at = (
                datetime.fromisoformat(text)
                if written == "iso"
                else datetime.strptime(text, written)  # noqa: DTZ007
            )
        except ValueError:
            raise NoTimeError("no time") from None
        if not _FIRST_YEAR <= at.year <= _LAST_YEAR:
            raise NoTimeError(f"not between {_FIRST_YEAR} and {_LAST_YEAR}")
        return _instant(at, zone, fold)

    return read


def zone_of(timezone: str) -> ZoneInfo:
    """Return a time zone; raise ExchangeError if there is none of that name."""
    try:
        return ZoneInfo(timezone)
    except (LookupError, ValueError, OSError):
        raise ExchangeError(
            f"--timezone {timezone}: there is none of that name; write one such as"
            " Europe/Paris, or UTC, or Etc/GMT-1 for a clock that always is one hour"
            " ahead of UTC"
        ) from None


def _check_pattern(written: str) -> None:
    try:
        again = datetime.strptime(_EXAMPLE.strftime(written), written)  # noqa: DTZ007
    except ValueError as error:
        raise ExchangeError(f"--time-format {written!r}: {error}") from None
    if again.hour == _EXAMPLE.hour - 12:
        raise ExchangeError(
            f"--time-format {written!r} tells morning and evening not apart: %I needs"
            " %p beside it; %H counts to 23"
        )
    if again.date() != _EXAMPLE.date():
        raise ExchangeError(
            f"--time-format {written!r} tells no day: %Y, %m and %d, or their like, are"
            " needed; a date in a column of its own is a second --time-column"
        )


def _unix(text: str, unit: int) -> int:
    try:
        at_ms = round(float(text) * unit)
        year = (_EPOCH + at_ms * _MS).year
    except (ValueError, OverflowError):
        raise NoTimeError("no time") from None
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise NoTimeError(f"not between {_FIRST_YEAR} and {_LAST_YEAR}")
    return at_ms


def _instant(at: datetime, zone: ZoneInfo, fold: Fold | None) -> int:
    if at.tzinfo is not None:
        return (at - _EPOCH) // _MS
    first, second = (
        (at.replace(tzinfo=zone, fold=which).astimezone(UTC) - _EPOCH) // _MS
        for which in (0, 1)
    )
    if first == second:
        return first
    if fold is None:
        # PEP 495: the later reading of a time that is skipped lies before the other.
        raise NoTimeError(
            "comes twice as clocks go back"
            if first < second
            else "never comes as clocks go forward"
        )
    return min(first, second) if fold == "earlier" else max(first, second)
