"""Which page of a SQLite file holds what, by the published file format.

The b-trees are walked as sqlite.org, "Database File Format", sections 1.6 and
2.6, describes them.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from controller.adapters.season_log.schema import PAGE_BYTES

PAGE = PAGE_BYTES
SECTOR = 512
_INTERIOR = {2, 5}
_HEADS = {2: 12, 5: 12, 10: 8, 13: 8}


def pages_by_kind(path: Path) -> dict[str, list[int]]:
    """Return the numbers of the b-tree pages of each table, from 1.

    Indices count as their tables' pages; freelist trunks are "freelist", and
    the first page is "header".
    """
    whole = path.read_bytes()
    with closing(sqlite3.connect(path)) as db:
        roots = db.execute(
            "SELECT tbl_name, rootpage FROM sqlite_schema WHERE rootpage > 0"
        ).fetchall()
    found: dict[str, list[int]] = {"header": [1]}
    for table, root in roots:
        found.setdefault(table, []).extend(_tree(whole, root))
    trunk = int.from_bytes(whole[32:36], "big")
    if trunk:
        found["freelist"] = [trunk]
    return found


def _tree(whole: bytes, number: int) -> Iterator[int]:
    yield number
    start = (number - 1) * PAGE
    kind = whole[start]
    if kind in _INTERIOR:
        count = int.from_bytes(whole[start + 3 : start + 5], "big")
        at = start + _HEADS[kind]
        for n in range(count):
            cell = int.from_bytes(whole[at + 2 * n : at + 2 * n + 2], "big")
            child = whole[start + cell : start + cell + 4]
            yield from _tree(whole, int.from_bytes(child, "big"))
        yield from _tree(whole, int.from_bytes(whole[start + 8 : start + 12], "big"))
