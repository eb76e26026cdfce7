"""Words about season logs that several commands take or say.

What may live here: times that a person writes, and progress on a terminal. No
command.
"""

import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from controller.adapters.exchange import ExchangeError
from controller.adapters.season_log import SeasonLogReader
from controller.ports import RecordedScan, RunHeader

_PROGRESS_EVERY = 5_000

A_TIME = "2027-02-01, or 2027-02-01T09:00, or 2027-02-01T08:00Z"


def utc_ms_said(option: str, text: str, timezone: str) -> int:
    """Return a time that was written on the command line [ms].

    A date is its first moment; both are the bench's local time, unless a
    time brings "Z" or an offset of its own.

    Args:
        option: Where it was written, for the error.
        text: What was written.
        timezone: The bench's time zone (IANA name).

    Raises:
        ExchangeError: It is no time.
    """
    try:
        at = _said(text)
        if at.tzinfo is None:
            at = at.replace(tzinfo=ZoneInfo(timezone))
        since = at.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)
    except ValueError:
        raise ExchangeError(f"{option} {text!r} is no time; write {A_TIME}") from None
    except OverflowError:
        raise ExchangeError(
            f"{option} {text!r} lies outside of the years 1 to 9999 in UTC; write"
            f" {A_TIME}"
        ) from None
    return round(since.total_seconds() * 1000)


def _said(text: str) -> datetime:
    try:
        return datetime.combine(date.fromisoformat(text), time())
    except ValueError:
        return datetime.fromisoformat(text)


def scans_with_progress(
    reader: SeasonLogReader, header: RunHeader
) -> Iterator[RecordedScan]:
    """Yield a run's scans; say on a terminal how far they are."""
    scans = reader.scans(header.run)
    if not sys.stderr.isatty():
        yield from scans
        return
    last_seq = max(1, reader.last_seq(header.run))
    for recorded in scans:
        if recorded.scan.seq % _PROGRESS_EVERY == 0:
            share = recorded.scan.seq / last_seq
            said = f"\rrun {header.run}: {share:4.0%}"
            print(said, end="", file=sys.stderr, flush=True)
        yield recorded
    print("\r\033[K", end="", file=sys.stderr, flush=True)
