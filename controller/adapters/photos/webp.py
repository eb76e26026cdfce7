"""WebP (RFC 9649): its chunks, and those of them that are needed to show it.

What may live here: from a whole file to what is kept of it. Pure.
"""

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
from controller.ports import PhotoRefusedError

_KEPT = frozenset({b"VP8X", b"ICCP", b"ALPH", b"VP8 ", b"VP8L"})
_EXIF_FLAG, _XMP_FLAG, _MOVING_FLAG = 0x08, 0x04, 0x02
_14_BITS = 0x3FFF


def kept_of_webp(data: Data) -> list[Piece]:
    """Return what is kept; what follows the picture's end is not.

    Raises:
        PhotoRefusedError: It is broken, not whole, or moves.
    """
    found = list(_chunks(data))
    kinds = [kind for kind, _, _ in found]
    if sum(kind in (b"VP8 ", b"VP8L") for kind in kinds) != 1:
        raise PhotoRefusedError("there must be one picture in it, and none that moves")
    extended = kinds[0] == b"VP8X"
    block = b""
    if extended:
        blocks = [data[start:end] for kind, start, end in found if kind == b"EXIF"]
        told = blocks[0].removeprefix(b"Exif\0\0") if blocks else b""
        block = turned_block(orientation_in(told))
    pieces: list[Piece] = []
    for kind, start, end in found:
        _check_picture(kind, data[start : min(end, start + 10)])
        if kind == b"VP8X":
            pieces.append(_extended(data[start - 8 : end], turned=bool(block)))
        elif kind in _KEPT:
            keep(pieces, start - 8, end + (end - start) % 2)
    if block:
        pieces.append(b"EXIF" + len(block).to_bytes(4, "little") + block)
    return _framed(pieces)


def _framed(pieces: list[Piece]) -> list[Piece]:
    size = 4 + sum(
        len(one) if isinstance(one, bytes) else one.stop - one.start for one in pieces
    )
    return [b"RIFF" + size.to_bytes(4, "little") + b"WEBP", *pieces]


def _extended(chunk: bytes, *, turned: bool) -> bytes:
    if len(chunk) != 18:  # noqa: PLR2004
        raise broken("its first part is not as long as it must be")
    flags = chunk[8]
    if flags & _MOVING_FLAG:
        raise PhotoRefusedError("a picture that moves is not taken")
    flags &= ~(_EXIF_FLAG | _XMP_FLAG)
    return chunk[:8] + bytes([flags | (_EXIF_FLAG if turned else 0)]) + chunk[9:]


def _check_picture(kind: bytes, head: bytes) -> None:
    """Check what a chunk says of how large the picture is."""
    if kind not in (b"VP8X", b"VP8 ", b"VP8L"):
        return
    if len(head) < (5 if kind == b"VP8L" else 10):
        raise broken("it does not say how large it is")
    if kind == b"VP8X":
        width = 1 + int.from_bytes(head[4:7], "little")
        height = 1 + int.from_bytes(head[7:10], "little")
    elif kind == b"VP8 ":
        if head[3:6] != b"\x9d\x01\x2a":
            raise broken("its picture does not begin as one")
        width = int.from_bytes(head[6:8], "little") & _14_BITS
        height = int.from_bytes(head[8:10], "little") & _14_BITS
    else:
        if head[0] != 0x2F:  # noqa: PLR2004 - its signature
            raise broken("its picture does not begin as one")
        bits = int.from_bytes(head[1:5], "little")
        width, height = 1 + (bits & _14_BITS), 1 + (bits >> 14 & _14_BITS)
    check_size(width, height)


def _chunks(data: Data) -> Iterator[tuple[bytes, int, int]]:
    """Yield the kind of each chunk, and where its content lies."""
    whole = 8 + int.from_bytes(data[4:8], "little")
    if whole > len(data):
        raise broken("the file ends in the middle")
    at = 12
    for _ in range(MOST_PARTS):
        head, start = data[at : at + 8], at + 8
        end = start + int.from_bytes(head[4:], "little")
        if start > whole or end + (end - start) % 2 > whole:
            raise broken("the file ends in the middle")
        yield head[:4], start, end
        at = end + (end - start) % 2
        if at == whole:
            return
    raise broken(f"it has more than {MOST_PARTS} parts")
