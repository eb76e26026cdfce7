"""The writer never makes anybody wait, and loses nothing that it can keep."""

import asyncio
import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.season_log import (
    LogError,
    LogFile,
    SeasonLogReader,
    SeasonLogWriter,
    schema,
)
from controller.core.scan import LogHealth, Reading
from controller.core.units import Millis

LONG = 3_600.0
"""No retry by itself within a test [s]."""


class Disk:
    """A disk that refuses when told to.

    Attributes:
        refuses: Beginning of the statements that fail.
        error: What they raise.
        asked: Counts what was refused.
        gate: Closed, nothing is answered.
    """

    def __init__(self) -> None:
        self.refuses: tuple[str, ...] = ()
        self.error: Exception = sqlite3.OperationalError("disk I/O error")
        self.asked = threading.Semaphore(0)
        self.gate = threading.Event()
        self.gate.set()

    def open(self, path: Path, *, run: str | None, may_create: bool) -> LogFile:
        self.gate.wait()
        return LogFile(path, run=run, may_create=may_create, connect=self._connect)

    def _connect(self, path: Path) -> sqlite3.Connection:
        disk = self

        class Connection(sqlite3.Connection):
            def execute(self, sql: str, *args) -> sqlite3.Cursor:
                disk.check(sql)
                return super().execute(sql, *args)

            def executemany(self, sql: str, *args) -> sqlite3.Cursor:
                disk.check(sql)
                return super().executemany(sql, *args)

        return sqlite3.connect(path, isolation_level=None, factory=Connection)

    def check(self, sql: str) -> None:
        self.gate.wait()
        if self.refuses and sql.startswith(self.refuses):
            self.asked.release()
            raise self.error


class Liar(Disk):
    """A disk that takes a commit and then says that it did not."""

    def __init__(self) -> None:
        super().__init__()
        self.connection: sqlite3.Connection | None = None

    def _connect(self, path: Path) -> sqlite3.Connection:
        self.connection = super()._connect(path)
        return self.connection

    def check(self, sql: str) -> None:
        if sql == "COMMIT" and self.refuses and self.connection:
            self.connection.commit()
            raise self.error


@pytest.fixture
def disk():
    return Disk()


@pytest.fixture
def log(path, disk, samples):
    writer = SeasonLogWriter(path, retry_s=LONG, ring_scans=50, open_log=disk.open)
    writer.begin(samples.header())
    assert settled(writer) == (OK, 0)
    yield writer
    disk.refuses = ()
    disk.gate.set()
    writer.close()


def settled(log: SeasonLogWriter) -> tuple[LogHealth, int]:
    """Return health, and what waits, when all that was due has been tried."""
    assert log.settle()
    return log.health(), log.waiting


OK, FAILED = LogHealth.OK, LogHealth.FAILED


# ---------------------------------------------------------------- when it commits


async def test_a_scan_that_flushes_takes_all_before_it_to_the_disk(
    log, samples, on_disk
):
    log.append(*samples.taken(1))
    log.append(*samples.taken(2))
    log.append(*samples.taken(3, flush=True))
    assert await log.committed(3)
    assert on_disk.seqs() == [1, 2, 3]


async def test_other_scans_wait_for_the_commit_interval_of_run_time(
    log, samples, on_disk
):
    """Scans come every 5 s: from the first to the 13th it is a minute."""
    assert log.health() is LogHealth.OK
    for taken in samples.many(1, 12):
        log.append(*taken)
    waiter = asyncio.ensure_future(log.committed(12))
    await asyncio.wait([waiter], timeout=0)
    assert not waiter.done()
    assert on_disk.seqs() == []
    log.append(*samples.taken(13))
    assert await waiter
    assert on_disk.seqs() == list(range(1, 14))


async def test_a_flush_restarts_the_commit_interval(log, samples, on_disk):
    for taken in samples.many(1, 6):
        log.append(*taken)
    log.append(*samples.taken(7, flush=True))
    assert await log.committed(7)
    for taken in samples.many(8, 18):
        log.append(*taken)
    assert settled(log) == (OK, 11)
    assert on_disk.seqs() == list(range(1, 8))
    log.append(*samples.taken(19))
    assert await log.committed(19)


@pytest.mark.usefixtures("log")
def test_a_run_is_on_the_disk_before_its_first_scan(path):
    assert [header.run for header in SeasonLogReader(path).runs()] == ["run-1"]


def test_closing_writes_what_is_left_and_the_last_state(log, samples, path, on_disk):
    for taken in samples.many(1, 5):
        log.append(*taken)
    log.close()
    assert log.health() is LogHealth.OK
    assert on_disk.seqs() == [1, 2, 3, 4, 5]
    assert SeasonLogReader(path).last_state("run-1") == (5, samples.taken(5)[2])


def test_closing_twice_does_no_harm(log):
    log.close()
    log.close()


def test_a_closed_log_takes_no_scan(log, samples):
    log.close()
    with pytest.raises(ValueError, match="from begin to close"):
        log.append(*samples.taken(1))


def test_a_scan_number_that_does_not_grow_is_refused(log, samples):
    log.append(*samples.taken(2))
    with pytest.raises(ValueError, match="scan 2 comes after scan 2"):
        log.append(*samples.taken(2))


async def test_a_new_run_counts_its_scans_afresh(log, samples, on_disk):
    log.append(*samples.taken(9, flush=True))
    assert await log.committed(9)
    log.begin(samples.header("run-2"))
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)
    waiter = asyncio.ensure_future(log.committed(9))
    await asyncio.wait([waiter], timeout=0)
    assert not waiter.done(), "scan 9 was of the run before"
    waiter.cancel()
    assert on_disk.seqs("run-2") == [1]


async def test_a_coroutine_that_stops_waiting_is_forgotten(log, samples):
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(log.committed(1), timeout=0)
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)


async def test_who_waits_when_the_log_closes_is_told_the_truth(log, samples):
    log.append(*samples.taken(1))
    waiters = [asyncio.ensure_future(log.committed(seq)) for seq in (1, 2)]
    await asyncio.wait(waiters, timeout=0)
    log.close()
    assert await asyncio.gather(*waiters) == [True, False]
    assert await log.committed(1)
    assert not await log.committed(2)


def test_a_waiter_whose_loop_has_gone_does_not_disturb_the_writer(
    log, samples, on_disk
):
    async def ask() -> asyncio.Future[bool]:
        with log._changed:
            return log._waiters.add(1)

    loop = asyncio.new_event_loop()
    loop.run_until_complete(ask())
    loop.close()
    log.append(*samples.taken(1, flush=True))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1]


# ---------------------------------------------------------- a disk that refuses


@pytest.mark.parametrize("statement", ["BEGIN", "INSERT INTO scan", "COMMIT"])
async def test_what_the_disk_refused_is_written_in_order_when_it_takes_it(
    log, disk, samples, on_disk, statement
):
    assert settled(log) == (OK, 0)
    disk.refuses = (statement,)
    log.append(*samples.taken(1, flush=True))
    assert not await log.committed(1)
    assert log.health() is LogHealth.FAILED
    assert log.trouble == "disk I/O error"
    for taken in samples.many(2, 5):
        log.append(*taken)
    disk.refuses = ()
    log.append(*samples.taken(6))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1, 2, 3, 4, 5, 6]
    assert await log.committed(6)
    assert (log.trouble, log.dropped) == ("", 0)


async def test_after_trouble_commands_and_times_go_on_as_if_nothing_had_been(
    log, disk, samples, path
):
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)
    disk.refuses = ("COMMIT",)
    log.append(*samples.taken(2, flush=True, energised=True))
    assert not await log.committed(2)
    disk.refuses = ()
    log.append(*samples.taken(3, energised=True))
    log.append(*samples.taken(4))
    log.close()
    read = list(SeasonLogReader(path).scans("run-1"))
    assert [one.scan for one in read] == [samples.taken(n)[0] for n in range(1, 5)]
    assert [len(one.commands) for one in read] == [1, 1, 0, 1]


async def test_a_commit_that_only_seemed_to_fail_is_not_written_twice(
    log, samples, path, on_disk
):
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)

    liar = Liar()
    log._keeper._open_log = liar.open
    log._keeper.abandon()
    liar.refuses = ("COMMIT",)
    log.append(*samples.taken(2, flush=True, energised=True))
    assert not await log.committed(2)
    assert on_disk.seqs() == [1, 2]
    liar.refuses = ()
    log.append(*samples.taken(3, energised=True))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1, 2, 3]
    told = [len(one.commands) for one in SeasonLogReader(path).scans("run-1")]
    assert told == [1, 1, 0]
    assert log.dropped == 0
    log.begin(samples.header("run-2"))
    assert settled(log) == (OK, 0)


async def test_a_run_whose_beginning_only_seemed_to_fail_is_begun_once(
    path, samples, on_disk
):
    disk = Disk()
    log = SeasonLogWriter(path, retry_s=LONG, open_log=disk.open)
    log.begin(samples.header())
    assert settled(log) == (OK, 0)
    log._keeper.abandon()
    with log._changed:  # as if the thread had not heard of its success
        log._ring.put(_header_row(samples))
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)
    assert on_disk.kinds() == ["run", "command"]
    log.close()


def _header_row(samples):
    from controller.adapters.season_log.rows import header_row  # noqa: PLC0415

    return header_row(samples.header())


async def test_a_run_that_ends_and_one_that_begins_in_trouble_are_both_kept(
    log, disk, samples, on_disk
):
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)
    disk.refuses = ("COMMIT",)
    log.append(*samples.taken(2))
    log.begin(samples.header("run-2"))
    log.append(*samples.taken(1, flush=True))
    assert settled(log) == (FAILED, 3)
    disk.refuses = ()
    log.append(*samples.taken(2))
    assert settled(log) == (OK, 0)
    assert (on_disk.seqs("run-1"), on_disk.seqs("run-2")) == ([1, 2], [1, 2])


def test_what_is_committed_is_synced(path):
    """SQLite's manual: in WAL mode FULL (2) syncs at every commit."""
    file = LogFile(path)
    pragmas = ["synchronous", "journal_mode", "busy_timeout", "wal_autocheckpoint"]
    found = [file._db.execute(f"PRAGMA {one}").fetchone()[0] for one in pragmas]
    file.close()
    assert found == [2, "wal", 5_000, 4_096]


def test_the_disk_is_tried_again_without_a_new_scan(path, samples, on_disk):
    disk = Disk()
    disk.refuses = ("BEGIN",)
    log = SeasonLogWriter(path, retry_s=0.001, open_log=disk.open)
    log.begin(samples.header())
    log.append(*samples.taken(1, flush=True))
    for _ in range(5):
        assert disk.asked.acquire(timeout=10)
    disk.refuses = ()
    with log._changed:
        assert log._changed.wait_for(lambda: log._health is OK, timeout=10)
    assert on_disk.seqs() == [1]
    log.close()


def test_a_full_ring_loses_the_oldest_scans_counts_them_and_says_so_in_the_log(
    log, disk, samples, path, on_disk
):
    assert settled(log) == (OK, 0)
    disk.refuses = ("BEGIN",)
    log.append(*samples.taken(1, flush=True))
    assert settled(log) == (LogHealth.FAILED, 1)
    for taken in list(samples.many(1, 60))[1:]:
        log.append(*taken)
    assert (log.dropped, log.waiting) == (10, 51)  # the mark of the loss waits too
    disk.refuses = ()
    log.append(*samples.taken(61))
    assert settled(log) == (OK, 0)
    assert log.dropped == 11
    assert on_disk.seqs() == list(range(12, 62))
    losses = [e for e in SeasonLogReader(path).journal(0, 99) if e.kind == "lost"]
    assert [entry.body for entry in losses] == [{"scans": 11}]
    assert losses[0].utc_ms == samples.taken(12)[0].utc_ms


def test_a_ring_that_overflows_keeps_the_beginning_of_its_run(
    path, disk, samples, on_disk
):
    disk.refuses = ("BEGIN",)
    log = SeasonLogWriter(path, retry_s=LONG, ring_scans=2, open_log=disk.open)
    for run in ("run-1", "run-2"):
        log.begin(samples.header(run))
        for taken in samples.many(1, 4):
            log.append(*taken)
    disk.refuses = ()
    log.close()
    assert (on_disk.seqs("run-1"), on_disk.seqs("run-2")) == ([], [3, 4])
    assert on_disk.kinds() == ["run", "lost", "ending", "run", "lost", "command"]


def test_a_start_on_a_disk_that_refuses_is_no_error_but_ill_health(
    path, disk, samples, on_disk
):
    disk.refuses = ("PRAGMA journal_mode",)
    log = SeasonLogWriter(path, retry_s=LONG, open_log=disk.open)
    assert log.health() is LogHealth.FAILED
    log.begin(samples.header())
    log.append(*samples.taken(1))
    disk.refuses = ()
    log.append(*samples.taken(2))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1, 2]
    log.close()


def test_a_log_that_vanishes_is_not_begun_anew(path, disk, samples, tmp_path):
    """A card that is no longer mounted must not be taken for a new season."""
    log = SeasonLogWriter(path, retry_s=LONG, open_log=disk.open)
    log.begin(samples.header())
    assert settled(log) == (OK, 0)
    disk.refuses = ("BEGIN",)
    log.append(*samples.taken(1, flush=True))
    assert settled(log) == (FAILED, 1)
    away = path.rename(tmp_path / "away.db")
    disk.refuses = ()
    log.append(*samples.taken(2))
    assert settled(log) == (FAILED, 2)
    assert not path.exists()
    assert "does not exist" in log.trouble
    away.rename(path)
    log.append(*samples.taken(3))
    assert settled(log) == (OK, 0)
    log.close()


def test_a_disk_that_does_not_answer_is_ill_health_after_a_while(
    log, disk, samples, on_disk
):
    """It refuses nothing: the thread is stuck in it."""
    assert settled(log) == (OK, 0)
    disk.gate.clear()
    log.append(*samples.taken(1, flush=True))
    log.append(*samples.taken(13))
    assert log.health() is LogHealth.OK
    log.append(*samples.taken(14))
    assert log.health() is LogHealth.FAILED
    assert "does not keep up" in log.trouble
    disk.gate.set()
    log.append(*samples.taken(15))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1, 13, 14, 15]


async def test_who_waits_for_a_stuck_disk_is_told_when_a_scan_comes_in_late(
    log, disk, samples
):
    assert settled(log) == (OK, 0)
    disk.gate.clear()
    log.append(*samples.taken(1, flush=True))
    waiter = asyncio.ensure_future(log.committed(1))
    log.append(*samples.taken(13))
    await asyncio.wait([waiter], timeout=0)
    assert not waiter.done()
    log.append(*samples.taken(14))
    assert not await waiter
    assert not await log.committed(14)


def test_closing_does_not_wait_for_ever_for_a_stuck_disk(path, disk, samples):
    log = SeasonLogWriter(path, open_log=disk.open)
    log.begin(samples.header())
    assert settled(log) == (OK, 0)
    log._patience_s = 0.01
    disk.gate.clear()
    log.append(*samples.taken(1, flush=True))
    log.close()
    assert log.health() is LogHealth.FAILED
    assert "does not answer" in log.trouble
    disk.gate.set()
    log._thread.join()


def test_a_last_state_that_the_disk_refuses_is_told_and_loses_no_scan(
    log, disk, samples, on_disk
):
    log.append(*samples.taken(1, flush=True))
    log.append(*samples.taken(2, flush=True))
    assert settled(log) == (OK, 0)
    disk.refuses = ("INSERT INTO snapshot",)
    log.close()
    assert (log.health(), log.trouble) == (FAILED, "disk I/O error")
    assert on_disk.seqs() == [1, 2]


# --------------------------------------------------------- scans that cannot be


async def test_a_scan_that_no_disk_could_take_is_lost_alone(log, samples, on_disk):
    """A number of more than 64 bits; the scans around it are kept."""
    monster = Reading("n1", Millis(0), 10**30)
    for seq in range(1, 8):
        readings = {"readings": (monster,)} if seq == 4 else {}
        log.append(*samples.taken(seq, flush=seq == 7, **readings))
    assert settled(log) == (OK, 0)
    assert on_disk.seqs() == [1, 2, 3, 5, 6, 7]
    assert log.dropped == 1
    assert on_disk.kinds() == ["run", "command", "lost"]
    assert await log.committed(7)


def test_more_readings_than_a_scan_has_room_for_lose_that_scan_alone(
    log, samples, on_disk
):
    flood = tuple(Reading("n1", Millis(0), n) for n in range(4_097))
    log.append(*samples.taken(1, readings=flood))
    log.append(*samples.taken(2, readings=flood[:4_096]))
    log.close()
    assert on_disk.seqs() == [2]


def test_a_second_run_of_the_same_name_is_never_healthy(path, samples):
    for health in (LogHealth.OK, LogHealth.FAILED):
        log = SeasonLogWriter(path, retry_s=LONG)
        log.begin(samples.header("same"))
        assert settled(log) == (health, 0 if health is OK else 1)
        log.close()
    assert "has a run same already" in log.trouble


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
async def test_a_writer_that_dies_of_a_mistake_is_ill_for_good(path, samples):
    def open_log(path: Path, *, run: str | None, may_create: bool) -> LogFile:
        raise KeyError(path, run, may_create)

    log = SeasonLogWriter(path, open_log=open_log)
    assert log.health() is LogHealth.FAILED
    log.begin(samples.header())
    log.append(*samples.taken(1, flush=True))
    assert not await log.committed(1)
    assert "thread has ended" in log.trouble
    log.close()


# ------------------------------------------------------------------- one writer


@pytest.mark.usefixtures("log")
def test_a_second_writer_is_refused_and_told_who_the_first_is(path):
    with pytest.raises(LogError, match=r"being written .*process \d+.*one writer"):
        SeasonLogWriter(path)


@pytest.mark.usefixtures("log")
def test_a_writer_in_another_process_is_refused(path):
    code = (
        "import sys, pathlib; from controller.adapters.season_log import *\n"
        "try: DirectSeasonLog(pathlib.Path(sys.argv[1]))\n"
        "except LogError as error: print(error)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert "is being written by another program" in done.stdout


def test_the_file_is_free_again_when_its_writer_has_closed(path, log, samples):
    log.close()
    again = SeasonLogWriter(path)
    again.begin(samples.header("run-2"))
    again.close()
    assert len(SeasonLogReader(path).runs()) == 2


def test_append_hands_over_the_very_scan_without_a_copy(log, samples):
    """Cheap on the loop: nothing is encoded before the thread has it."""
    scan, decisions, state = samples.taken(1)
    log.append(scan, replace(decisions), state)
    with log._changed:
        assert any(item[0] is scan for item in log._ring._items)


# -------------------------------------------------------------- what a card is spared


@pytest.mark.parametrize("page_bytes", [schema.PAGE_BYTES, 2_048])
def test_what_is_not_yet_in_the_file_stays_small(path, monkeypatch, page_bytes):
    """Also of a log that was made with pages of another size."""
    monkeypatch.setattr(schema, "PAGE_BYTES", page_bytes)
    log = LogFile(path)
    log.close()
    reopened = LogFile(path)
    (pages,) = reopened._db.execute("PRAGMA wal_autocheckpoint").fetchone()
    assert pages * page_bytes == 2 * 2**20
    reopened.close()
