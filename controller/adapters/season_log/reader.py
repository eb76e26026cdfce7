"""The season log, read back: while it is written, or years later.

Every call opens a read-only connection of its own, so that a reader may be
used from any thread and never holds the file. Rows that cannot be understood
raise LogError, whatever is wrong with them.
"""

import os
import sqlite3
import struct
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from controller.adapters.season_log.assemble import assembled, part_of
from controller.adapters.season_log.decoding import Decode, decoded
from controller.adapters.season_log.heated import HeatMemory, heated
from controller.adapters.season_log.journal import entries
from controller.adapters.season_log.proof import prove_all
from controller.adapters.season_log.record_rows import changes_after
from controller.adapters.season_log.rows import (
    Ending,
    check_together,
    plan_of,
    state_of,
    unpacked_state,
)
from controller.adapters.season_log.sampling import Proofs, buckets, samples
from controller.adapters.season_log.schema import (
    LogError,
    check_file,
    check_schema,
    damaged,
    unread,
)
from controller.adapters.season_log.segments import (
    UnsoundError,
    names,
    segments,
    sound_rows,
    stretches,
)
from controller.adapters.season_log.tables import READINGS_PER_SCAN
from controller.adapters.season_log.wholeness import (
    SMALL,
    Holes,
    newest_number,
    prove_tables,
)
from controller.core.state import State
from controller.ports import (
    Bucket,
    Columns,
    Heated,
    LogEntry,
    RecordedScan,
    RunHeader,
)
from controller.records.changes import Change
from controller.review.envelopes import bucket_width_ms
from controller.wire import from_text

_CHUNK = 2_000
_ABOUT_RUNS = (*SMALL, "scan")
SENSELESS = (ValueError, LookupError, TypeError, ArithmeticError, struct.error)
"""Errors of rows that do not mean what they should."""

_NO_END = 2**62


class _Span(NamedTuple):
    """Numbers of the scans of a run: after `first`, up to `last`."""

    first: int
    last: int


class SeasonLogReader:
    """Implements ports.SeasonReader and RecordReader on a file."""

    def __init__(self, path: Path, *, decode: Decode = decoded) -> None:
        """Look at the file.

        Args:
            path: The file.
            decode: Makes readings of a stored series.

        Raises:
            LogError: It is missing, no season log, damaged, or of a newer
                schema.
        """
        self._path, self._decode = path, decode
        self._proofs = Proofs()
        self._heat = HeatMemory()
        with self._reading():
            pass

    def runs(self) -> Sequence[RunHeader]:
        """Return the headers of all runs, oldest first."""
        with self._reading() as db:
            rows = sound_rows(db, "run", "ORDER BY id")
            return [_header(row[1:], _notes(db, row[0])) for row in rows]

    def ending(self, run: str) -> Ending | None:
        """Return how a run ended; None: it goes on, or left no word."""
        with self._reading(_ABOUT_RUNS) as db:
            span = self._span(db, run)
            found = sound_rows(
                db,
                "ending",
                "WHERE scan >= ?1"
                " AND scan < coalesce((SELECT min(id) FROM run WHERE id > ?1), ?2)"
                " ORDER BY scan DESC LIMIT 1",
                (span.first, _NO_END),
            )
            return Ending(*found[0][1:]) if found else None

    def first_order(self, run: str) -> int:
        """Return what the order of a run's readings is at least."""
        with self._reading(_ABOUT_RUNS) as db:
            return self._span(db, run).first * READINGS_PER_SCAN

    def scans(self, run: str, after_seq: int = 0) -> Iterator[RecordedScan]:
        """Yield every scan of a run with a number above after_seq, in order.

        Scans that are written meanwhile are not waited for. One that follows
        a scan which is missing is not sound.
        """
        with self._reading(_ABOUT_RUNS) as db:
            span = self._span(db, run)
            after = at = span.first + max(0, after_seq)
            named, holes = names(db), Holes(db)
            known = [row for row in stretches(db) if row.scan > span.first]
            for segment in segments(db, after + 1, span.last, _CHUNK):
                part = part_of(segment, known, named, after)
                orphans = holes.after_gaps(part.moments, at + 1)
                yield from assembled(part, span.first, segment.unsound | orphans)
                at = segment.last

    def last_seq(self, run: str) -> int:
        """Return the number of a run's last written scan; 0: there is none."""
        with self._reading(_ABOUT_RUNS) as db:
            span = self._span(db, run)
            return span.last - span.first

    def last_state(self, run: str) -> tuple[int, State]:
        """Return the newest state of a run that was kept, and after which scan.

        Scans after it are found by scans(run, after_seq): deciding them again
        gives the state at the end. Before the first scan, the number is 0 and
        the state the header's.
        """
        with self._reading((*_ABOUT_RUNS, "snapshot")) as db:
            span = self._span(db, run)
            kept_rows = sound_rows(
                db,
                "snapshot",
                "WHERE scan > ? AND scan <= ? ORDER BY scan DESC LIMIT 1",
                span,
            )
            header = sound_rows(db, "run", "WHERE id = ?", span[:1])[0]
            plan, first_state = header[-2:]
            row = kept_rows[0] if kept_rows else (span.first, first_state)
            kept = state_of(row[1]) if row[0] == span.first else unpacked_state(row[1])
            check_together(plan_of(plan), kept)
            return row[0] - span.first, kept

    def samples(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, *, untaken: bool = False
    ) -> Columns:
        """Return a probe's readings measured in [from, to), as they came.

        Taken are those that were good at the door and that the core did not
        doubt; the others are left out, or have the value UNTAKEN_MC. Values
        have the offset of their run's plan. A probe that the log does not know
        has none. One that came more than an hour after it was measured may be
        left out where it was not taken.
        """
        with self._reading() as db:
            span = from_utc_ms, to_utc_ms
            how = self._proofs, self._decode
            return samples(db, *how, probe, span, untaken=untaken)

    def envelope(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, points: int
    ) -> Sequence[Bucket]:
        """Return a probe's readings taken in [from, to), in buckets.

        Whole hours of what is folded come from what was worked out then.

        Args:
            probe: Its name; one that the log does not know has no readings.
            from_utc_ms: Beginning of the stretch [ms].
            to_utc_ms: Its end, not part of it [ms].
            points: The most buckets that may come out; their width is
                bucket_width_ms of the three.

        Raises:
            ValueError: The stretch is empty, or there is no point to draw.
            LogError: The log is not as it was written, or cannot be read.
        """
        width_ms = bucket_width_ms(from_utc_ms, to_utc_ms, points)
        span = from_utc_ms, to_utc_ms
        with self._reading() as db:
            return buckets(db, self._proofs, probe, span, width_ms)

    def heated(self, mat: str, from_utc_ms: int, to_utc_ms: int) -> Iterator[Heated]:
        """Yield what a mat was told from some time before from up to to.

        Raises:
            LogError: The log is not as it was written, or cannot be read.
        """
        span = from_utc_ms, to_utc_ms
        with self._reading() as db:
            yield from heated(db, self._proofs, self._heat, mat, span)

    def check(self) -> None:
        """Look at everything in the file, which takes some seconds a season.

        Raises:
            LogError: Something is not as it was written, or cannot be read.
        """
        with self._reading() as db:
            prove_all(db)

    def journal(self, after: int, limit: int) -> Sequence[LogEntry]:
        """Return at most limit entries with an id above after, oldest first."""
        with self._reading() as db:
            return entries(db, self._proofs, after, limit)

    def changes(self, after: int = 0) -> Sequence[Change]:
        """Return the changes of records with a number above after, in order."""
        with self._reading(("record",)) as db:
            return changes_after(db, after)

    # -------------------------------------------------------------------- below

    @contextmanager
    def _reading(self, tables: Sequence[str] = SMALL) -> Iterator[sqlite3.Connection]:
        db = _connected(self._path)
        try:
            check_schema(self._path, db)
            # KiB instead of 2,000: a look goes through most pages once.
            db.execute("PRAGMA cache_size = -500")
            # One look: what is folded meanwhile stays where it was.
            db.execute("BEGIN")
            prove_tables(db, tables)
            yield db
        except sqlite3.OperationalError as error:
            raise unread(self._path, error) from error
        except (sqlite3.Error, zlib.error, *SENSELESS) as error:
            raise damaged(self._path, error) from error
        finally:
            db.close()

    def _span(self, db: sqlite3.Connection, run: str) -> _Span:
        # Not by its index, of which no check number is kept.
        asked = "SELECT id FROM run NOT INDEXED WHERE run = ?"
        row = db.execute(asked, (run,)).fetchone()
        if row is None:
            raise LogError(f"{self._path} has no run {run!r}")
        (first,) = row
        sound_rows(db, "run", "WHERE id = ?", row)
        end = self._end(db, first)
        (last,) = db.execute(
            "SELECT max("
            " coalesce((SELECT max(id) FROM scan WHERE id > ?1 AND id <= ?2), ?1),"
            " coalesce((SELECT max(last) FROM block WHERE last > ?1 AND last <= ?2),"
            " ?1))",
            (first, end),
        ).fetchone()
        missing = Holes(db).beyond(last + 1)
        if missing <= end:
            raise UnsoundError(f"scan {missing} is missing")
        return _Span(first, last)

    def _end(self, db: sqlite3.Connection, first: int) -> int:
        """Return the last number that belongs to the run with the first one."""
        (following,) = db.execute(
            "SELECT min(id) FROM run WHERE id > ?", (first,)
        ).fetchone()
        return newest_number(db) if following is None else int(following) - 1


def _notes(db: sqlite3.Connection, run_id: int) -> tuple[str, ...]:
    found = sound_rows(db, "note", "WHERE scan = ? ORDER BY n", (run_id,))
    return tuple(sentence for _, _, sentence in found)


def _header(
    row: tuple[str, str, int, int, str, int, str, str, str], notes: tuple[str, ...]
) -> RunHeader:
    run, origin, run_ms, utc_ms, timezone, version, versions, plan, state = row
    header = RunHeader(
        run=run,
        origin=origin,
        started_run_ms=run_ms,
        started_utc_ms=utc_ms,
        plan=plan_of(plan),
        state=state_of(state),
        timezone=timezone,
        decisions_version=version,
        versions=_texts(from_text(versions)),
        notes=notes,
    )
    check_together(header.plan, header.state)
    return header


def _texts(record: object) -> dict[str, str]:
    if not isinstance(record, dict):
        raise TypeError(f"versions are {record!r}")
    return {str(name): str(version) for name, version in record.items()}


def _connected(path: Path) -> sqlite3.Connection:
    try:
        check_file(path)
    except OSError as error:
        raise LogError(f"{path} cannot be read: {error.strerror}") from error
    return read_only(path)


def read_only(path: Path) -> sqlite3.Connection:
    """Open an existing file for reading, from whatever thread."""
    return sqlite3.connect(
        _address(path), uri=True, isolation_level=None, check_same_thread=False
    )


def _address(path: Path) -> str:
    """Return the URI to read a file by.

    To read a file in WAL mode SQLite makes two files beside it. Where it may
    not, and no writer left something there, the file is all there is.
    """
    wal = path.with_name(path.name + "-wal")
    whole = not wal.exists() or wal.stat().st_size == 0
    fixed = whole and not os.access(path.parent, os.W_OK)
    return f"{path.resolve().as_uri()}?mode=ro" + ("&immutable=1" if fixed else "")
