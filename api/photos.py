"""Routes of photos: taken in piece by piece, and given out under their names.

A photo's name is made of its bytes, so that what was given out once never changes.
What may live here: from a request to the keeper of photos, and back.
"""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing, suppress
from pathlib import Path
from typing import Annotated

import anyio.to_thread
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from typing_extensions import TypedDict

from api.bodies import LARGEST_PHOTO, PHOTO_TYPES, PHOTOS_PATH, too_large
from api.context import ContextHere, no_query
from api.problems import MEDIA_TYPE, Problem, ProblemError, quoted
from api.routing import Router, Told
from api.wants import Depends, InPath
from controller.ports import (
    PHOTO_NAME,
    NoRoomError,
    NotKeptError,
    PhotoRefusedError,
    Photos,
)

PIECE_WITHIN_S = 10.0
"""Chosen: a silence of this length is taken for a lost connection."""

PHOTO_WITHIN_S = 120.0
"""Chosen: time for the whole of it; 12 MB in that time are 0.8 Mbit/s."""

_KINDS = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}
_BINARY = {"schema": {"type": "string", "format": "binary"}}
_PICTURES: dict[str, object] = dict.fromkeys(PHOTO_TYPES, _BINARY)

router = Router(prefix="/photos", dependencies=[Depends(no_query)])


class PhotoView(TypedDict):
    """A photo that is kept: name is what an event or a look tells as its photo."""

    name: str
    href: str


async def _photos(context: ContextHere) -> Photos:
    photos = context.records.photos
    if photos is None:
        raise ProblemError(503, "this bench keeps no photos")
    return photos


PhotosHere = Annotated[Photos, Depends(_photos)]


@router.post(
    "",
    status_code=201,
    takes=_PICTURES,
    answers={507: Told(Problem, "There is no room for it", MEDIA_TYPE)},
)
async def post_photo(
    photos: PhotosHere, request: Request, response: Response
) -> PhotoView:
    """Keep a photo, the body; 201: it is on the disk, without place, time and owner.

    At most 12 MB of JPEG, PNG or WebP. The same photo sent again is the same file.
    """
    said = request.headers["content-type"].split(";")[0].strip().lower()
    async with aclosing(_pieces(request)) as pieces:
        try:
            name = await photos.keep(said, pieces)
        except PhotoRefusedError as error:
            raise ProblemError(422, quoted(str(error))) from None
        except NoRoomError as error:
            await _rest(pieces)
            raise ProblemError(507, str(error)) from None
        except NotKeptError as error:
            await _rest(pieces)
            again = {"Retry-After": "5"}
            raise ProblemError(503, str(error), headers=again) from None
    href = f"{PHOTOS_PATH}/{name}"
    response.headers["Location"] = href
    return PhotoView(name=name, href=href)


@router.get("/{name}", answers={200: Told(_PICTURES)})
async def get_photo(
    photos: PhotosHere,
    request: Request,
    name: Annotated[str, InPath("as POST /v1/photos gives it")],
) -> Response:
    """A photo; it never changes."""
    path = await _found(photos, name)
    headers = {
        "ETag": f'"{name}"',
        "Cache-Control": "private, max-age=31536000, immutable",
        "Vary": "Authorization, Cookie",
    }
    known = request.headers.get("if-none-match", "")
    if _names(known, name):
        return Response(status_code=304, headers=headers)
    kind = _KINDS[name.partition(".")[2]]
    return FileResponse(path, media_type=kind, headers=headers)


async def _found(photos: Photos, name: str) -> Path:
    path = None
    if PHOTO_NAME.fullmatch(name):
        with suppress(OSError):
            path = await anyio.to_thread.run_sync(photos.find, name)
    if path is None:
        raise ProblemError(404, f"there is no photo {quoted(name)}")
    return path


def _names(known: str, name: str) -> bool:
    """Whether If-None-Match names a photo (RFC 9110, 13.1.2)."""
    listed = [one.strip().removeprefix("W/") for one in known.split(",")]
    return known.strip() == "*" or f'"{name}"' in listed


# ------------------------------------------------------------------------- coming in


async def _rest(pieces: AsyncIterator[bytes]) -> None:
    """Let the rest come and go: who still sends does not hear an answer."""
    async for _ in pieces:
        pass


async def _pieces(request: Request) -> AsyncGenerator[bytes, None]:
    """Yield a body as it comes: neither too large nor too slowly."""
    ends = asyncio.get_running_loop().time() + PHOTO_WITHIN_S
    size, more = 0, True
    while more:
        piece, more = await _next(request, ends)
        size += len(piece)
        if size > LARGEST_PHOTO:
            raise _hung_up(413, too_large(LARGEST_PHOTO))
        if piece:
            yield piece


async def _next(request: Request, ends: float) -> tuple[bytes, bool]:
    """Return the next piece, and whether there are more."""
    now = asyncio.get_running_loop().time()
    try:
        async with asyncio.timeout_at(min(ends, now + PIECE_WITHIN_S)):
            message = await request.receive()
    except TimeoutError:
        raise _hung_up(408, "the photo did not arrive in time") from None
    if message["type"] == "http.disconnect":
        raise _hung_up(400, "the body ended too early")
    return message.get("body", b""), message.get("more_body", False)


def _hung_up(status: int, detail: str) -> ProblemError:
    return ProblemError(status, detail, headers={"Connection": "close"})
