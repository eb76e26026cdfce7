"""The door: what is turned away by its head, before anybody asks who it is.

A page of another site that a browser of this household has open must not be able
to ask: the Host must be a name of this bench (a rebound name is not), and a write
must not come from another origin and must say that it is JSON, or a picture,
which a form cannot. What may live here: conditions on heads of requests, and headers of
answers. No routes.
"""

from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.application import App
from api.bodies import WITH_BODY, largest_body, too_large, types_of_body
from api.methods import methods_at, not_done
from api.problems import problem, quoted
from api.reach import Reach

_NOT_TAKEN = 415

LARGEST_HEAD = 16 * 1024
"""Bytes of a request line with its headers."""

_WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})

_SECURITY = {
    # Content Security Policy Level 3: scripts, styles and requests of our own only.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self';"
        " img-src 'self' data:; font-src 'self'; connect-src 'self';"
        " manifest-src 'self'; worker-src 'self'; base-uri 'none';"
        " form-action 'self'; frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""On every answer. Not Strict-Transport-Security: it would bind every other port of
the same name, and a household's board has others (RFC 6797, section 8.3)."""


@dataclass(frozen=True, slots=True)
class _Refused:
    status: int
    detail: str
    hang_up: bool = False


class Door:
    """ASGI middleware that lets in what may come in.

    Every answer gets headers of security and, unless it says otherwise,
    `Cache-Control: no-store`; HEAD is answered like GET, without the body.
    """

    def __init__(self, app: ASGIApp, *, reach: Reach | None = None) -> None:
        self._app = app
        self._reach = reach or Reach()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = _finishing(send, head=scope["method"] == "HEAD")
        refused = self._refusal(scope)
        if refused is not None:
            allowed = (
                _methods_at(scope) if refused.status == _NOT_TAKEN else frozenset()
            )
            if allowed and scope["method"] not in allowed:
                # Nothing of this kind is taken here, in whatever form it comes.
                await not_done(scope["method"], allowed)(scope, receive, send)
                return
            headers = {"Connection": "close"} if refused.hang_up else {}
            answer = problem(refused.status, refused.detail, headers=headers)
            await answer(scope, receive, send)
            return
        if scope["method"] == "HEAD":
            scope = {**scope, "method": "GET"}
        await self._app(scope, receive, send)

    def _refusal(self, scope: Scope) -> _Refused | None:
        headers = Headers(scope=scope)
        return (
            _size(scope)
            or _framing(headers)
            or _host(headers, self._reach)
            or _origin(scope, headers)
            or _content(scope, headers)
        )


def _methods_at(scope: Scope) -> frozenset[str]:
    app: App | None = scope.get("app")
    return frozenset() if app is None else methods_at(app, scope["path"])


def _size(scope: Scope) -> _Refused | None:
    """Refuse a head that is too large, also where all of it came in one piece."""
    size = len(scope.get("raw_path", b"")) + len(scope.get("query_string", b""))
    size += sum(len(name) + len(value) for name, value in scope["headers"])
    if size <= LARGEST_HEAD:
        return None
    detail = f"a request line and its headers may have at most {LARGEST_HEAD} bytes"
    return _Refused(431, detail, hang_up=True)


def _framing(headers: Headers) -> _Refused | None:
    """Refuse two lengths at once: what follows might be taken for a request.

    RFC 9112, section 6.1, allows to refuse it and asks to close the connection.
    """
    if "content-length" in headers and "transfer-encoding" in headers:
        detail = "there must not be both Content-Length and Transfer-Encoding"
        return _Refused(400, detail, hang_up=True)
    return None


def _host(headers: Headers, reach: Reach) -> _Refused | None:
    hosts = headers.getlist("host")
    if len(hosts) != 1:
        return _Refused(400, "there must be one Host header")
    if reach.is_ours(hosts[0]):
        return None
    wanted = ", ".join(sorted(reach.names))
    detail = (
        f"this is not {quoted(hosts[0])}; ask for one of {wanted}, or list the name"
        " in [api] names"
    )
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
    length, most = headers.get("content-length", "0"), largest_body(scope)
    if not length.isdecimal() or int(length[:20]) > most:
        return _Refused(413, too_large(most), hang_up=True)
    if scope["method"] not in WITH_BODY:
        return None
    found, right = headers.get("content-type", ""), types_of_body(scope)
    if found.split(";")[0].strip().lower() in right:
        return None
    shown, listed = quoted(found) if found else "not there", " or ".join(right)
    return _Refused(_NOT_TAKEN, f"Content-Type is {shown}; it must be {listed}")


def _finishing(send: Send, *, head: bool) -> Send:
    """Return a send that adds our headers and, for HEAD, drops the body."""

    async def finished(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("Cache-Control", "no-store")
            for name, value in _SECURITY.items():
                headers.setdefault(name, value)
        elif head and message["type"] == "http.response.body":
            message = {**message, "body": b""}
        await send(message)

    return finished
