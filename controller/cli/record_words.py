"""Times of records as a person writes and reads them: the bench's local ones.

What may live here: that, for commands that ask the API.
"""

import argparse
from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from controller.cli.asking import ask
from controller.cli.log_bench import name_of, zone_of
from controller.cli.log_words import utc_ms_said
from controller.cli.over_http import AskError


def timezone_of(args: argparse.Namespace) -> str:
    """Return the bench's time zone, as its API or its log tells; asked for once."""
    known: str | None = getattr(args, "zone", None)
    if known is None:
        known = args.zone = _timezone(args)
    return known


def _timezone(args: argparse.Namespace) -> str:
    if args.log is not None:
        return zone_of(args.log)
    zone = ask(args, "GET", "/v1/bench").get("timezone")
    if not isinstance(zone, str):
        raise AskError("what answers there does not tell the bench's time zone")
    return zone


def bench_of(args: argparse.Namespace) -> str:
    """Return the bench's name, as its API or its log tells."""
    if args.log is not None:
        return name_of(args.log)
    return str(ask(args, "GET", "/v1/bench").get("bench", ""))


def at_said(args: argparse.Namespace, option: str, text: str) -> str:
    """Return a time that a person wrote, in RFC 3339.

    Raises:
        AskError: The bench's time zone cannot be asked for.
        ExchangeError: It is no time.
    """
    # Its own offset, if it has one, needs nobody's time zone.
    zoned = text.upper().endswith("Z") or "+" in text
    utc_ms = utc_ms_said(option, text, "UTC" if zoned else timezone_of(args))
    at = datetime.fromtimestamp(utc_ms / 1000, UTC)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local_words(args: argparse.Namespace) -> Callable[[str], str]:
    """Return what shows a time of the API's as the bench's clock shows it."""
    zone = ZoneInfo(timezone_of(args))

    def words(text: str) -> str:
        return f"{datetime.fromisoformat(text).astimezone(zone):%Y-%m-%d %H:%M}"

    return words
