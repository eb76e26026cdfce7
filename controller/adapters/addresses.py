"""Addresses of those who are told of alarms: what they may be, how they are shown.

An address may hold a secret (a token in its path, its query or, with some
services, in place of the host). What may live here: taking one apart, and what
of it may be shown. No connection.
"""

from dataclasses import dataclass, field
from enum import Enum
from urllib.parse import urlsplit

ASK = (
    'write "https://…" or "http://…" (a webhook), "mqtt" (the bench\'s own broker) '
    'or "apprise:" and an address of that library'
)

_APPRISE = "apprise:"
_LONGEST = 2_000


class Way(Enum):
    """How a message travels."""

    WEBHOOK = "webhook"
    MQTT = "mqtt"
    APPRISE = "apprise"


@dataclass(frozen=True, slots=True)
class Address:
    """Where messages go.

    Attributes:
        way: How they travel.
        url: The whole of it, for the one who sends; never shown.
        shown: What people may see.
    """

    way: Way
    url: str = field(repr=False)
    shown: str


def address_of(text: str) -> Address:
    """Return an address taken apart.

    Raises:
        ValueError: It is none; the message says what would be right and
            repeats nothing of it.
    """
    if text == "mqtt":
        return Address(Way.MQTT, text, "mqtt")
    if len(text) > _LONGEST or not text.isascii() or not text.isprintable():
        message = f"{ASK}; of at most {_LONGEST} plain characters"
        raise ValueError(message)
    if " " in text:
        message = f"{ASK}; without spaces"
        raise ValueError(message)
    if text.startswith(_APPRISE):
        return _apprise(text.removeprefix(_APPRISE))
    return _webhook(text)


def _apprise(url: str) -> Address:
    scheme, separator, rest = url.partition("://")
    if not separator or not scheme.isalnum() or not rest:
        message = 'after "apprise:" write an address of that library: "scheme://…"'
        raise ValueError(message)
    # With many services a token stands where others have a host.
    return Address(Way.APPRISE, url, f"apprise:{scheme}://…")


def _webhook(url: str) -> Address:
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise ValueError(ASK) from None
    if parts.scheme not in {"http", "https"} or not host or port == 0:
        raise ValueError(ASK)
    if "@" in parts.netloc:
        message = (
            "leave name and password out of it: a webhook's secret belongs into its "
            "path or query"
        )
        raise ValueError(message)
    at = host if port is None else f"{host}:{port}"
    return Address(Way.WEBHOOK, url, f"{parts.scheme}://{at}")
