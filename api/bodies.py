"""Bodies of requests: whole, small and soon, before any route is asked.

A photo alone is neither small nor gathered here. What may live here: what bodies
there may be, and gathering them. No routes.
"""

import asyncio

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem

LARGEST_BODY = 64 * 1024
"""Bytes of a request's body."""

LARGEST_PHOTO = 12_000_000
"""Chosen: bytes of a photo; a phone's camera makes some 5 MB."""

PHOTOS_PATH = "/v1/photos"

PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp")

BODY_WITHIN_S = 10.0
"""Chosen: time for a body to arrive; ours are a few dozen bytes."""

WITH_BODY = frozenset({"POST", "PUT", "PATCH"})

_JSON = ("application/json",)


def is_photo(scope: Scope) -> bool:
    """Whether a request brings a photo: the one body that is no JSON, and is large."""
    return bool(scope["method"] == "POST" and scope["path"] == PHOTOS_PATH)


def largest_body(scope: Scope) -> int:
    """Return how many bytes a request's body may have."""
    return LARGEST_PHOTO if is_photo(scope) else LARGEST_BODY


def types_of_body(scope: Scope) -> tuple[str, ...]:
    """Return the media types that a request's body may have."""
    return PHOTO_TYPES if is_photo(scope) else _JSON


def too_large(most: int) -> str:
    """Return the sentence about a body that is too large."""
    return f"a body may have at most {most} bytes"


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
        if not _gathers(scope):
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


def _gathers(scope: Scope) -> bool:
    """Whether a body is gathered here; a photo goes to the disk as it comes."""
    return (
        scope["type"] == "http" and scope["method"] in WITH_BODY and not is_photo(scope)
    )


async def _gathered(receive: Receive) -> bytes:
    parts = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _RefusedError(400, "the body ended too early")
        parts += message.get("body", b"")
        if len(parts) > LARGEST_BODY:
            raise _RefusedError(413, too_large(LARGEST_BODY), hang_up=True)
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
