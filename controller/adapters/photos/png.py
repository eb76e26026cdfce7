"""PNG (ISO/IEC 15948): its chunks, and those of them that are needed to show it.

What may live here: from a whole file to what is kept of it. Pure.
"""

import struct
import zlib
from collections.abc import Iterator

from controller.adapters.photos.pieces import (
    MOST_PARTS,
    Data,
    Piece,
    broken,
    check_size,
    keep,
)
from controller.adapters.photos.turned import orientation_in, turned_block

SIGNATURE = b"\x89PNG\r\n\x1a\n"

_KEPT = frozenset(
    b"IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB cICP bKGD pHYs".split()
)
"""Not texts, EXIF, time of change or what single programs add."""

_OPTIONAL = 0x20
_AT_ONCE = 1 << 16


def kept_of_png(data: Data) -> list[Piece]:
    """Return what is kept; what follows the picture's end is not.

    Raises:
        PhotoRefusedError: It is broken or not whole.
    """
    pieces: list[Piece] = []
    orientation, kinds = 1, set[bytes]()
    for kind, start, end in _chunks(data):
        if (kind == b"IHDR") == bool(kinds):
            raise broken("its first part must say how large it is, and no other")
        if kind == b"IHDR":
            _check_header(data[start:end])
        if kind == b"eXIf":
            orientation = orientation_in(data[start:end])
        elif kind in _KEPT:
            keep(pieces, start - 8, end + 4)
        elif not kind[0] & _OPTIONAL:
            raise broken(f"it has a part of an unknown kind at byte {start}")
        kinds.add(kind)
    if b"IDAT" not in kinds:
        raise broken("there is no picture in it")
    return [SIGNATURE, *_with_turn(pieces, turned_block(orientation))]


def _with_turn(pieces: list[Piece], block: bytes) -> list[Piece]:
    """Put a chunk that tells an orientation behind the header, 25 bytes."""
    first = pieces[0]
    if not block or not isinstance(first, slice):
        return pieces
    chunk = b"eXIf" + block
    framed = (
        struct.pack(">I", len(block)) + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    )
    behind = first.start + 25
    rest = [slice(behind, first.stop)] if first.stop > behind else []
    return [slice(first.start, behind), framed, *rest, *pieces[1:]]


def _check_header(header: bytes) -> None:
    if len(header) != 13:  # noqa: PLR2004
        raise broken("it does not say how large it is")
    width, height = struct.unpack_from(">II", header)
    check_size(width, height)


def _chunks(data: Data) -> Iterator[tuple[bytes, int, int]]:
    """Yield the kind of each chunk to the last, and where its content lies."""
    at = len(SIGNATURE)
    for _ in range(MOST_PARTS):
        head = data[at : at + 8]
        length, start = int.from_bytes(head[:4], "big"), at + 8
        end = start + length
        if len(head) < 8 or end + 4 > len(data):  # noqa: PLR2004
            raise broken("the file ends in the middle")
        told = int.from_bytes(data[end : end + 4], "big")
        if _sum(data, at + 4, end) != told:
            raise broken(f"the check sum of the part at byte {at} is not right")
        yield head[4:], start, end
        if head[4:] == b"IEND":
            return
        at = end + 4
    raise broken(f"it has more than {MOST_PARTS} parts")


def _sum(data: Data, start: int, end: int) -> int:
    found = 0
    for at in range(start, end, _AT_ONCE):
        found = zlib.crc32(data[at : min(end, at + _AT_ONCE)], found)
    return found
