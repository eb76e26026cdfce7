"""Who asks: by a token, by a browser's session, or on a bench that is open.

What may live here: from the head of a request to a caller, or to why there is
none. Which routes want which caller is in gate and context.
"""

import asyncio
import base64
import binascii
import hashlib
import hmac
import ipaddress
import math
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from starlette.datastructures import Headers
from starlette.types import Scope

from api.failures import Failures
from api.problems import ProblemError
from controller.ports import Access, Holder, May

COOKIE = "bottomheat_session"
CSRF_HEADER = "x-csrf-token"

BASIC_PATHS = frozenset({"/calendar.ics", "/metrics"})
"""Where a token may also be the password of HTTP Basic (RFC 7617): calendars and
collectors of measurements can do nothing else."""

_OPEN_CSRF = secrets.token_urlsafe(16)
_LONGEST_SECRET = 200

By = Literal["open", "token", "session"]


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks.

    Attributes:
        by: By which way: "open" where the bench asks for no token.
        name: Name of the token; None on an open bench.
        may: What the caller may do.
        address: Where the request comes from.
        csrf: What a page must send along when it changes something.
        stands: Whether the caller would still be let in.
    """

    by: By
    name: str | None
    may: May
    address: str
    csrf: str
    stands: Callable[[], bool]

    @property
    def who(self) -> str:
        """Who and from where, for the log."""
        if self.name is None:
            return f"api (loopback) {self.address}".rstrip()
        return f"{self.name}, from {self.address}"


def caller_of(scope: Scope) -> Caller | None:
    """Return who asks; None: somebody without a token."""
    found: Caller | None = scope.get("state", {}).get("caller")
    return found


def address_of(scope: Scope) -> str:
    """Return where a request comes from; empty: this very process."""
    client = scope.get("client")
    return str(client[0]) if client else ""


class Reception:
    """Tells callers by what they show.

    Args:
        access: Who may use the API; None: whoever is on this machine.
        now_ms: The present on a clock that only goes forward [ms].
    """

    def __init__(self, access: Access | None, now_ms: Callable[[], int]) -> None:
        self._access, self._now_ms = access, now_ms
        self._failures = Failures()
        self._turn = asyncio.Lock()

    async def turn(self) -> None:
        """Wait for one's turn: one request begins in each round of the loop.

        Else a flood would be answered in one go, and the scan would wait for all
        of it at each of its own steps.
        """
        async with self._turn:
            passed = asyncio.get_running_loop().create_future()
            asyncio.get_running_loop().call_soon(_pass, passed)
            await passed

    @property
    def access(self) -> Access | None:
        """Who may use the API; None: tokens are not asked for."""
        access = self._access
        return access if access is not None and access.in_force() else None

    async def received(self, scope: Scope) -> Caller | None:
        """Return who asks; None: somebody who shows nothing that is known.

        Raises:
            ProblemError: What is shown as a token is none, or the bench is open
                to this machine and the request comes from elsewhere.
        """
        headers, address = Headers(scope=scope), address_of(scope)
        access = self.access
        if access is None:
            return _on_this_machine(headers, address)
        shown = _token_in(headers, scope["path"])
        if shown is not None:
            holder = await self.admitted(shown, address)
            return Caller(
                "token",
                holder.name,
                holder.may,
                address,
                csrf="",
                stands=lambda: access.stands(holder),
            )
        return _visitor(access, cookie_in(headers), address)

    async def admitted(self, secret: str, address: str) -> Holder:
        """Return who holds a token that is shown.

        Raises:
            ProblemError: Nobody, or too many have failed from this address.
        """
        holder = None
        if self._access is not None and 0 < len(secret) <= _LONGEST_SECRET:
            holder = await self._access.holder(secret)
        now_ms, failures = self._now_ms(), self._failures
        wait_ms = failures.wait_ms(address, now_ms)
        if wait_ms and not (holder and failures.is_welcome(address, holder.key)):
            raise ProblemError(
                429,
                "too many unknown tokens were shown from your address",
                headers={"Retry-After": str(math.ceil(wait_ms / 1000))},
            )
        if holder is None:
            failures.failed(address, now_ms)
            raise not_known()
        failures.came_in(address, holder.key)
        return holder


def _pass(waiting: asyncio.Future[None]) -> None:
    if not waiting.done():
        waiting.set_result(None)


def not_known(detail: str = "this token is not known, or was revoked") -> ProblemError:
    """Return the refusal of a token that nobody holds (RFC 6750, section 3)."""
    words = 'Bearer realm="bottomheat", error="invalid_token"'
    return ProblemError(401, detail, headers={"WWW-Authenticate": words})


def nobody(path: str) -> ProblemError:
    """Return the refusal of somebody who shows nothing."""
    words = 'Bearer realm="bottomheat"'
    if path in BASIC_PATHS:
        words += ', Basic realm="bottomheat", charset="UTF-8"'
    return ProblemError(
        401,
        "a token is asked for here: Authorization: Bearer …, or log in on the page;"
        " bottomheat token add makes one",
        headers={"WWW-Authenticate": words},
    )


def _on_this_machine(headers: Headers, address: str) -> Caller:
    if address and not _is_loopback(address):
        raise ProblemError(403, "there are no tokens, so this is for its own machine")
    for name in ("forwarded", "x-forwarded-for", "via"):
        if name in headers:
            detail = (
                f"the header {name} says that this came by a proxy, and without tokens"
                " this is for its own machine: make one with bottomheat token add"
            )
            raise ProblemError(403, detail)
    return Caller(
        "open", None, May.OPERATE, address, csrf=_OPEN_CSRF, stands=lambda: True
    )


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _token_in(headers: Headers, path: str) -> str | None:
    """Return the secret in the Authorization header; None: there is no such header."""
    found = headers.getlist("authorization")
    if not found:
        return None
    if len(found) > 1:
        raise ProblemError(400, "there must be one Authorization header at most")
    scheme, _, rest = found[0].partition(" ")
    if scheme.lower() == "bearer":
        return rest.strip()
    if scheme.lower() == "basic" and path in BASIC_PATHS:
        return _password(rest.strip())
    basic = " or, here, Basic" if path in BASIC_PATHS else ""
    raise not_known(f"Authorization must be Bearer{basic} with a token")


def _password(text: str) -> str:
    try:
        pair = base64.b64decode(text, validate=True).decode()
    except (binascii.Error, ValueError):
        return ""
    return pair.partition(":")[2]


def cookie_in(headers: Headers) -> str | None:
    """Return the session's secret; None: there is none, or more than one.

    Another site of the same domain could plant a second one (RFC 6265, 8.6).
    """
    pairs = [
        pair.strip().partition("=")
        for line in headers.getlist("cookie")
        for pair in line.split(";")
    ]
    found = [value for name, _, value in pairs if name == COOKIE]
    return found[0] if len(found) == 1 and len(found[0]) <= _LONGEST_SECRET else None


def _visitor(access: Access, secret: str | None, address: str) -> Caller | None:
    holder = None if secret is None else access.visitor(secret)
    if secret is None or holder is None:
        return None
    return Caller(
        "session",
        holder.name,
        holder.may,
        address,
        csrf=csrf_of(secret),
        stands=lambda: access.visitor(secret) is not None,
    )


def csrf_of(secret: str) -> str:
    """Return what a page must send along with its session.

    A page of another site can make a browser send the cookie but not read it, so
    it cannot know this; from this nobody finds the cookie.
    """
    return hmac.new(secret.encode(), b"csrf", hashlib.sha256).hexdigest()


def csrf_agrees(caller: Caller, shown: str) -> bool:
    """Whether what a page sent along is right."""
    return hmac.compare_digest(caller.csrf.encode(), shown.encode("utf-8", "replace"))
