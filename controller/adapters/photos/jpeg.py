"""JPEG (ITU-T T.81): its segments, and those of them that are needed to show it.

What may live here: from a whole file to what is kept of it. Pure.
"""

import re

from controller.adapters.photos.pieces import (
    MOST_PARTS,
    Data,
    Piece,
    broken,
    check_size,
    keep,
)
from controller.adapters.photos.turned import orientation_in, turned_block

_SOI, _EOI, _SOS, _APP1 = 0xD8, 0xD9, 0xDA, 0xE1
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD8)})
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDD})
_APPLICATION = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
"""What is kept of what programs add: how to read its colours. Not EXIF, XMP,
captions, thumbnails, comments, depth maps or second pictures."""

_MARKER = re.compile(rb"\xff+[^\xff\x00\xd0-\xd7]")
_STRIDE = 1 << 18
_EXIF = b"Exif\0\0"


def kept_of_jpeg(data: Data) -> list[Piece]:
    """Return what is kept; what follows the picture's end is not.

    Raises:
        PhotoRefusedError: It is broken or not whole.
    """
    walk = _Walk(data)
    walk.go()
    head: list[Piece] = [b"\xff\xd8"]
    block = turned_block(walk.orientation)
    if block:
        length = len(_EXIF) + len(block) + 2
        head.append(b"\xff\xe1" + length.to_bytes(2, "big") + _EXIF + block)
    return [*head, *walk.pieces, b"\xff\xd9"]


class _Walk:
    """One way through a file, from marker to marker.

    Attributes:
        pieces: What is kept of it.
        orientation: Which way up it is.
    """

    def __init__(self, data: Data) -> None:
        self._data, self._at = data, 2
        self._framed = self._scanned = False
        self.pieces: list[Piece] = []
        self.orientation = 1

    def go(self) -> None:
        """Go to the marker of the end."""
        for _ in range(MOST_PARTS):
            marker = self._marker()
            if marker == _EOI:
                if not self._scanned:
                    raise broken("there is no picture in it")
                return
            self._segment(marker)
        raise broken(f"it has more than {MOST_PARTS} parts")

    def _marker(self) -> int:
        """Return the next marker and go behind it."""
        data, at = self._data, self._at
        if data[at : at + 1] != b"\xff":
            raise self._lost()
        while data[at : at + 1] == b"\xff":  # fill bytes may stand before it
            at += 1
        found = data[at : at + 1]
        if not found or found in (b"\0", bytes([_SOI])):
            raise self._lost()
        self._at = at + 1
        return found[0]

    def _lost(self) -> Exception:
        if self._at >= len(self._data):
            return broken("the file ends in the middle")
        return broken(f"at byte {self._at} something else stands than a marker")

    def _segment(self, marker: int) -> None:
        if marker in _WITHOUT_LENGTH:
            return
        begin, start = self._at - 2, self._at + 2
        end = self._at + int.from_bytes(self._data[self._at : start], "big")
        if end < start or end > len(self._data):
            raise broken("the file ends in the middle")
        self._at = end
        if marker in _FRAMES:
            self._frame(start, end)
        if marker == _SOS:
            self._scan()
            keep(self.pieces, begin, self._at)
        elif marker in _FRAMES | _TABLES or self._needed(marker, start):
            keep(self.pieces, begin, end)
        elif marker == _APP1:
            self._turn(self._data[start:end])

    def _needed(self, marker: int, start: int) -> bool:
        word = _APPLICATION.get(marker)
        return word is not None and self._data[start : start + len(word)] == word

    def _frame(self, start: int, end: int) -> None:
        if end - start < 6:  # noqa: PLR2004 - precision, height, width, components
            raise broken("it does not say how large it is")
        height = int.from_bytes(self._data[start + 1 : start + 3], "big")
        width = int.from_bytes(self._data[start + 3 : start + 5], "big")
        check_size(width, height)
        self._framed = True

    def _scan(self) -> None:
        """Go behind the coded picture, to the marker after it."""
        if not self._framed:
            raise broken("it does not say how large it is")
        self._scanned, size = True, len(self._data)
        # In strides: a search keeps every other thread waiting.
        for at in range(self._at, size, _STRIDE):
            found = _MARKER.search(self._data[at : at + _STRIDE + 2])
            if found:
                self._at = at + found.end() - 2
                return
        raise broken("the file ends in the middle")

    def _turn(self, told: bytes) -> None:
        if told.startswith(_EXIF):
            self.orientation = orientation_in(told[len(_EXIF) :])
