"""The season log, read back: while it is written, or years later.

Every call opens a read-only connection of its own, so that a reader may be
used from any thread and never holds the file. Rows that cannot be understood
raise LogError, whatever is wrong with them.
"""

import os
import sqlite3
import zlib
from array import array
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple, cast

from controller.adapters.season_log.assemble import assembled, next_part
from controller.adapters.season_log.clock import LATEST_MS, SKEW_MS, Stretch
from controller.adapters.season_log.journal import entries
from controller.adapters.season_log.rows import (
    Ending,
    check_together,
    offsets_of,
    plan_of,
    state_of,
    unpacked_state,
)
from controller.adapters.season_log.schema import (
    READINGS_PER_SCAN,
    LogError,
    check_file,
    check_schema,
    damaged,
)
from controller.core.state import State
from controller.core.units import HOUR_MS
from controller.ports import UNTAKEN_MC, Columns, LogEntry, RecordedScan, RunHeader
from controller.wire import from_text

_CHUNK = 2_000
_SENSELESS = (ValueError, LookupError, TypeError, ArithmeticError)
_NO_END = 2**62

_SAMPLES = f"""
    SELECT r.id,
        :run_base + s.id * :every + s.late_ms - r.age_ms AS run_ms,
        :utc_base + s.id * :every + s.late_ms + s.skew_ms - r.age_ms AS utc_ms,
        CASE WHEN r.quality = 0 AND r.milli IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM doubt d
            WHERE d.scan = s.id AND d.reading = r.id % {READINGS_PER_SCAN})
        THEN r.milli + :offset ELSE {UNTAKEN_MC} END AS temp_mc
    FROM reading r JOIN scan s ON s.id = r.id / {READINGS_PER_SCAN}
    WHERE r.id >= :first * {READINGS_PER_SCAN} AND r.id < :end * {READINGS_PER_SCAN}
        AND r.probe = :probe AND utc_ms >= :from AND utc_ms < :to
        AND (:untaken OR temp_mc <> {UNTAKEN_MC})
    ORDER BY r.id"""  # noqa: S608


class _Span(NamedTuple):
    """Numbers of the scans of a run: after `first`, up to `last`."""

    first: int
    last: int


class SeasonLogReader:
    """Implements ports.SeasonReader on a file."""

    def __init__(self, path: Path) -> None:
        """Look at the file.

        Raises:
            LogError: It is missing, no season log, damaged, or of a newer
                schema.
        """
        self._path = path
        with self._reading():
            pass

    def runs(self) -> Sequence[RunHeader]:
        """Return the headers of all runs, oldest first."""
        with self._reading() as db:
            rows = db.execute(f"SELECT {_HEADER} FROM run ORDER BY id").fetchall()  # noqa: S608
            return [_header(row[1:], _notes(db, row[0])) for row in rows]

    def ending(self, run: str) -> Ending | None:
        """Return how a run ended; None: it goes on, or left no word."""
        with self._reading() as db:
            span = self._span(db, run)
            row = db.execute(
                "SELECT run_ms, utc_ms, cause FROM ending WHERE scan >= ?1"
                " AND scan < coalesce((SELECT min(id) FROM run WHERE id > ?1), ?2)"
                " ORDER BY scan DESC LIMIT 1",
                (span.first, _NO_END),
            ).fetchone()
            return None if row is None else Ending(*row)

    def scans(self, run: str, after_seq: int = 0) -> Iterator[RecordedScan]:
        """Yield every scan of a run with a number above after_seq, in order.

        Scans that are written meanwhile are not waited for.
        """
        with self._reading() as db:
            span = self._span(db, run)
            at = span.first + max(0, after_seq)
            while part := next_part(db, span.first, at, span.last, _CHUNK):
                yield from assembled(part, span.first)
                at = part.last

    def last_seq(self, run: str) -> int:
        """Return the number of a run's last written scan; 0: there is none."""
        with self._reading() as db:
            span = self._span(db, run)
            return span.last - span.first

    def last_state(self, run: str) -> tuple[int, State]:
        """Return the newest state of a run that was kept, and after which scan.

        Scans after it are found by scans(run, after_seq): deciding them again
        gives the state at the end. Before the first scan, the number is 0 and
        the state the header's.
        """
        with self._reading() as db:
            span = self._span(db, run)
            row = db.execute(
                "SELECT scan, state FROM snapshot WHERE scan > ? AND scan <= ?"
                " ORDER BY scan DESC LIMIT 1",
                span,
            ).fetchone()
            found = db.execute("SELECT plan, state FROM run WHERE id = ?", span[:1])
            plan, first_state = found.fetchone()
            if row is None:
                row = (span.first, first_state)
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
        has none.
        """
        columns = Columns(array("q"), array("q"), array("q"), array("q"))
        with self._reading() as db:
            asked = {"from": from_utc_ms, "to": to_utc_ms, "untaken": untaken}
            known = db.execute("SELECT id FROM name WHERE name = ?", (probe,))
            for (number,) in known.fetchall():
                for part in _parts(db, from_utc_ms, to_utc_ms + HOUR_MS):
                    offset_mk = _offset(db, part["first"], probe)
                    ask = {**part, **asked, "probe": number, "offset": offset_mk}
                    rows = db.execute(_SAMPLES, ask).fetchall()
                    for column, cells in zip(_all(columns), zip(*rows), strict=False):
                        column.extend(cells)
        return columns

    def journal(self, after: int, limit: int) -> Sequence[LogEntry]:
        """Return at most limit entries with an id above after, oldest first."""
        with self._reading() as db:
            return entries(db, after, limit)

    # -------------------------------------------------------------------- below

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        db = _connected(self._path)
        try:
            check_schema(self._path, db)
            yield db
        except sqlite3.OperationalError as error:
            raise LogError(f"{self._path} cannot be read now: {error}") from error
        except (sqlite3.Error, zlib.error, *_SENSELESS) as error:
            raise damaged(self._path, error) from error
        finally:
            db.close()

    def _span(self, db: sqlite3.Connection, run: str) -> _Span:
        row = db.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
        if row is None:
            raise LogError(f"{self._path} has no run {run!r}")
        (last,) = db.execute(
            "SELECT max(id) FROM scan WHERE id > ?1 AND id < coalesce("
            " (SELECT min(id) FROM run WHERE id > ?1), ?2)",
            (row[0], _NO_END),
        ).fetchone()
        return _Span(row[0], row[0] if last is None else last)


_HEADER = (
    "id, run, origin, started_run_ms, started_utc_ms, timezone, decisions_version,"
    " versions, plan, state"
)


def _notes(db: sqlite3.Connection, run_id: int) -> tuple[str, ...]:
    found = db.execute("SELECT sentence FROM note WHERE scan = ? ORDER BY n", (run_id,))
    return tuple(sentence for (sentence,) in found)


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


def _parts(
    db: sqlite3.Connection, from_utc_ms: int, to_utc_ms: int
) -> Iterator[dict[str, int]]:
    """Yield the ranges of scans that may lie in a time, one for each stretch."""
    rows = db.execute("SELECT * FROM clock ORDER BY scan").fetchall()
    stretches = [Stretch(*row) for row in rows]
    ends = [stretch.scan for stretch in stretches[1:]] + [_no_end(db)]
    slack_ms = LATEST_MS + SKEW_MS
    for stretch, end in zip(stretches, ends, strict=True):
        early = (from_utc_ms - slack_ms - stretch.utc_ms) // stretch.every_ms
        late = (to_utc_ms + slack_ms - stretch.utc_ms) // stretch.every_ms
        first = stretch.scan + max(0, early)
        last = min(end - 1, stretch.scan + late)
        if first <= last:
            yield {
                "first": first,
                "end": last + 1,
                "every": stretch.every_ms,
                "run_base": stretch.run_ms - stretch.scan * stretch.every_ms,
                "utc_base": stretch.utc_ms - stretch.scan * stretch.every_ms,
            }


def _all(columns: Columns) -> tuple["array[int]", ...]:
    return tuple(
        cast("array[int]", column)
        for column in (columns.order, columns.run_ms, columns.utc_ms, columns.temp_mc)
    )


def _no_end(db: sqlite3.Connection) -> int:
    (newest,) = db.execute("SELECT coalesce(max(id), 0) + 1 FROM scan").fetchone()
    return int(newest)


def _offset(db: sqlite3.Connection, scan_id: int, probe: str) -> int:
    (plan,) = db.execute(
        "SELECT plan FROM run WHERE id < ? ORDER BY id DESC LIMIT 1", (scan_id,)
    ).fetchone()
    return offsets_of(plan_of(plan)).get(probe, 0)
