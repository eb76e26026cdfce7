"""Values of [api]: where to listen, under which names, behind which proxies.

What may live here: single values of that table, checked, and what does not go
together in it.
"""

import ipaddress
import re
from collections.abc import Iterator
from pathlib import Path

from controller.adapters.settings.findings import Finding, shown

_LABEL = r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_NAME = re.compile(rf"(?=.{{1,253}}$){_LABEL}(\.{_LABEL})*", re.ASCII)
"""A host name as RFC 1123, section 2.1, has it."""

_HOST_ASK = (
    'write an address or name of this machine: "127.0.0.1" (only it), "0.0.0.0" (all'
    ' of its IPv4 addresses) or "::" (all of its IPv6 ones)'
)
_NAMES_ASK = (
    'write the names under which the API is asked, such as ["bench.home.arpa"],'
    " without http:// and port"
)
_PROXIES_ASK = (
    'write addresses or networks of your proxy, such as ["127.0.0.1"]; never all of'
    " the Internet"
)


def host(value: object) -> str:
    """Return an address, or a name that may be one."""
    text = value if isinstance(value, str) else ""
    if not (_is_address(text) or _is_name(text)):
        raise ValueError(_HOST_ASK)
    return text


def names(value: object) -> tuple[str, ...]:
    """Return host names in lower case; text from the environment has commas."""
    found = _listed(value, _NAMES_ASK)
    if not all(map(_is_name, found)):
        raise ValueError(_NAMES_ASK)
    return tuple(name.lower() for name in found)


def proxies(value: object) -> tuple[str, ...]:
    """Return addresses or networks of proxies."""
    found = _listed(value, _PROXIES_ASK)
    for one in found:
        try:
            network = ipaddress.ip_network(one)
        except ValueError:
            raise ValueError(_PROXIES_ASK) from None
        if network.prefixlen == 0:
            raise ValueError(_PROXIES_ASK)
    return tuple(found)


def _listed(value: object, ask: str) -> list[str]:
    if isinstance(value, str):
        return [part.strip() for part in value.split(",") if part.strip()]
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return value
    raise ValueError(ask)


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _is_name(text: str) -> bool:
    """Whether it is a host name; the last part of one is no number."""
    last = text.rpartition(".")[2]
    return bool(_NAME.fullmatch(text)) and not last.isdecimal()


def api_problems(tls_cert: Path | None, tls_key: Path | None) -> Iterator[Finding]:
    """Yield what does not go together."""
    if tls_cert is not None and tls_key is None:
        allowed = "write tls_key, the file of its key, beside it"
        yield Finding("[api] tls_cert", shown(str(tls_cert)), allowed)
    if tls_key is not None and tls_cert is None:
        allowed = "write tls_cert, the file of the certificate, beside it"
        yield Finding("[api] tls_key", shown(str(tls_key)), allowed)
