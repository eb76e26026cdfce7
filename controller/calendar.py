"""Calendars that other programs subscribe to: iCalendar (RFC 5545). Pure.

What may live here: the form. What stands in a calendar is decided by who fills it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

MEDIA_TYPE = "text/calendar; charset=utf-8"

_PRODUCT = "-//bottomheat//calendar//EN"
_LINE_OCTETS = 75
"""RFC 5545, section 3.1, the line's end not counted."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a calendar.

    Attributes:
        uid: Names it for ever, and nothing else: an entry that comes again under
            it replaces the one before.
        start: A day; or an instant with its time zone.
        last: The last day that it lasts, of days; None: the day of its start.
        summary: What is shown in the calendar, on one line.
        description: More of it; may have lines.
    """

    uid: str
    start: date
    summary: str
    description: str = ""
    last: date | None = None


def calendar_text(name: str, entries: Iterable[Entry], written_at: datetime) -> str:
    """Return a calendar, its lines ended by CR LF.

    Args:
        name: What a calendar program calls it.
        entries: What stands in it; each uid once.
        written_at: When what stands in it last changed, with its time zone. The
            same entries with the same time give the same text.

    Raises:
        ValueError: An instant has no time zone, a uid comes twice, or the last day
            of an entry lies before its start.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{_PRODUCT}",
        f"NAME:{_escaped(name)}",  # RFC 7986, section 5.1
        f"X-WR-CALNAME:{_escaped(name)}",  # the same for older programs
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",  # RFC 7986, section 5.7
    ]
    seen: set[str] = set()
    for entry in entries:
        if entry.uid in seen:
            raise ValueError(f"uid {entry.uid!r} comes twice")
        seen.add(entry.uid)
        lines += _event(entry, written_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _event(entry: Entry, written_at: datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{_escaped(entry.uid)}"
    yield f"DTSTAMP:{_instant(written_at)}"
    yield f"DTSTART{_start(entry.start)}"
    if entry.last is not None:
        yield f"DTEND;VALUE=DATE:{_after(entry.start, entry.last):%Y%m%d}"
    yield f"SUMMARY:{_escaped(entry.summary)}"
    if entry.description:
        yield f"DESCRIPTION:{_escaped(entry.description)}"
    yield "TRANSP:TRANSPARENT"  # nobody is busy because a batch is due
    yield "END:VEVENT"


def _start(start: date) -> str:
    if isinstance(start, datetime):
        return f":{_instant(start)}"
    return f";VALUE=DATE:{start:%Y%m%d}"


def _after(start: date, last: date) -> date:
    """Return the day after the last one: no end is part of it (section 3.6.1)."""
    if isinstance(start, datetime) or last < start:
        raise ValueError(f"an entry cannot last from {start} to the day {last}")
    return last + timedelta(days=1)


def _instant(at: datetime) -> str:
    if at.tzinfo is None:
        raise ValueError(f"{at} has no time zone")
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _escaped(text: str) -> str:
    """Return text as a value (RFC 5545, section 3.3.11), without control characters."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    shown = ("".join(c for c in line if c.isprintable() or c == "\t") for line in lines)
    whole = "\n".join(shown).replace("\\", "\\\\").replace(";", "\\;")
    return whole.replace(",", "\\,").replace("\n", "\\n")


def _folded(line: str) -> Iterator[str]:
    """Yield a line in pieces of 75 octets at most, no character cut in two."""
    piece, octets = "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > _LINE_OCTETS:
            yield piece
            piece, octets = " ", 1
        piece += character
        octets += size
    yield piece
