"""A file that is no season log is named, explained and left as it is."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
)


def written(samples, path: Path, scans: int = 200) -> None:
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for taken in samples.many(1, scans):
        log.append(*taken)
    log.close()


def altered(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        for statement in statements:
            db.execute(statement)


def make_empty(path: Path) -> None:
    path.write_bytes(b"")


def make_text(path: Path) -> None:
    path.write_text("time,probe,value\n2026-02-01,n1,21.5\n" * 100)


def make_directory(path: Path) -> None:
    path.mkdir()


def make_foreign(path: Path) -> None:
    altered(path, "CREATE TABLE songs (title TEXT)")


def make_foreign_with_our_version(path: Path) -> None:
    altered(path, "CREATE TABLE scan (id INTEGER)", "PRAGMA user_version = 1")


MAKERS: dict[str, tuple[Callable[[Path], None], str]] = {
    "empty": (make_empty, "is empty"),
    "text": (make_text, "begins with b'time,probe,value.*no SQLite file"),
    "directory": (make_directory, "is a directory"),
    "foreign": (make_foreign, "SQLite file of another program"),
    "foreign, our version": (make_foreign_with_our_version, "of another program"),
}


def contents(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


@pytest.mark.parametrize("what", MAKERS)
@pytest.mark.parametrize("opener", [SeasonLogReader, SeasonLogWriter, DirectSeasonLog])
def test_what_is_no_season_log_is_refused_and_left_alone(path, what, opener):
    make, complaint = MAKERS[what]
    make(path)
    before = contents(path)
    with pytest.raises(LogError, match=complaint) as caught:
        opener(path)
    assert str(path) in str(caught.value)
    assert contents(path) == before


@pytest.mark.parametrize("opener", [SeasonLogReader, SeasonLogWriter, DirectSeasonLog])
def test_a_newer_schema_is_refused_with_its_number(samples, path, opener):
    written(samples, path)
    meta = "UPDATE meta SET value = '7' WHERE key = 'schema_version'"
    altered(path, "PRAGMA user_version = 7", meta)
    with pytest.raises(LogError, match="has schema 7; this bottomheat reads up to"):
        opener(path)


@pytest.mark.parametrize("opener", [SeasonLogReader, SeasonLogWriter, DirectSeasonLog])
def test_a_log_without_all_its_tables_is_damaged(samples, path, opener):
    written(samples, path)
    altered(path, "DROP VIEW sample", "DROP TABLE reading")
    with pytest.raises(LogError, match=r"is damaged.*without \['reading', 'sample'\]"):
        opener(path)


@pytest.mark.parametrize("opener", [SeasonLogReader, SeasonLogWriter, DirectSeasonLog])
@pytest.mark.parametrize("kept", [100, 4_096, 12_288])
def test_a_log_that_was_cut_short_is_damaged(samples, path, opener, kept):
    written(samples, path)
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(LogError, match="is damaged"):
        opener(path)
    assert path.stat().st_size == kept


def everything(path: Path) -> list[object]:
    reader = SeasonLogReader(path)
    read: list[object] = [*reader.runs(), *reader.scans("run-1")]
    read += [*reader.journal(0, 10_000), reader.last_state("run-1")]
    columns = reader.samples("n1", 0, 2**60)
    return [*read, *columns.utc_ms, *columns.temp_mc]


def test_a_page_of_rubbish_is_an_error_or_harmless_never_other_data(samples, path):
    written(samples, path, 1_000)
    whole, told = path.read_bytes(), everything(path)
    found = 0
    for start in range(0, len(whole), 2_048):
        rubbish = b"\x7f" * 2_048
        path.write_bytes(whole[:start] + rubbish + whole[start + 2_048 :])
        try:
            assert everything(path) == told
        except LogError:
            found += 1
    assert found > 10


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE run SET plan = '{}'",
        "UPDATE run SET plan = 'rubbish'",
        "UPDATE run SET state = '[1, 2'",
        "UPDATE run SET versions = '[]'",
        "UPDATE snapshot SET state = x'00'",
        "UPDATE command SET cause = 'whim'",
        "UPDATE command SET numbers = '{'",
        "UPDATE command SET scan = 99999999",
        "UPDATE reading SET quality = 9",
        "UPDATE reading SET probe = 99",
        "DELETE FROM clock",
        "DELETE FROM scan WHERE id = 100",
    ],
)
def test_a_row_that_means_nothing_is_an_error(samples, path, statement):
    written(samples, path)
    altered(path, statement)
    reader = SeasonLogReader(path)

    def read() -> list[object]:
        headers = list(reader.runs())
        reader.last_state("run-1")
        commands = [one.commands for one in reader.scans("run-1") if one.commands]
        return [*headers, *commands]

    with pytest.raises(LogError, match=f"{path} is damaged"):
        read()


def test_a_missing_log_is_named_and_not_made_by_reading(path):
    with pytest.raises(LogError, match=r"season\.db does not exist"):
        SeasonLogReader(path)
    assert not path.exists()


@pytest.mark.parametrize("opener", [SeasonLogWriter, DirectSeasonLog])
def test_a_missing_folder_is_named_and_not_made(tmp_path, opener):
    with pytest.raises(LogError, match=r"the folder .*nowhere does not exist"):
        opener(tmp_path / "nowhere" / "season.db")
    assert list(tmp_path.iterdir()) == []


def test_a_beginning_that_was_cut_off_does_not_stop_the_next(samples, path, on_disk):
    """The power went while the file was being made: it has its name last."""
    path.with_name("season.db.new").write_bytes(b"SQLite format 3\x00 and no more")
    written(samples, path, 3)
    assert on_disk.seqs() == [1, 2, 3]
    assert not path.with_name("season.db.new").exists()


def test_an_unknown_run_is_named(samples, path):
    written(samples, path)
    with pytest.raises(LogError, match="has no run 'summer'"):
        list(SeasonLogReader(path).scans("summer"))


def test_a_refused_file_is_free_for_the_next_who_tries(samples, path):
    make_text(path)
    for _ in range(2):
        with pytest.raises(LogError, match="no SQLite file"):
            DirectSeasonLog(path)
        with pytest.raises(LogError, match="no SQLite file"):
            SeasonLogWriter(path)
    path.unlink()
    written(samples, path)


def test_a_copy_of_a_log_is_a_log(samples, path, tmp_path):
    written(samples, path)
    copy = Path(shutil.copy(path, tmp_path / "a copy %20?#.db"))
    assert len(list(SeasonLogReader(copy).scans("run-1"))) == 200
    DirectSeasonLog(copy).close()
