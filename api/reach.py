"""Under which names and by which proxies the API is reached.

A page of another site can have its own name point to this machine (DNS rebinding)
and then ask as if it were ours; but it asks under that name. So names are listed.
An address in place of a name cannot be made to point elsewhere. What may live
here: those lists, and whether a Host is on them.
"""

import ipaddress
from dataclasses import dataclass

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})


@dataclass(frozen=True, slots=True)
class Reach:
    """How the API may be asked.

    Attributes:
        names: Names in Host, in lower case.
        addresses: Whether any address will do in place of a name.
        proxies: Addresses or networks of proxies whose word is taken for where a
            request comes from and whether it came encrypted.
    """

    names: frozenset[str] = LOOPBACK_NAMES
    addresses: bool = False
    proxies: tuple[str, ...] = ()

    def is_ours(self, host: str) -> bool:
        """Whether a Host header names this bench."""
        name, _, port = host.rpartition(":")
        if not (port.isdecimal() and port.isascii()):
            name = host
        name = name.lower().removesuffix(".")
        return name in self.names or (self.addresses and _is_address(name))


def _is_address(name: str) -> bool:
    inside = name[1:-1] if name.startswith("[") and name.endswith("]") else name
    try:
        found = ipaddress.ip_address(inside)
    except ValueError:
        return False
    return (found.version == 6) == (inside != name)  # noqa: PLR2004 (IPv6 in brackets)
