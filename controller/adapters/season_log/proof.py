"""The whole of a season log, held to its check numbers.

What may live here: which rows are looked at, and that no number is missing.
"""

import sqlite3

from controller.adapters.season_log.record_rows import changes_after
from controller.adapters.season_log.sampling import Proofs
from controller.adapters.season_log.segments import (
    UnsoundError,
    blocks,
    prove_rows,
    unfolded,
)
from controller.adapters.season_log.wholeness import newest_number, prove_free_pages

_SMALL = ("name", "run", "note", "ending", "clock", "lost", "forgotten", "snapshot")
_END = 2**62


def prove_all(db: sqlite3.Connection) -> None:
    """Look at everything in a season log.

    Raises:
        UnsoundError: Something is not as it was written, or is missing.
        sqlite3.Error: SQLite finds the file damaged, or cannot read it.
        ValueError: A block holds something else than it should; so do
            LookupError, TypeError and zlib.error.
    """
    prove_pages(db)
    for block in blocks(db, 0, _END):
        unfolded(db, block)
    _prove_series(db)
    prove_recent(db)


def prove_pages(db: sqlite3.Connection) -> None:
    """Let SQLite look at every page; raise alike."""
    prove_free_pages(db)
    (found,) = db.execute("PRAGMA quick_check(1)").fetchone()
    if found != "ok":
        raise UnsoundError(" ".join(str(found).split()))


def prove_recent(db: sqlite3.Connection) -> None:
    """Look at all that is not folded, and that no number is missing; raise alike."""
    for table in _SMALL:
        prove_rows(db, table)
    changes_after(db, 0)
    known, newest, at = blocks(db, 0, _END), newest_number(db), _oldest(db)
    proofs = Proofs()
    for block in known:
        if at < block.first:
            proofs.prove(db, at, block.first - 1)
        if at > block.first:
            raise UnsoundError(f"the block of scan {block.first} is there twice")
        at = block.last + 1
    proofs.prove(db, at, newest)


def _oldest(db: sqlite3.Connection) -> int:
    """Return the number with which the file begins."""
    (oldest,) = db.execute("SELECT coalesce(min(id), 1) FROM run").fetchone()
    return int(oldest)


def _prove_series(db: sqlite3.Connection) -> None:
    """Look whether there are as many series as the blocks tell of."""
    told = sum(len(block.probes) for block in blocks(db, 0, _END))
    (found,) = db.execute("SELECT count(*) FROM series").fetchone()
    if told != found:
        raise UnsoundError(f"{found} series are there, and blocks tell of {told}")
