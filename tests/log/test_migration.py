"""An older log goes on in the present schema, and the old file is kept."""

import re
import sqlite3
from contextlib import closing

import pytest

from controller import cli
from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    LogLock,
    SeasonLogReader,
    is_former,
    migrated,
    migration,
)
from controller.adapters.season_log.tables import APPLICATION_ID, TABLES

NEW = ("block", "folded", "series", "forgotten")
SUM = re.compile(r",\s+sum INTEGER NOT NULL")


def as_schema_2(source, path):
    """Write a log as the version before did: without sums, blocks and holes."""
    with (
        closing(sqlite3.connect(source)) as new,
        closing(sqlite3.connect(path)) as old,
        old,
    ):
        for statement in TABLES:
            name = statement.split()[2]
            if name in NEW:
                continue
            old.execute(SUM.sub("", statement))
            if statement.startswith("CREATE TABLE"):
                copy(new, old, name)
        old.execute("DELETE FROM lost")
        old.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        old.execute("PRAGMA user_version = 2")
        old.execute("UPDATE meta SET value = '2' WHERE key = 'schema_version'")


def copy(new, old, table):
    info = old.execute(f"PRAGMA table_info({table})").fetchall()
    columns = ", ".join(row[1] for row in info)
    marks = ", ".join("?" * len(info))
    rows = new.execute(f"SELECT {columns} FROM {table}").fetchall()  # noqa: S608
    old.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)  # noqa: S608


@pytest.fixture
def former(samples, path, tmp_path):
    """A log of the version before, in which two scans were never written."""
    source = tmp_path / "source.db"
    log = DirectSeasonLog(source)
    log.begin(samples.header())
    for taken in samples.many(1, 40):
        if taken[0].seq not in (7, 8):
            log.append(*taken)
    log.close()
    as_schema_2(source, path)
    return SeasonLogReader(source)


def test_everything_is_there_afterwards_and_the_old_file_is_kept(former, path):
    before = path.read_bytes()
    assert is_former(path)
    kept = migrated(path)
    assert kept.name == "season.db.schema-2"
    assert kept.read_bytes() == before
    assert not is_former(path)
    reader = SeasonLogReader(path)
    reader.check()
    assert reader.runs() == former.runs()
    assert list(reader.scans("run-1")) == list(former.scans("run-1"))
    assert reader.last_state("run-1") == former.last_state("run-1")
    assert reader.journal(0, 999) == former.journal(0, 999)


def test_a_log_that_is_not_brought_up_yet_says_how_that_is_done(former, path):
    with pytest.raises(LogError, match=r"schema 2.*bottomheat migrate .*season\.db"):
        SeasonLogReader(path)


def test_the_command_does_it_once(former, path, capsys):
    assert cli.main(["migrate", str(path)]) == 0
    assert "is kept as season.db.schema-2" in capsys.readouterr().out
    assert cli.main(["migrate", str(path)]) == 0
    assert "nothing to do" in capsys.readouterr().out
    assert cli.main(["migrate", str(path.with_name("none.db"))]) == 2


def test_what_is_no_log_is_told_and_gets_no_lock_file(tmp_path, capsys):
    table = tmp_path / "table.csv"
    table.write_text("Time,Temp\r\n2027-02-01 09:00,20\r\n")
    assert cli.main(["migrate", str(table)]) == 2
    assert "no season log" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [table]


def test_a_log_that_is_being_written_is_left_alone(former, path):
    lock = LogLock(path)
    assert cli.main(["migrate", str(path)]) == 2
    lock.release()
    assert is_former(path)


@pytest.mark.parametrize("step", ["_build", "_prove", "_sync"])
def test_whatever_fails_the_old_file_stands(former, path, monkeypatch, step):
    before = path.read_bytes()

    def fails(*_):
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(migration, step, fails)
    with pytest.raises(LogError, match="No space left"):
        migrated(path)
    assert path.read_bytes() == before
    left = {one.name for one in path.parent.iterdir()}
    assert left == {"season.db", "source.db", "source.db.lock"}


def test_a_damaged_one_is_not_brought_up(former, path):
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE snapshot SET state = x'00'")
        db.execute("DELETE FROM clock")
    with pytest.raises(LogError, match="damaged"):
        migrated(path)
    assert is_former(path)


def test_a_flipped_number_of_a_former_schema_is_damage_too(former, path):
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA user_version = 66")
    assert not is_former(path)
    with pytest.raises(LogError, match=r"is damaged.*schema 66.*log of schema 2"):
        SeasonLogReader(path)


def test_without_second_names_for_files_a_copy_is_kept(former, path, monkeypatch):
    before = path.read_bytes()

    def no_links(*_):
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(migration.os, "link", no_links)
    assert migrated(path).read_bytes() == before


def test_a_second_one_does_not_take_the_name_of_the_first(former, path):
    before = path.read_bytes()
    migrated(path)
    path.write_bytes(before)
    assert migrated(path).name == "season.db.schema-2-2"
