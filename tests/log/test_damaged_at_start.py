"""A log is looked at before a run goes on in it, and set aside if it must be."""

import sqlite3
from contextlib import closing

import pytest

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
    TripFile,
    UnusableLogError,
    inspect_log,
    inspection,
    set_aside,
    trips_beside,
)
from controller.ports import Instant

UTC_MS = 1_795_601_700_000
"""2026-11-25T10:15:00Z: date -u -d @1795601700"""


def written(samples, path, scans=300, *, ends=True):
    log = SeasonLogWriter(path)
    log.begin(samples.header())
    for taken in samples.many(1, scans):
        log.append(*taken)
    if ends:
        log.end(Instant(0, UTC_MS, True, 0, 0), "stopped by SIGTERM")
    log.close()


def altered(path, *statements):
    with closing(sqlite3.connect(path)) as db, db:
        for statement in statements:
            db.execute(statement)


def with_a_page_of_rubbish(path, table="reading"):
    """Spoil a page that neither the schema nor the last state lies on."""
    with closing(sqlite3.connect(path)) as db:
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
        (size,) = db.execute("PRAGMA page_size").fetchone()
    whole = path.read_bytes()
    start = (root - 1) * size
    path.write_bytes(whole[:start] + b"\x7f" * size + whole[start + size :])


def test_a_sound_log_and_a_missing_one_pass(samples, path):
    inspect_log(path)
    assert not path.exists()
    written(samples, path)
    inspect_log(path)


def test_every_page_is_looked_at_where_the_last_run_left_no_word(samples, path):
    written(samples, path, ends=False)
    inspect_log(path)
    with_a_page_of_rubbish(path)
    with pytest.raises(UnusableLogError, match="is damaged"):
        inspect_log(path)


def test_a_long_look_after_an_end_in_good_order_is_spared(samples, path):
    """What is folded proves itself when it is read."""
    log = DirectSeasonLog(path, commit_every_scans=500, fold_after_ms=3_600_000)
    log.begin(samples.header())
    for taken in samples.many(1, 4_000):
        log.append(*taken)
    log.end(Instant(0, UTC_MS, True, 0, 0), "stopped by SIGTERM")
    log.close()
    with_a_page_of_rubbish(path, "series")
    inspect_log(path)
    with pytest.raises(LogError, match="is damaged"):
        list(SeasonLogReader(path).scans("run-1"))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET milli = milli + 1 WHERE id = 409600",
        "UPDATE reading SET age_ms = 1235 WHERE id = 409600",
        "DELETE FROM reading WHERE id = 409600",
        "DELETE FROM scan WHERE id = 100",
        "UPDATE command SET energised = 1",
        "UPDATE clock SET utc_ms = utc_ms + 1",
        "DELETE FROM scan WHERE id > 290",
        "INSERT INTO command VALUES (999, 0, 0, 1, 'below-band', '[]')",
    ],
)
def test_recent_rows_that_were_altered_are_found_before_a_run_goes_on(
    samples, path, statement
):
    """SQLite alone takes each of these for a sound file."""
    written(samples, path)
    altered(path, statement)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with pytest.raises(UnusableLogError, match="is damaged"):
        inspect_log(path)


def test_a_log_that_its_writer_did_not_close_is_looked_at(samples, path):
    written(samples, path)
    with_a_page_of_rubbish(path)
    path.with_name("season.db-wal").touch()
    with pytest.raises(UnusableLogError, match="is damaged"):
        inspect_log(path)


def test_a_look_that_takes_too_long_ends_and_finds_nothing(samples, path, monkeypatch):
    written(samples, path, ends=False)
    with_a_page_of_rubbish(path)

    class Interrupted(sqlite3.Connection):
        def execute(self, sql, *args):
            if "quick_check" in sql:
                raise sqlite3.OperationalError("interrupted")
            return super().execute(sql, *args)

    monkeypatch.setattr(
        inspection, "read_only", lambda p: sqlite3.connect(p, factory=Interrupted)
    )
    inspect_log(path)


@pytest.mark.parametrize(
    "statement", ["DROP TABLE ending", "DROP VIEW sample", "PRAGMA user_version = 1"]
)
def test_a_log_with_a_table_missing_or_of_an_older_schema_is_unusable(
    samples, path, statement
):
    written(samples, path)
    altered(path, statement)
    with pytest.raises(UnusableLogError):
        inspect_log(path)


@pytest.mark.parametrize("kept", [100, 4_096, 12_288])
def test_a_log_that_was_cut_short_is_unusable(samples, path, kept):
    written(samples, path)
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(UnusableLogError):
        inspect_log(path)


@pytest.mark.parametrize("found", [b"", b"\x00" * 8_192, b"not a log at all"])
def test_a_file_that_lost_its_beginning_is_ours_where_our_file_of_trips_is(
    samples, path, found
):
    """A mistyped path must never rename somebody else's file."""
    path.write_bytes(found)
    with pytest.raises(LogError) as caught:
        inspect_log(path)
    assert not isinstance(caught.value, UnusableLogError)
    TripFile(trips_beside(path)).save({})
    with pytest.raises(UnusableLogError, match="is damaged"):
        inspect_log(path)


@pytest.mark.parametrize(
    "statement", ["PRAGMA application_id = 7", "PRAGMA user_version = 99"]
)
def test_another_programs_file_and_a_newer_schema_are_not_ours_to_move(
    samples, path, statement
):
    written(samples, path)
    TripFile(trips_beside(path)).save({})
    altered(path, statement)
    with pytest.raises(LogError) as caught:
        inspect_log(path)
    assert not isinstance(caught.value, UnusableLogError)


def test_a_log_goes_aside_with_all_that_belongs_to_it(samples, path):
    written(samples, path)
    path.with_name("season.db-wal").write_bytes(b"wal")
    path.with_name("season.db-shm").write_bytes(b"shm")
    whole = path.read_bytes()
    aside = set_aside(path, UTC_MS)
    assert aside.name == "season.db.damaged-20261125T101500Z"
    assert aside.read_bytes() == whole
    assert aside.with_name(aside.name + "-wal").read_bytes() == b"wal"
    assert aside.with_name(aside.name + "-shm").read_bytes() == b"shm"
    assert not path.exists()


def test_nothing_that_was_set_aside_before_is_replaced(path):
    names = []
    for text in ("one", "two", "three"):
        path.write_text(text)
        names.append(set_aside(path, UTC_MS))
    assert [aside.read_text() for aside in names] == ["one", "two", "three"]


@pytest.mark.parametrize("opener", [SeasonLogWriter, DirectSeasonLog])
def test_what_an_earlier_log_left_is_not_taken_for_a_new_logs_own(
    samples, path, opener
):
    """SQLite would replay an old "-wal" into a new file of the same name."""
    written(samples, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("UPDATE meta SET value = 'old' WHERE key = 'openings'")
        wal = path.with_name("season.db-wal").read_bytes()
    path.unlink()
    path.with_name("season.db-wal").write_bytes(wal)
    log = opener(path)
    log.begin(samples.header("run-2"))
    log.append(*samples.taken(1))
    log.close()
    assert [header.run for header in SeasonLogReader(path).runs()] == ["run-2"]
    (stray,) = path.parent.glob("season.db.stray-*-wal")
    assert stray.read_bytes() == wal
