"""Single values that are no quantities: checked, or refused with a sentence."""

import datetime as dt
import re
import zoneinfo
from pathlib import Path

from controller.adapters.settings import quantities
from controller.adapters.settings.quantities import Said

_LONGEST_TITLE = 100
_HIGHEST_PORT = 65_535
_LARGEST = 10**9
_CLOCK = r"([01][0-9]|2[0-3]):([0-5][0-9])"
_NIGHT = re.compile(rf"{_CLOCK}\s*[-–]\s*{_CLOCK}")  # noqa: RUF001
_ONE_WIRE = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
_SENML_NAME = re.compile(r"[A-Za-z0-9][-:./_A-Za-z0-9]{0,199}")
_POINTER = re.compile(r"(/([^~/]|~[01])*)*", re.DOTALL)
_TIMEZONE_ASK = 'write an IANA time zone, such as "UTC" or "Etc/GMT-1"'
_NUMBER_ASK = "write a plain, finite number, such as 0.2"
_DATE_ASK = "write a date, such as 2026-01-31"


def title(value: object) -> str:
    """Return free text for people, on one line."""
    text = value if isinstance(value, str) else "\n"
    if not text.isprintable() or len(text) > _LONGEST_TITLE:
        message = "write text in quotes: one line of at most 100 characters"
        raise ValueError(message)
    return text


def file_path(value: object) -> Path:
    """Return a path; "~" at its start is the user's home."""
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        message = 'write a file\'s path in quotes, such as "season.db"'
        raise ValueError(message)
    try:
        return Path(value).expanduser()
    except RuntimeError:
        message = 'write the whole path: there is no home to put for "~"'
        raise ValueError(message) from None


def number(value: object) -> float:
    """Return a finite plain number."""
    # Compared before it is converted: a whole number may be too large for a float.
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise ValueError(_NUMBER_ASK)  # noqa: TRY004 (pydantic listens for ValueError)
    if not -_LARGEST <= value <= _LARGEST:
        raise ValueError(_NUMBER_ASK)
    return float(value)


def timezone(value: object) -> str:
    """Return an IANA time zone name that this machine knows."""
    if not isinstance(value, str):
        raise ValueError(_TIMEZONE_ASK)  # noqa: TRY004
    try:
        return zoneinfo.ZoneInfo(value).key
    except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError):
        message = f"{_TIMEZONE_ASK}; this machine does not know it"
        raise ValueError(message) from None


def port(value: object) -> int:
    """Return a TCP port; 0 takes any free one. Text comes from the environment."""
    if isinstance(value, str) and re.fullmatch(r"[0-9]{1,5}", value):
        value = int(value)
    if type(value) is int and 0 <= value <= _HIGHEST_PORT:
        return value
    message = "write a TCP port from 1 to 65535, or 0 for any free one"
    raise ValueError(message)


def night(value: object) -> tuple[int, int]:
    """Return the minutes of the day from which to which it is night."""
    match = _NIGHT.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        message = 'write from when to when, such as "22:00-06:00"'
        raise ValueError(message)
    from_h, from_min, to_h, to_min = map(int, match.groups())
    return from_h * 60 + from_min, to_h * 60 + to_min


def ramp(value: object) -> Said:
    """Return a change per hour; "none" stands for none (0)."""
    if value == "none":
        return Said("none", 0)
    said = quantities.rate(value)
    if said.milli <= 0:
        message = 'write a change per hour above 0, such as "3 K/h", or "none"'
        raise ValueError(message)
    return said


def until(value: object) -> Said | None:
    """Return how long a step lasts; None: until a person ends it."""
    if value == "by hand":
        return None
    if isinstance(value, str) and value.strip().endswith("rooted"):
        message = 'a rooted share is not in this version; write "10 days" or "by hand"'
        raise ValueError(message)
    try:
        return quantities.duration(value)
    except ValueError:
        message = 'write a time span such as "10 days", or "by hand"'
        raise ValueError(message) from None


def place(value: object) -> tuple[int, int]:
    """Return row and column on the mat, each from 1."""
    match value:
        case [int() as row, int() as column] if not {type(row), type(column)} & {bool}:
            if max(abs(row), abs(column)) <= _LARGEST:
                return row, column
    message = "write row and column on the mat, each from 1, such as [1, 2]"
    raise ValueError(message)


def one_wire(value: object) -> str:
    """Return the kernel's address of a probe on this board."""
    if not isinstance(value, str) or not _ONE_WIRE.fullmatch(value):
        message = 'write the address as the board shows it, such as "28-0000051d3a2f"'
        raise ValueError(message)
    return value


def payload(value: object) -> str:
    """Return "number", "senml" or a JSON Pointer (RFC 6901)."""
    text = value if isinstance(value, str) else "?"
    if text in {"number", "senml"} or _POINTER.fullmatch(text):
        return text
    message = 'write "number", "senml" or a JSON Pointer such as "/temperature"'
    raise ValueError(message)


def senml_name(value: object) -> str:
    """Return the resolved name of a SenML record (RFC 8428, section 4.5.1)."""
    if not isinstance(value, str) or not _SENML_NAME.fullmatch(value):
        message = "write a SenML name: letters, digits and - : . / _"
        raise ValueError(message)
    return value


def date(value: object) -> str:
    """Return a date as ISO 8601 text."""
    if isinstance(value, dt.datetime):
        raise ValueError(_DATE_ASK)  # noqa: TRY004
    if isinstance(value, dt.date):
        return value.isoformat()
    try:
        text = value if isinstance(value, str) else ""
        return dt.date.fromisoformat(text).isoformat()
    except ValueError:
        raise ValueError(_DATE_ASK) from None
