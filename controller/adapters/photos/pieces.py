"""What a picture is put together of again: bytes of its own, and new ones.

What may live here: what the readers of all three formats share.
"""

from typing import Protocol, TypeAlias

from controller.ports import PhotoRefusedError


class Data(Protocol):
    """A whole picture: bytes, or a file that the system pages in (mmap)."""

    def __len__(self) -> int:
        """Return how many bytes it has."""
        ...

    def __getitem__(self, stretch: "slice[int, int, int | None]", /) -> bytes:
        """Return some of its bytes."""
        ...


Piece: TypeAlias = "bytes | slice[int, int, int | None]"
"""New bytes, or a stretch of what was given."""

MOST_PARTS = 20_000
"""Chosen: parts of one picture; one of 12 MB in parts of 8 kB has 1,500."""

MOST_PIXELS = 100_000_000
"""Chosen: twice what a phone's largest pictures have; more would stop a browser."""


def broken(what: str) -> PhotoRefusedError:
    """Return the refusal of a picture that is damaged or not whole."""
    return PhotoRefusedError(f"the picture is broken or not whole: {what}")


def check_size(width: int, height: int) -> None:
    """Refuse a picture that has no area, or one that no browser could show."""
    if not width or not height:
        raise broken(f"it is {width} by {height} pixels")
    if width * height > MOST_PIXELS:
        raise PhotoRefusedError(
            f"the picture is {width} by {height} pixels; at most"
            f" {MOST_PIXELS // 1_000_000} million altogether are taken"
        )


def keep(pieces: list[Piece], start: int, end: int) -> None:
    """Add a stretch; one that follows the last one makes that longer."""
    last = pieces[-1] if pieces else b""
    if isinstance(last, slice) and last.stop == start:
        pieces[-1] = slice(last.start, end)
    else:
        pieces.append(slice(start, end))
