"""A picture without what tells of where, when and by whom it was taken.

Pixels are neither read nor changed: the parts of a file that are needed to show it
are kept, all others left out, whatever they are. What may live here: which format
it is. Pure.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from controller.adapters.photos.jpeg import kept_of_jpeg
from controller.adapters.photos.pieces import Data, Piece
from controller.adapters.photos.png import SIGNATURE, kept_of_png
from controller.adapters.photos.webp import kept_of_webp
from controller.ports import PhotoRefusedError


@dataclass(frozen=True, slots=True)
class _Format:
    ending: str
    begins: Callable[[bytes], bool]
    kept: Callable[[Data], list[Piece]]


_FORMATS: Mapping[str, _Format] = {
    "image/jpeg": _Format("jpg", lambda d: d[:3] == b"\xff\xd8\xff", kept_of_jpeg),
    "image/png": _Format("png", lambda d: d[:8] == SIGNATURE, kept_of_png),
    "image/webp": _Format(
        "webp", lambda d: d[:4] == b"RIFF" and d[8:12] == b"WEBP", kept_of_webp
    ),
}


def ending_of(media_type: str) -> str:
    """Return how names of files of a media type end, without the dot."""
    return _FORMATS[media_type].ending


def stripped(data: Data, media_type: str) -> list[Piece]:
    """Return what is kept of a picture, in order.

    Args:
        data: The whole file.
        media_type: What it is said to be.

    Raises:
        PhotoRefusedError: It is something else, broken, or not whole.
    """
    form = _FORMATS.get(media_type)
    if form is None or not form.begins(data[0:12]):
        raise PhotoRefusedError(f"this is not {media_type}: it begins otherwise")
    return form.kept(data)
