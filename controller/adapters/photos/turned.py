"""Which way up a picture is: all that is kept of its EXIF (CIPA DC-008, in TIFF 6.0).

A phone writes its pictures as the sensor lies and says beside them how to turn them;
place, time and owner stand in the same block. What may live here: reading that one
number, and a block that holds nothing else. Pure.
"""

import struct

_ORIENTATION = 0x0112
_SHORT = 3
_UPRIGHT = 1
_MOST_FIELDS = 500


def orientation_in(block: bytes) -> int:
    """Return the orientation, 1 to 8, that a TIFF block tells; 1 where it tells none.

    Args:
        block: From its byte order mark on.
    """
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None:
        return _UPRIGHT
    try:
        return _found(block, order)
    except struct.error:  # it ends too early
        return _UPRIGHT


def _found(block: bytes, order: str) -> int:
    (start,) = struct.unpack_from(f"{order}I", block, 4)
    (fields,) = struct.unpack_from(f"{order}H", block, start)
    for number in range(min(fields, _MOST_FIELDS)):
        at = start + 2 + 12 * number
        tag, kind, _, value = struct.unpack_from(f"{order}HHIH", block, at)
        if tag == _ORIENTATION and kind == _SHORT:
            return value if _UPRIGHT <= value <= 8 else _UPRIGHT  # noqa: PLR2004
    return _UPRIGHT


def turned_block(orientation: int) -> bytes:
    """Return a TIFF block that tells an orientation alone; empty: it is upright."""
    if orientation == _UPRIGHT:
        return b""
    field = struct.pack(">HHIHH", _ORIENTATION, _SHORT, 1, orientation, 0)
    return b"MM\0*" + struct.pack(">IH", 8, 1) + field + bytes(4)
