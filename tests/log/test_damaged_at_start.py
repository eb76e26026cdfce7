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
    is_former,
    set_aside,
    trips_beside,
)
from controller.adapters.season_log.schema import PAGE_BYTES
from controller.core.scan import LogHealth
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


@pytest.mark.parametrize("ends", [True, False])
@pytest.mark.parametrize("table", ["reading", "series", "folded"])
def test_every_page_is_looked_at_however_the_last_run_ended(samples, path, table, ends):
    log = DirectSeasonLog(path, commit_every_scans=500, fold_after_ms=3_600_000)
    log.begin(samples.header())
    for taken in samples.many(1, 4_000):
        log.append(*taken)
    if ends:
        log.end(Instant(0, UTC_MS, True, 0, 0), "stopped by SIGTERM")
    log.close()
    inspect_log(path)
    with_a_page_of_rubbish(path, table)
    with pytest.raises(UnusableLogError, match="is damaged"):
        inspect_log(path)


@pytest.fixture
def with_free_pages(samples, path):
    """A log in good order with pages that folding has left free."""
    log = DirectSeasonLog(path, commit_every_scans=500, fold_after_ms=3_600_000)
    log.begin(samples.header())
    for taken in samples.many(1, 4_000):
        log.append(*taken)
    log.end(Instant(0, UTC_MS, True, 0, 0), "stopped by SIGTERM")
    log.close()
    return path


def free_pages(whole):
    """Return where the list of free pages begins, and how many follow.

    sqlite.org, "Database File Format", 1.3.9 and 1.5: the number of the first page
    of the list is at 32 in the file; in it, the number of the next such page, how
    many pages it tells of, and their numbers, of four bytes each.
    """
    trunk = int.from_bytes(whole[32:36])
    at = (trunk - 1) * PAGE_BYTES
    return at, int.from_bytes(whole[at + 4 : at + 8])


@pytest.mark.parametrize("place", ["first free page", "how many", "header"])
def test_a_list_of_free_pages_that_is_none_is_found_after_an_end_in_good_order(
    with_free_pages, place
):
    """Then every write that needs a page would fail, at every start."""
    whole = bytearray(with_free_pages.read_bytes())
    at, many = free_pages(whole)
    assert many > 1
    inspect_log(with_free_pages)
    whole[{"first free page": at + 8, "how many": at + 7, "header": 39}[place]] ^= 64
    with_free_pages.write_bytes(whole)
    with closing(sqlite3.connect(with_free_pages)) as db:
        assert db.execute("SELECT count(*) FROM scan").fetchone()
    with pytest.raises(UnusableLogError, match=r"is damaged.*freelist"):
        inspect_log(with_free_pages)


def test_what_only_writing_finds_is_known_at_the_next_start(
    samples, with_free_pages, monkeypatch
):
    """As if a look had no time for it: the writer leaves a mark beside the log."""
    path = with_free_pages
    whole = bytearray(path.read_bytes())
    at, many = free_pages(whole)
    for n in range(many):
        whole[at + 8 + 4 * n] ^= 64
    path.write_bytes(whole)
    monkeypatch.setattr(inspection, "_look", lambda *_: None)
    inspect_log(path)
    log = SeasonLogWriter(path, retry_s=3_600)
    log.begin(samples.header("run-2"))
    for taken in samples.many(1, 2_000):
        log.append(*taken)
    assert log.settle()
    assert log.health() is LogHealth.FAILED
    assert "malformed" in log.trouble
    log.close()
    with pytest.raises(UnusableLogError, match=r"is damaged.*malformed.*beside it"):
        inspect_log(path)
    aside = set_aside(path, UTC_MS)
    assert b"malformed" in aside.with_name(aside.name + "-malformed").read_bytes()
    assert not path.with_name("season.db-malformed").exists()
    inspect_log(path)


def test_a_mark_that_a_power_cut_left_behind_is_no_new_logs_own(samples, path):
    """The log goes aside first, and what belongs to it after."""
    path.with_name("season.db-malformed").write_text("database disk image is malformed")
    written(samples, path)
    inspect_log(path)
    (stray,) = path.parent.glob("season.db.stray-*-malformed")
    assert "malformed" in stray.read_text()


def test_a_mark_that_cannot_be_read_is_no_damage(samples, path):
    written(samples, path)
    path.with_name("season.db-malformed").mkdir()
    with pytest.raises(LogError, match="cannot be read: Is a directory") as caught:
        inspect_log(path)
    assert not isinstance(caught.value, UnusableLogError)


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
    "statements",
    [
        ("DROP TABLE ending",),
        ("DROP VIEW sample",),
        (
            "PRAGMA user_version = 1",
            "UPDATE meta SET value = '1' WHERE key = 'schema_version'",
        ),
    ],
)
def test_a_log_with_a_table_missing_or_of_an_older_schema_is_unusable(
    samples, path, statements
):
    written(samples, path)
    altered(path, *statements)
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


SAYS_99 = "UPDATE meta SET value = '99' WHERE key = 'schema_version'"


@pytest.mark.parametrize(
    "statements",
    [
        ("PRAGMA application_id = 7", "ALTER TABLE scan ADD COLUMN song TEXT"),
        ("PRAGMA user_version = 99", SAYS_99),
        ("PRAGMA user_version = 99", "DROP TABLE meta"),
        (
            "PRAGMA user_version = 99",
            "UPDATE meta SET value = '98'",
            "DROP VIEW sample",
        ),
    ],
)
def test_another_programs_file_and_a_newer_schema_are_not_ours_to_move(
    samples, path, statements
):
    written(samples, path)
    TripFile(trips_beside(path)).save({})
    altered(path, *statements)
    before = path.read_bytes()
    with pytest.raises(LogError) as caught:
        inspect_log(path)
    assert not isinstance(caught.value, UnusableLogError)
    assert path.read_bytes() == before


@pytest.mark.parametrize("bit", range(32))
@pytest.mark.parametrize("at", [60, 68])
def test_one_bit_of_the_schemas_number_or_our_letters_is_damage(samples, path, bit, at):
    """sqlite.org, "Database File Format", 1.3: where both stand in the file's head.

    Else it would be a newer log's, an older one's or another program's, and be
    refused for good, or brought up from what it is not.
    """
    written(samples, path, scans=3)
    whole = bytearray(path.read_bytes())
    whole[at + bit // 8] ^= 1 << bit % 8
    path.write_bytes(whole)
    assert not is_former(path)
    with pytest.raises(UnusableLogError, match="is damaged: its head tells of"):
        inspect_log(path)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE meta SET value = 'three' WHERE key = 'schema_version'",
        "DELETE FROM meta WHERE key = 'schema_version'",
    ],
)
def test_tables_tell_of_a_flipped_number_where_the_other_place_does_not(
    samples, path, statement
):
    written(samples, path)
    altered(path, statement)
    inspect_log(path)
    altered(path, "PRAGMA user_version = 99")
    with pytest.raises(UnusableLogError, match="a season log of schema unknown"):
        inspect_log(path)


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
