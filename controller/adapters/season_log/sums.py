"""Check numbers of the season log: proof that a row is as it was written.

SQLite tells a broken page from a whole one, not a wrong number from a right
one. What may live here: how the numbers come about.
"""

from collections.abc import Mapping, Sequence
from zlib import crc32

from controller.adapters.season_log.rows import Cell, Row
from controller.adapters.season_log.tables import EVENTS

OF_A_SCAN = ("scan", "reading", "remark", *EVENTS)
"""Tables that tell about one scan, in the order in which they are summed up."""


_THREE_BYTES = 1 << 24
"""Of a scan's sum three bytes are kept: there are so many of them."""


def row_sum(cells: Sequence[object]) -> int:
    """Return the check number of a row.

    It is the CRC-32 (RFC 1952, section 8) of its numbers and texts, written as
    Python's ascii() writes a tuple of them, and of its blobs behind that.
    """
    blobs = [cell for cell in cells if isinstance(cell, bytes)]
    if not blobs:
        return crc32(ascii(tuple(cells)).encode())
    plain = [cell for cell in cells if not isinstance(cell, bytes)]
    total = crc32(ascii(tuple(plain)).encode())
    for blob in blobs:
        total = crc32(blob, total)
    return total


def scan_sum(rows: Mapping[str, Sequence[Sequence[object]]]) -> int:
    """Return the check number of a scan: three bytes of a CRC-32, with a sign.

    Args:
        rows: By table: what stands in it about the scan, in order, that of
            `scan` without its sum.
    """
    told = [(table, rows[table]) for table in OF_A_SCAN if rows.get(table)]
    return crc32(ascii(told).encode()) % _THREE_BYTES - _THREE_BYTES // 2


def with_sum(cells: Sequence[Cell]) -> Row:
    """Return a row with its check number behind."""
    return (*cells, row_sum(cells))
