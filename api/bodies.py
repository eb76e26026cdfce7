"""Bodies of requests: whole, small and soon, before any route is asked.

What may live here: gathering them. No routes.
"""

import asyncio

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem

LARGEST_BODY = 64 * 1024
"""Bytes of a request's body."""

BODY_WITHIN_S = 10.0
"""Chosen: time for a body to arrive; ours are a few dozen bytes."""

WITH_BODY = frozenset({"POST", "PUT", "PATCH"})

TOO_LARGE = f"a body may have at most {LARGEST_BODY} bytes"


class _RefusedError(Exception):
    def __init__(self, status: int, detail: str, *, hang_up: bool = False) -> None:
        super().__init__(detail)
        self.status, self.detail, self.hang_up = status, detail, hang_up


class Bodies:
    """ASGI middleware that hands a body on when all of it is there."""

    def __init__(self, app: ASGIApp, *, within_s: float | None = None) -> None:
        self._app = app
        self._within_s = BODY_WITHIN_S if within_s is None else within_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http" or scope["method"] not in WITH_BODY:
            await self._app(scope, receive, send)
            return
        try:
            body = await self._body(receive)
        except _RefusedError as error:
            headers = {"Connection": "close"} if error.hang_up else {}
            answer = problem(error.status, error.detail, headers=headers)
            await answer(scope, receive, send)
            return
        await self._app(scope, _replayed(body, receive), send)

    async def _body(self, receive: Receive) -> bytes:
        """Return the whole body, which must be small and come soon."""
        try:
            async with asyncio.timeout(self._within_s):
                return await _gathered(receive)
        except TimeoutError:
            detail = f"no whole body within {self._within_s:g} s"
            raise _RefusedError(408, detail, hang_up=True) from None


async def _gathered(receive: Receive) -> bytes:
    parts = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _RefusedError(400, "the body ended too early")
        parts += message.get("body", b"")
        if len(parts) > LARGEST_BODY:
            raise _RefusedError(413, TOO_LARGE, hang_up=True)
        if not message.get("more_body", False):
            return bytes(parts)


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
