"""Tokens that nobody knows, counted by where they come from.

What may live here: that count. It is pure: the time is handed in.
"""

import ipaddress
from collections import OrderedDict, deque

MOST_FAILURES = 10
"""Chosen: wrong tokens from one place within a window; a person types two."""

WINDOW_MS = 60_000

MOST_PLACES = 1_000
"""Chosen: places of which failures are kept; the oldest is forgotten."""

MOST_WELCOME = 1_000


class Failures:
    """Failures of late, and who came in from where before.

    Whoever came in from a place before may come again however many others fail
    from there: strangers behind the same address lock nobody out.
    """

    def __init__(self) -> None:
        self._places: OrderedDict[str, deque[int]] = OrderedDict()
        self._welcome: OrderedDict[tuple[str, str], None] = OrderedDict()

    def wait_ms(self, address: str, now_ms: int) -> int:
        """Return how long nobody new is let in from an address; 0: at once [ms]."""
        place = place_of(address)
        failed = self._places.get(place)
        if failed is None:
            return 0
        while failed and now_ms - failed[0] >= WINDOW_MS:
            failed.popleft()
        if not failed:
            del self._places[place]
        return failed[0] + WINDOW_MS - now_ms if len(failed) >= MOST_FAILURES else 0

    def failed(self, address: str, now_ms: int) -> None:
        """Count a failure from an address."""
        place = place_of(address)
        failed = self._places.setdefault(place, deque(maxlen=MOST_FAILURES))
        failed.append(now_ms)
        self._places.move_to_end(place)
        while len(self._places) > MOST_PLACES:
            self._places.popitem(last=False)

    def came_in(self, address: str, key: str) -> None:
        """Remember that a token was shown from an address, and known."""
        entry = place_of(address), key
        self._welcome[entry] = None
        self._welcome.move_to_end(entry)
        while len(self._welcome) > MOST_WELCOME:
            self._welcome.popitem(last=False)

    def is_welcome(self, address: str, key: str) -> bool:
        """Whether this token came in from this address before."""
        return (place_of(address), key) in self._welcome


def place_of(address: str) -> str:
    """Return what counts as one place: of IPv6 the network of a household.

    One household gets a /64 at least (RFC 6177, section 2, and RFC 4291, 2.5.1),
    and could show each token from another address of it.
    """
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return address
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))
