"""Pages: plain files of a folder, sent as they are, or packed.

They are read once, packed once, and named by what is in them (an entity tag), so
that a phone asks for all of them again and is sent nothing. What may live here:
which files there are, and how they are sent. What is in them is the page's.
"""

import gzip
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from api.context import no_query
from api.problems import ProblemError, quoted
from api.routing import Router, Told
from api.wants import Depends

FOLDER = Path(__file__).parent / "page"

TYPES: Mapping[str, str] = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
"""Media types of the page's files; a file of another kind is not sent."""

_TEXT = {"schema": {"type": "string"}}


@dataclass(frozen=True, slots=True)
class PageFile:
    """One file, as it is and as it is sent.

    Attributes:
        media_type: Its media type.
        plain: Its bytes.
        packed: The same, in the gzip format (RFC 1952).
        tag: An entity tag of its content, without the quotes.
    """

    media_type: str
    plain: bytes
    packed: bytes
    tag: str


@cache
def page_files() -> Mapping[str, PageFile]:
    """Return the files of a bench's page by name."""
    return files_of(FOLDER)


def files_of(folder: Path) -> Mapping[str, PageFile]:
    """Return the files of a folder that can be sent, by name."""
    found = sorted(path for path in folder.iterdir() if path.suffix in TYPES)
    return {path.name: _page_file(path) for path in found}


def _page_file(path: Path) -> PageFile:
    plain = path.read_bytes()
    packed = gzip.compress(plain, 9, mtime=0)
    tag = hashlib.sha256(plain).hexdigest()[:20]
    return PageFile(TYPES[path.suffix], plain, packed, tag)


def page_router(files: Callable[[], Mapping[str, PageFile]]) -> Router:
    """Return the routes of a page: index.html at the root, and its files.

    Args:
        files: Tells the files by name; asked at each request.
    """
    router = Router(dependencies=[Depends(no_query)])

    @router.get("/", answers={200: Told({"text/html": _TEXT})})
    async def get_page(request: Request) -> Response:
        """The page."""
        return _sent(request, files()["index.html"])

    @router.get("/page/{name}", answers={200: Told({"text/*": _TEXT})})
    async def get_page_file(request: Request, name: str) -> Response:
        """A file of the page."""
        found = files().get(name)
        if found is None:
            raise ProblemError(404, f"the page has no file {quoted(name)}")
        return _sent(request, found)

    return router


router = page_router(page_files)


def _sent(request: Request, file: PageFile) -> Response:
    packed = "gzip" in _encodings(request.headers.get("accept-encoding", ""))
    tag = f'"{file.tag}{"-gz" if packed else ""}"'
    headers = {
        "ETag": tag,
        "Vary": "Accept-Encoding",
        "Cache-Control": "no-cache",  # kept, and asked for again each time
    }
    known = request.headers.get("if-none-match", "")
    if tag in (part.strip().removeprefix("W/") for part in known.split(",")):
        return Response(status_code=304, headers=headers)
    if packed:
        headers["Content-Encoding"] = "gzip"
    body = file.packed if packed else file.plain
    return Response(body, media_type=file.media_type, headers=headers)


def _encodings(header: str) -> set[str]:
    """Return the codings that a client takes (RFC 9110, 12.5.3), weight 0 left out."""
    taken: set[str] = set()
    for part in header.split(","):
        coding, _, weight = part.partition(";")
        if weight.replace(" ", "") not in {"q=0", "q=0.0", "q=0.00", "q=0.000"}:
            taken.add(coding.strip().lower())
    return taken
