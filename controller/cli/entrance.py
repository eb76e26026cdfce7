"""Who may come in to a bench's API, and by which way: from settings to both.

What may live here: that, and what a person should know of it at the start.
"""

import ipaddress
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

from api.reach import LOOPBACK_NAMES, Reach
from api.server import Listen, ListenError, tls_of, unguarded
from controller.adapters.access import (
    AccessError,
    FileAccess,
    TokenFile,
    sessions_beside,
    tokens_beside,
)
from controller.adapters.clocks import SystemClock
from controller.adapters.settings import ApiSettings, Settings

_EVERY = ("0.0.0.0", "::")  # noqa: S104 - compared, not listened on


def access_of(settings: Settings, tell: Callable[[str], None]) -> FileAccess:
    """Return who may use the API of a bench.

    Raises:
        AccessError: The tokens cannot be believed; or others could reach the API
            and there is no token; or its certificate is of no use.
    """
    return access_beside(settings.log.path, settings.api, settings.timezone, tell)


def access_beside(
    place: Path,
    api: ApiSettings,
    timezone: str,
    tell: Callable[[str], None],
    *,
    harm: str = "could heat",
    make: str = "bottomheat token add NAME --may operate",
) -> FileAccess:
    """Return who may come in whose tokens are kept beside a file.

    Args:
        place: The file: a season log, or a list of benches.
        api: Where it listens.
        timezone: IANA name of a time zone.
        tell: Told of trouble with the files.
        harm: What anybody could do if others reached it without a token.
        make: What makes a token.

    Raises:
        AccessError: As access_of.
    """
    access = FileAccess(
        TokenFile(tokens_beside(place)),
        sessions_beside(place),
        SystemClock(timezone),
        tell,
    )
    if others_reach(api) and not access.anybody():
        kept = tokens_beside(place).absolute()
        raise AccessError(f"{unguarded(api.host, harm, make)} (looked for in {kept})")
    if api.proxies and not access.anybody():
        raise AccessError(
            "[api] proxies: whoever comes by a proxy would be let in, since there is"
            f" no token: make one with {make}"
        )
    if api.tls_cert is not None:
        try:
            tls_of(api.tls_cert, api.tls_key)
        except ListenError as error:
            raise AccessError(str(error)) from error
    return access


def others_reach(api: ApiSettings) -> bool:
    """Whether other machines could reach the API; a name that fails is no way in."""
    try:
        found = socket.getaddrinfo(api.host, api.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return False
    return not all(ipaddress.ip_address(one[4][0]).is_loopback for one in found)


def entrance_worries(api: ApiSettings, access: FileAccess) -> Iterator[str]:
    """Yield what a person should know of how the API is reached."""
    if others_reach(api) and api.tls_cert is None:
        yield (
            f"[api] host = {api.host!r} without tls_cert: tokens go over the network"
            " readable. Inside a VPN that is no harm; elsewhere give a certificate"
        )
    if api.host not in _EVERY and others_reach(api):
        yield (
            f"[api] host = {api.host!r}: nothing starts, mats stay off, until this"
            " machine has that address: after a power cut that may last as long as the"
            ' router takes; "0.0.0.0" does not wait for it'
        )
    if access.in_force() and not access.anybody():
        yield "every token was revoked: nobody can use the API or the page"


def listen_for(api: ApiSettings, access: FileAccess | None) -> Listen:
    """Return where to listen, and for whom."""
    return Listen(
        api.host,
        api.port,
        guarded=access is not None and access.in_force(),
        tls_cert=api.tls_cert,
        tls_key=api.tls_key,
        proxies=api.proxies,
    )


def reach_of(api: ApiSettings) -> Reach:
    """Return under which names the API is asked.

    On loopback only loopback's own and those that are listed; else also any
    address, and the names of this machine.
    """
    names = LOOPBACK_NAMES | set(api.names)
    if not others_reach(api):
        return Reach(frozenset(names), proxies=api.proxies)
    own = socket.gethostname().lower()
    names |= {own, f"{own.partition('.')[0]}.local"}
    return Reach(frozenset(names), addresses=True, proxies=api.proxies)


def address_of(api: ApiSettings, port: int) -> str:
    """Return the address under which a person asks for the API."""
    scheme = "http" if api.tls_cert is None else "https"
    host = api.names[0] if api.names else api.host
    if host in _EVERY:
        host = socket.gethostname()
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}"
