"""A disk that is full, read-only or failing, and a file that is taken away."""

import shutil
import sqlite3
import subprocess
import sys

import pytest

from controller.adapters.season_log import (
    LogFile,
    SeasonLogReader,
    SeasonLogWriter,
    inspect_log,
)
from controller.core.scan import LogHealth

OK, FAILED = LogHealth.OK, LogHealth.FAILED
LONG = 3_600.0


class Card:
    """A real SQLite file whose disk can be made full or read-only by SQLite itself.

    `PRAGMA max_page_count` and `PRAGMA query_only` (sqlite.org, "PRAGMA") make
    SQLite give the very errors that it gives for a full and a read-only disk:
    SQLITE_FULL and SQLITE_READONLY.
    """

    def __init__(self) -> None:
        self.pragma = ""
        self.open_now: sqlite3.Connection | None = None

    def open(self, path, *, run, may_create):
        return LogFile(path, run=run, may_create=may_create, connect=self._connect)

    def _connect(self, path):
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        if self.pragma:
            db.execute(self.pragma)
        self.open_now = db
        return db

    def becomes(self, pragma: str) -> None:
        self.pragma = pragma
        assert self.open_now is not None
        self.open_now.execute(pragma)


@pytest.fixture
def card():
    return Card()


@pytest.fixture
def told():
    return []


@pytest.fixture
def log(path, card, samples, told):
    log = SeasonLogWriter(
        path, retry_s=LONG, open_log=card.open, ring_scans=5_000, tell=told.append
    )
    log.begin(samples.header())
    log.append(*samples.taken(1, flush=True))
    assert log.settle()
    assert log.health() is OK
    yield log
    log.close()


def settled(log):
    assert log.settle()
    return log.health()


@pytest.mark.parametrize("ill", ["full", "read-only"])
def test_scans_wait_while_a_disk_is_full_or_read_only_and_none_is_lost(
    log, card, samples, told, on_disk, ill
):
    pragma, words = {
        "full": ("PRAGMA max_page_count = 1", "is full"),
        "read-only": ("PRAGMA query_only = 1", "readonly database"),
    }[ill]
    card.becomes(pragma)
    for seq in range(2, 2_000):
        log.append(*samples.taken(seq, flush=seq % 500 == 0))
    assert settled(log) is FAILED
    assert words in log.trouble
    assert log.waiting > 1_000
    card.pragma = ""
    log.append(*samples.taken(2_000, flush=True))
    assert settled(log) is OK
    assert on_disk.seqs() == list(range(1, 2_001))
    assert [text.split(":")[0] for text in told][:1] == [
        "the season log cannot be written"
    ]
    assert "is written again" in told[-1]


def test_trouble_is_told_once_not_at_every_attempt(log, card, samples, told):
    card.becomes("PRAGMA query_only = 1")
    for seq in range(2, 6):
        log.append(*samples.taken(seq, flush=True))
        assert settled(log) is FAILED
    assert len(told) == 1


def test_a_log_that_is_deleted_while_it_is_written_is_noticed_at_once(
    log, samples, path
):
    """The system would go on writing into a file that has no name any more."""
    path.unlink()
    log.append(*samples.taken(2, flush=True))
    assert settled(log) is FAILED
    assert "was taken away" in log.trouble
    log.append(*samples.taken(3, flush=True))
    assert settled(log) is FAILED
    assert log.waiting == 2
    assert not path.exists()


def test_a_log_that_is_replaced_is_noticed_and_the_other_file_left_alone(
    log, samples, path, tmp_path
):
    shutil.copy(path, tmp_path / "copy.db")
    own = path.rename(tmp_path / "own.db")
    (tmp_path / "copy.db").rename(path)
    before = path.read_bytes()
    log.append(*samples.taken(2, flush=True))
    assert settled(log) is FAILED
    assert path.read_bytes() == before
    path.unlink()
    own.rename(path)
    log.append(*samples.taken(3, flush=True))
    assert settled(log) is OK
    assert SeasonLogReader(path).last_seq("run-1") == 3


def test_another_log_in_its_place_gets_none_of_its_scans(log, samples, path, tmp_path):
    other = SeasonLogWriter(tmp_path / "other.db")
    other.begin(samples.header("summer"))
    other.append(*samples.taken(1, flush=True))
    other.close()
    path.unlink()
    (tmp_path / "other.db").rename(path)
    for seq in (2, 3, 4):
        log.append(*samples.taken(seq, flush=True))
        assert settled(log) is FAILED
    assert SeasonLogReader(path).last_seq("summer") == 1
    assert [header.run for header in SeasonLogReader(path).runs()] == ["summer"]
    assert log.waiting == 3


def test_a_file_that_turns_out_damaged_while_it_is_written_is_ill_health(
    path, samples, told
):
    """What SQLite calls malformed is no scan's fault: none is given up for it."""

    class Rotten(sqlite3.Connection):
        rotten = False

        def executemany(self, sql, *args):
            if Rotten.rotten:
                raise sqlite3.DatabaseError("database disk image is malformed")
            return super().executemany(sql, *args)

    def open_log(path, *, run, may_create):
        def connect(path):
            return sqlite3.connect(path, isolation_level=None, factory=Rotten)

        return LogFile(path, run=run, may_create=may_create, connect=connect)

    log = SeasonLogWriter(path, retry_s=LONG, open_log=open_log, tell=told.append)
    log.begin(samples.header())
    assert settled(log) is OK
    Rotten.rotten = True
    log.append(*samples.taken(1, flush=True))
    assert settled(log) is FAILED
    assert (log.dropped, log.waiting) == (0, 1)
    assert "malformed" in told[-1]
    mark = path.with_name("season.db-malformed")
    assert "malformed" in mark.read_text()
    log.append(*samples.taken(2, flush=True))
    assert settled(log) is FAILED
    assert mark.exists()
    Rotten.rotten = False
    log.append(*samples.taken(3, flush=True))
    assert settled(log) is OK
    assert not mark.exists(), "it was the memory or the wire, not the file"
    log.close()
    inspect_log(path)


def test_a_mark_that_the_disk_does_not_take_is_done_without(path, samples):
    path.with_name("season.db-malformed").mkdir()

    def open_log(path, *, run, may_create):
        raise sqlite3.DatabaseError("database disk image is malformed")

    log = SeasonLogWriter(path, retry_s=LONG, open_log=open_log)
    log.begin(samples.header())
    assert settled(log) is FAILED
    assert "malformed" in log.trouble
    log.close()


def test_a_file_that_turns_out_malformed_in_folding_takes_scans_and_is_not_folded(
    path, samples, told, monkeypatch, on_disk
):
    """Told once; nothing is taken out of such a file, and nothing waits in memory."""
    tried = []

    def malformed(_file, _after_ms, now_ms):
        tried.append(now_ms)
        raise sqlite3.DatabaseError("database disk image is malformed")

    monkeypatch.setattr(LogFile, "fold_some", malformed)
    log = SeasonLogWriter(path, fold_after_ms=60_000, retry_s=LONG, tell=told.append)
    log.begin(samples.header())
    for seq in range(1, 300):
        log.append(*samples.taken(seq, flush=True))
        assert settled(log) is OK
    log.close()
    assert len(tried) == 1
    (words,) = told
    assert "is not as it was written" in words
    assert "malformed; nothing more is folded before the next start" in words
    assert on_disk.seqs() == list(range(1, 300))


def test_another_program_that_looks_into_the_log_takes_nothing_away(
    log, samples, path, tmp_path
):
    """A reader of this process must not cost the writer its locks.

    With them gone, another program that opens and closes the file deletes the
    "-wal", and all that is committed afterwards is lost with a kill.
    """
    SeasonLogReader(path).runs()
    look = "import sqlite3, sys; db = sqlite3.connect(sys.argv[1]);"
    look += " db.execute('SELECT * FROM run').fetchall(); db.close()"
    subprocess.run([sys.executable, "-c", look, str(path)], check=True)
    log.append(*samples.taken(2, flush=True))
    assert settled(log) is OK
    for name in ("season.db", "season.db-wal"):  # as a kill would leave them
        shutil.copy(path.with_name(name), tmp_path / f"copy-{name}")
    (tmp_path / "copy-season.db-wal").rename(tmp_path / "copy.db-wal")
    copy = (tmp_path / "copy-season.db").rename(tmp_path / "copy.db")
    assert SeasonLogReader(copy).last_seq("run-1") == 2


def test_a_wal_that_is_deleted_while_it_is_written_costs_nothing(log, samples, path):
    log.append(*samples.taken(2, flush=True))
    assert settled(log) is OK
    path.with_name("season.db-wal").unlink()
    log.append(*samples.taken(3, flush=True))
    settled(log)
    log.append(*samples.taken(4, flush=True))
    assert settled(log) is OK
    assert SeasonLogReader(path).last_seq("run-1") == 4
    assert path.with_name("season.db-wal").exists()
