"""The door: what is turned away before any route is asked.

There are no tokens yet, so only this machine may ask, and a page of another
site that a browser of this machine has open must not be able to: the Host must
be a loopback name (a rebound name is not), and a write must not come from
another origin and must say that it is JSON, which a form cannot. What may live
here: conditions on whole requests. No routes.
"""

import asyncio
from collections.abc import Iterable
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem, quoted

LARGEST_BODY = 64 * 1024
"""Bytes of a request's body."""

BODY_WITHIN_S = 10.0
"""Chosen: time for a body to arrive; ours are a few dozen bytes."""

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})

_WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
_WITH_BODY = frozenset({"POST", "PUT", "PATCH"})


@dataclass(frozen=True, slots=True)
class _Refused:
    status: int
    detail: str
    hang_up: bool = False


class Door:
    """ASGI middleware that lets in what may come in.

    Every answer gets `Cache-Control: no-store` and `X-Content-Type-Options:
    nosniff`; HEAD is answered like GET, without the body.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        names: Iterable[str] = LOOPBACK_NAMES,
        body_within_s: float = BODY_WITHIN_S,
    ) -> None:
        self._app = app
        self._names = frozenset(names)
        self._body_within_s = body_within_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = _finishing(send, head=scope["method"] == "HEAD")
        refused = self._refusal(scope)
        body: bytes | _Refused = b""
        if refused is None and scope["method"] in _WITH_BODY:
            body = await self._body(receive)
            refused = body if isinstance(body, _Refused) else None
        if refused is not None:
            headers = {"Connection": "close"} if refused.hang_up else {}
            answer = problem(refused.status, refused.detail, headers=headers)
            await answer(scope, receive, send)
            return
        if scope["method"] == "HEAD":
            scope = {**scope, "method": "GET"}
        if isinstance(body, bytes) and scope["method"] in _WITH_BODY:
            receive = _replayed(body, receive)
        await self._app(scope, receive, send)

    def _refusal(self, scope: Scope) -> _Refused | None:
        headers = Headers(scope=scope)
        return (
            _framing(headers)
            or _host(headers, self._names)
            or _origin(scope, headers)
            or _content(scope, headers)
        )

    async def _body(self, receive: Receive) -> bytes | _Refused:
        """Return the whole body, which must be small and come soon."""
        try:
            async with asyncio.timeout(self._body_within_s):
                return await _gathered(receive)
        except TimeoutError:
            detail = f"no whole body within {self._body_within_s:g} s"
            return _Refused(408, detail, hang_up=True)


async def _gathered(receive: Receive) -> bytes | _Refused:
    parts = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return _Refused(400, "the body ended too early")
        parts += message.get("body", b"")
        if len(parts) > LARGEST_BODY:
            return _TOO_LARGE
        if not message.get("more_body", False):
            return bytes(parts)


_TOO_LARGE = _Refused(413, f"a body may have at most {LARGEST_BODY} bytes")


def _framing(headers: Headers) -> _Refused | None:
    """Refuse two lengths at once: what follows might be taken for a request.

    RFC 9112, section 6.1, allows to refuse it and asks to close the connection.
    """
    if "content-length" in headers and "transfer-encoding" in headers:
        detail = "there must not be both Content-Length and Transfer-Encoding"
        return _Refused(400, detail, hang_up=True)
    return None


def _host(headers: Headers, names: frozenset[str]) -> _Refused | None:
    hosts = headers.getlist("host")
    if len(hosts) != 1:
        return _Refused(400, "there must be one Host header")
    name, _, port = hosts[0].rpartition(":")
    if not port.isdecimal():
        name = hosts[0]
    if name.lower().rstrip(".") in names:
        return None
    wanted = ", ".join(sorted(names))
    detail = f"this is not {quoted(hosts[0])}; ask for one of {wanted}"
    return _Refused(421, detail)


def _origin(scope: Scope, headers: Headers) -> _Refused | None:
    if scope["method"] not in _WRITES:
        return None
    origin = headers.get("origin")
    here = f"{scope['scheme']}://{headers['host']}"
    if origin is not None and origin.lower() != here.lower():
        return _Refused(403, f"a page of {quoted(origin)} may not change this bench")
    if headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        return _Refused(403, "a page of another site may not change this bench")
    return None


def _content(scope: Scope, headers: Headers) -> _Refused | None:
    length = headers.get("content-length", "0")
    if not length.isdecimal() or int(length[:20]) > LARGEST_BODY:
        return _TOO_LARGE
    if scope["method"] not in _WITH_BODY:
        return None
    found = headers.get("content-type", "")
    if found.split(";")[0].strip().lower() == "application/json":
        return None
    shown = quoted(found) if found else "not there"
    return _Refused(415, f"Content-Type is {shown}; it must be application/json")


def _replayed(body: bytes, receive: Receive) -> Receive:
    """Return a receive that gives the body once, then what comes after it."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _finishing(send: Send, *, head: bool) -> Send:
    """Return a send that adds our headers and, for HEAD, drops the body."""

    async def finished(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("Cache-Control", "no-store")
            headers.setdefault("X-Content-Type-Options", "nosniff")
        elif head and message["type"] == "http.response.body":
            message = {**message, "body": b""}
        await send(message)

    return finished
