"""What people saw and did, in the season log: durable, proved, carried along."""

import asyncio
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from controller import cli
from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    LogFile,
    SeasonLogReader,
    SeasonLogWriter,
    UnusableLogError,
    carry_records,
    inspect_log,
    is_former,
    migrated,
    migration,
    record_queue,
)
from controller.adapters.season_log.backup import back_up, check_backup
from controller.adapters.season_log.tables import TABLES
from controller.core.scan import LogHealth
from controller.ports import NotKeptError
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind
from tests.log.test_failing_disk import Card


def change(number: int, text: str = "seen") -> Change:
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=number, text=text)
    return Change(number, 1_000 + number, "a test", str(number), value)


def kept(path: Path, count: int = 3) -> list[Change]:
    """Write so many changes into a log; return them."""
    changes = [change(number) for number in range(1, count + 1)]
    writer = SeasonLogWriter(path)
    asyncio.run(writer.keep(changes))
    writer.close()
    return changes


def altered(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(statement)


# -------------------------------------------------------------------- on the disk


def test_records_and_scans_are_written_side_by_side(path, samples, on_disk):
    writer = SeasonLogWriter(path)
    writer.begin(samples.header())

    async def both() -> None:
        for seq in range(1, 40):
            writer.append(*samples.taken(seq, flush=seq % 7 == 0))
            if seq % 10 == 0:
                await writer.keep([change(seq // 10)])

    asyncio.run(both())
    writer.close()
    assert on_disk.seqs() == list(range(1, 40))
    assert len(SeasonLogReader(path).changes()) == 3
    SeasonLogReader(path).check()


def test_records_need_no_run(path):
    changes = kept(path)
    assert SeasonLogReader(path).runs() == []
    assert SeasonLogReader(path).changes() == changes


@pytest.mark.parametrize("ill", ["PRAGMA max_page_count = 1", "PRAGMA query_only = 1"])
def test_a_disk_that_refuses_is_told_at_once_and_nothing_appears_later(
    path, samples, ill
):
    card = Card()
    writer = SeasonLogWriter(path, retry_s=3_600.0, open_log=card.open)
    writer.begin(samples.header())
    assert writer.settle()
    card.becomes(ill)
    long = "x" * 2_000

    async def tell() -> None:
        for number in range(1, 200):
            await writer.keep([change(number, long)])

    with pytest.raises(NotKeptError, match="cannot be written") as refused:
        asyncio.run(tell())
    assert refused.value.certain
    assert writer.health() is LogHealth.FAILED
    before = SeasonLogReader(path).changes()
    card.pragma = ""
    asyncio.run(writer.keep([change(len(before) + 1, "again")]))
    writer.close()
    assert SeasonLogReader(path).changes()[-1].value.text == "again"
    assert len(SeasonLogReader(path).changes()) == len(before) + 1


def test_a_disk_that_hangs_is_waited_for_so_long_and_no_longer(path):
    """A record that waited still is withdrawn; one in hand may yet be written."""
    hang = threading.Event()
    inside = threading.Event()

    class Slow(LogFile):
        def add_records(self, rows):
            inside.set()
            hang.wait(20)
            super().add_records(rows)

    def open_log(path, *, run, may_create):
        return Slow(path, run=run, may_create=may_create)

    writer = SeasonLogWriter(path, open_log=open_log, kept_within_s=0.05)

    async def tell() -> list[bool]:
        first = asyncio.ensure_future(writer.keep([change(1)]))
        await asyncio.to_thread(inside.wait, 20)
        second = asyncio.ensure_future(writer.keep([change(2)]))
        ended = await asyncio.gather(first, second, return_exceptions=True)
        return [one.certain for one in ended if isinstance(one, NotKeptError)]

    assert asyncio.run(tell()) == [False, True]
    hang.set()
    writer.close()
    assert SeasonLogReader(path).changes() == [change(1)]


def test_of_a_commit_that_ended_in_an_io_error_nobody_can_say(path):
    """SQLITE_IOERR_FSYNC, as a card gives it that dies (sqlite.org, "Result Codes")."""

    class Dying(LogFile):
        def commit(self):
            if self._db.in_transaction:
                error = sqlite3.OperationalError("disk I/O error")
                error.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
                raise error

    def open_log(path, *, run, may_create):
        return Dying(path, run=run, may_create=may_create)

    writer = SeasonLogWriter(path, open_log=open_log, retry_s=3_600.0)
    with pytest.raises(NotKeptError, match="disk I/O error") as refused:
        asyncio.run(writer.keep([change(1)]))
    assert not refused.value.certain
    writer.close()


def test_more_than_so_many_do_not_wait(path, monkeypatch):
    monkeypatch.setattr(record_queue, "MOST_WAITING", 0)
    writer = SeasonLogWriter(path)
    with pytest.raises(NotKeptError, match="too many records wait"):
        asyncio.run(writer.keep([change(1)]))
    writer.close()


def test_what_cannot_be_stored_is_its_own_fault_and_no_ill_health(path):
    writer = SeasonLogWriter(path)
    huge = Change(1, 2**70, "a test", "1", change(1).value)
    with pytest.raises(NotKeptError, match="cannot be stored"):
        asyncio.run(writer.keep([huge]))
    assert writer.health() is LogHealth.OK
    asyncio.run(writer.keep([change(1)]))
    writer.close()
    assert SeasonLogReader(path).changes() == [change(1)]


def test_a_log_that_is_closed_takes_nothing(path):
    writer = SeasonLogWriter(path)
    writer.close()
    with pytest.raises(NotKeptError, match="is closed"):
        asyncio.run(writer.keep([change(1)]))


WRITER = """
import asyncio, sys
from pathlib import Path
from controller.adapters.season_log import SeasonLogWriter
from tests.log.test_records_in_the_log import change

async def main():
    log = SeasonLogWriter(Path(sys.argv[1]))
    for number in range(1, 1_000_000):
        await log.keep([change(number)])
        print(number, flush=True)

asyncio.run(main())
"""


@pytest.mark.parametrize("count", [1, 25])
def test_every_record_that_was_answered_survives_kill_9(path, count):
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    ) as writer:
        assert writer.stdout is not None
        told = [int(writer.stdout.readline()) for _ in range(count)]
        writer.send_signal(signal.SIGKILL)
        told += [int(line) for line in writer.stdout.read().split()]
    found = SeasonLogReader(path).changes()
    assert len(found) >= told[-1]
    assert found == [change(number) for number in range(1, len(found) + 1)]


# ------------------------------------------------------------------------- proved

DAMAGE = [
    "DELETE FROM record WHERE id = 2",
    "DELETE FROM record WHERE id = 3",  # the last one
    "DELETE FROM record",
    "UPDATE record SET body = replace(body, 'seen', 'done') WHERE id = 1",
    "UPDATE record SET utc_ms = utc_ms + 1 WHERE id = 3",
    "UPDATE record SET who = 'nobody' WHERE id = 2",
    "UPDATE record SET subject = '1' WHERE id = 2",
    "UPDATE meta SET value = '2' WHERE key = 'records'",
    "UPDATE meta SET value = 'many' WHERE key = 'records'",
    "DELETE FROM meta WHERE key = 'records'",
    "INSERT INTO record SELECT 4, utc_ms, who, kind, subject, body, sum FROM record"
    " WHERE id = 3",
]


@pytest.mark.parametrize("statement", DAMAGE)
def test_a_record_that_is_missing_or_altered_is_told_and_never_served(path, statement):
    kept(path)
    altered(path, statement)
    with pytest.raises(LogError, match="damaged"):
        SeasonLogReader(path).changes()
    with pytest.raises(LogError, match="damaged"):
        SeasonLogReader(path).check()
    with pytest.raises(UnusableLogError, match="damaged"):
        inspect_log(path)
    with pytest.raises(LogError, match="damaged"):
        check_backup(path)


def test_a_log_that_cannot_count_its_records_takes_no_more(path):
    kept(path)
    altered(path, "DELETE FROM meta WHERE key = 'records'")
    writer = SeasonLogWriter(path)
    with pytest.raises(NotKeptError, match="how many records"):
        asyncio.run(writer.keep([change(4)]))
    writer.close()


# ----------------------------------------------------------------- carried along


def test_a_backup_has_them(path, tmp_path):
    changes = kept(path)
    copy = tmp_path / "copy.db"
    assert back_up(path, copy).rows["record"] == 3
    assert SeasonLogReader(copy).changes() == changes


def test_runs_may_be_forgotten_and_what_people_wrote_stays(path, samples):
    log = DirectSeasonLog(path)
    log.begin(samples.header("old"))
    log.append(*samples.taken(1))
    log.begin(samples.header("new", started_utc_ms=2**41))
    log.close()
    changes = kept(path)
    words = ["forget", str(path), "--before", "2026-01-01", "--yes"]
    assert cli.main([*words, "--even-if-needed"]) == 0
    assert [header.run for header in SeasonLogReader(path).runs()] == ["new"]
    assert SeasonLogReader(path).changes() == changes
    SeasonLogReader(path).check()


def without_records(path: Path) -> None:
    """Make of a log what the version before wrote: schema 3."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("DROP TABLE record")
        db.execute("DELETE FROM meta WHERE key = 'records'")
        db.execute("UPDATE meta SET value = '3' WHERE key = 'schema_version'")
        db.execute("PRAGMA user_version = 3")


@pytest.fixture
def schema_3(path, samples) -> Path:
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for taken in samples.many(1, 40):
        log.append(*taken)
    log.close()
    without_records(path)
    return path


def test_schema_3_gets_its_table_in_place_and_the_old_file_is_kept(schema_3, path):
    before = path.read_bytes()
    assert is_former(path)
    assert migrated(path).name == "season.db.schema-3"
    assert path.with_name("season.db.schema-3").read_bytes() == before
    reader = SeasonLogReader(path)
    reader.check()
    assert len(list(reader.scans("run-1"))) == 40
    assert reader.changes() == []
    with closing(sqlite3.connect(path)) as db:
        made = {sql for (sql,) in db.execute("SELECT sql FROM sqlite_schema") if sql}
        assert set(TABLES) <= made
    assert kept(path) == SeasonLogReader(path).changes()


def test_a_power_cut_while_schema_3_is_brought_up_leaves_one_or_the_other(
    schema_3, path, tmp_path
):
    """Every state that the files pass through, as a process killed there leaves it."""
    states: list[Path] = []
    real = sqlite3.Connection

    class Watched(real):
        def execute(self, *args):
            found = super().execute(*args)
            shot = tmp_path / f"shot-{len(states)}"
            shot.mkdir()
            for one in path.parent.glob("season.db*"):
                if one.is_file():
                    shutil.copy(one, shot / one.name)
            states.append(shot)
            return found

    def connect(path):
        return sqlite3.connect(path, isolation_level=None, factory=Watched)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(migration, "connect", connect)
        migrated(path)
    assert len(states) > 5
    for shot in states:
        log = shot / "season.db"
        if is_former(log):
            migrated(log)
        SeasonLogReader(log).check()
        assert len(list(SeasonLogReader(log).scans("run-1"))) == 40


def test_without_room_schema_3_stands_as_it_was(schema_3, path, monkeypatch):
    before = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(migration.shutil, "copy2", full)
    with pytest.raises(LogError, match="No space left"):
        migrated(path)
    assert path.read_bytes() == before
    left = {one.name for one in path.parent.iterdir()}
    assert {name for name in left if "schema" in name or "migrating" in name} == set()


# ------------------------------------------------------- a log that was set aside


def test_a_log_that_was_set_aside_gives_its_records_to_the_new_one(path, tmp_path):
    changes = kept(path, 30)
    aside = path.rename(tmp_path / "aside.db")
    altered(aside, "DROP TABLE clock")
    found = carry_records(aside, path)
    assert (found.carried, found.left) == (30, 0)
    assert SeasonLogReader(path).changes() == changes
    SeasonLogReader(path).check()


def test_records_behind_a_damaged_one_are_counted_and_left(path, tmp_path):
    changes = kept(path, 30)
    aside = path.rename(tmp_path / "aside.db")
    altered(aside, "UPDATE record SET body = '{}' WHERE id = 12")
    found = carry_records(aside, path)
    assert (found.carried, found.left) == (11, 19)
    assert SeasonLogReader(path).changes() == changes[:11]


@pytest.mark.parametrize("junk", [b"", b"no log at all"])
def test_of_what_is_no_log_nothing_is_carried_and_nothing_made(path, tmp_path, junk):
    aside = tmp_path / "aside.db"
    aside.write_bytes(junk)
    assert carry_records(aside, path).carried == 0
    assert not path.exists()


def test_a_new_log_that_cannot_be_written_is_an_error(path, tmp_path):
    kept(path)
    aside = path.rename(tmp_path / "aside.db")
    path.with_name("season.db.new").mkdir()
    with pytest.raises(LogError, match="cannot be written"):
        carry_records(aside, path)
