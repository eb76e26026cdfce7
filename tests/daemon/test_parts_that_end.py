"""Whatever part of the daemon ends or breaks: cold, told, written down."""

import asyncio
import os
import sys
import threading

import pytest

from controller import daemon as daemon_module
from controller.endings import StopOrder, causes, say, warn
from tests.daemon.test_daemon import Stage, others


def raises(error):
    def broken(*_, **__):
        raise error

    return broken


def a_source_ends(stage):
    stage.source.ended.set()


def a_source_breaks(stage):
    stage.source.take = raises(ValueError("a bug"))


def memory_runs_out_in_the_scan(stage):
    stage.source.take = raises(MemoryError())


def the_log_breaks(stage):
    stage.book.append = raises(ValueError("scan 3 comes after scan 3"))


def the_watchdog_breaks(stage):
    stage.dog.fed = raises(RuntimeError("a bug in the watchdog"))


def the_trips_break(stage):
    stage.daemon._kept_trips = None
    stage.trips.save = raises(RuntimeError("a bug in the trips"))


BREAKS = {
    a_source_ends: "a source of readings ended by itself",
    a_source_breaks: "ValueError: a bug (in the scan)",
    memory_runs_out_in_the_scan: "MemoryError:  (in the scan)",
    the_log_breaks: "ValueError: scan 3 comes after scan 3 (in the scan)",
    the_watchdog_breaks: "RuntimeError: a bug in the watchdog (in the scan)",
    the_trips_break: "RuntimeError: a bug in the trips (in the scan)",
}


@pytest.mark.parametrize("breaks", BREAKS)
async def test_the_daemon_ends_cold_with_its_cause_in_the_log(breaks):
    stage = Stage()
    async with stage:
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 2"
        breaks(stage)
        await stage.next_scan(16.0)
        with pytest.raises(ExceptionGroup) as caught:
            await stage.task
    assert causes(caught.value) == [BREAKS[breaks]]
    assert stage.sent()[-1].startswith("off north")
    assert stage.book.lines[-2:] == [f"end: a part ended: {BREAKS[breaks]}", "close"]
    assert stage.dog.heard[-1] == f"stopping: a part ended: {BREAKS[breaks]}"


class Beside(Stage):
    """A daemon with one part more beside its scans, such as an API or a notifier."""

    def __init__(self, part):
        super().__init__()
        self._part = part

    async def __aenter__(self):
        self.task = asyncio.create_task(self.daemon.run(self.stop, self._part))
        await self.scanned(1)
        return self


@pytest.mark.parametrize(
    ("error", "cause"),
    [
        (None, "a part beside the scans ended by itself"),
        (OSError("no port"), "OSError: no port (in a part beside the scans)"),
        (MemoryError(), "MemoryError:  (in a part beside the scans)"),
    ],
)
async def test_a_part_beside_the_scans_ends_it_as_well(error, cause):
    go = asyncio.Event()

    async def part():
        await go.wait()
        if error is not None:
            raise error

    stage = Beside(part)
    async with stage:
        await stage.next_scan(16.0)
        go.set()
        with pytest.raises(ExceptionGroup) as caught:
            await stage.task
    assert causes(caught.value) == [cause]
    assert stage.sent()[-1] == "off north 3"
    assert stage.book.lines[-2:] == [f"end: a part ended: {cause}", "close"]


async def test_a_scan_that_breaks_after_its_first_on_is_followed_by_an_off():
    """In the first scan of all there is no finished one to go by."""
    stage = Stage()
    stage.dog.ready = raises(RuntimeError("a bug"))
    stage.task = asyncio.create_task(stage.daemon.run(stage.stop))
    with pytest.raises(ExceptionGroup):
        await stage.task
    assert stage.sent() == ["off north 1", "off north 2"]
    assert not [line for line in stage.book.lines if "shelf" in line]


async def test_two_causes_are_both_told():
    async def broken():
        await others()
        raise OSError("no port")

    async def cancelled_badly():
        try:
            await asyncio.Event().wait()
        finally:
            raise ValueError("and no manners")

    stage = Stage()
    with pytest.raises(ExceptionGroup):
        await stage.daemon.run(stage.stop, cancelled_badly, broken)
    (end,) = [line for line in stage.book.lines if line.startswith("end")]
    assert "OSError: no port" in end
    assert "ValueError: and no manners" in end


async def test_the_first_order_to_stop_is_the_one_that_is_written_down():
    stage = Stage()
    stage.stop = StopOrder()
    async with stage:
        await stage.next_scan(16.0)
        stage.stop.give("stopped by SIGTERM")
        stage.stop.give("stopped by SIGINT")
        await stage.task
    assert stage.book.lines[-3:] == ["off north 3", "end: stopped by SIGTERM", "close"]
    assert stage.dog.heard[-1] == "stopping: stopped by SIGTERM"


async def test_a_daemon_that_is_cancelled_from_outside_goes_cold_too():
    stage = Stage()
    async with stage:
        await stage.next_scan(16.0)
        stage.task.cancel()
        await asyncio.gather(stage.task, return_exceptions=True)
    assert stage.book.lines[-3:] == [
        "off north 3",
        "end: cancelled by whoever ran it",
        "close",
    ]


async def test_a_scan_that_hangs_does_not_feed_the_watchdog():
    """So that the service manager ends the process, and the lease the heat."""
    stage = Stage()
    async with stage:
        await stage.next_scan(16.0)
        fed = len(stage.dog.heard)
        hangs = asyncio.Event()

        async def send(*_):
            await hangs.wait()

        stage.book.send = send
        stage.clock.advance(5_000)
        for _ in range(20):
            await others()
            stage.clock.advance(60_000)
        assert len(stage.dog.heard) == fed
        hangs.set()
        await stage.scanned(3)
        assert len(stage.dog.heard) == fed + 1


async def test_a_scan_that_took_longer_than_a_lease_is_seen_by_the_next():
    """The relay has dropped out by itself meanwhile, and has said so."""
    async with Stage() as stage:
        await stage.next_scan(16.0)
        stage.clock.advance(600_000)
        await stage.scanned(3)
        assert stage.book.scans[-1].run_ms == 1_605_000
        assert stage.sent()[-1] == "off north 3"  # the reading is stale by now
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 4"


async def test_a_disk_that_never_answers_about_trips_holds_up_one_scan_only(
    monkeypatch,
):
    monkeypatch.setattr(daemon_module, "COMMIT_WAIT_S", 0.01)
    answers = threading.Event()
    async with Stage() as stage:
        kept = stage.trips.save
        stage.trips.save = lambda trips: (answers.wait(), kept(trips))[0]
        for temp_c in (16.0, 34.0, 34.0, 34.0, 34.0):
            await stage.next_scan(temp_c)
        assert stage.sent()[-1].startswith("off north 6")
        assert stage.trips.kept == [{}]
        answers.set()
        while len(stage.trips.kept) < 2:
            await stage.next_scan(34.0)
        assert list(stage.trips.kept[-1]) == ["north"]


async def test_trouble_with_the_file_of_trips_is_told_once(capsys):
    async with Stage() as stage:
        stage.trips.broken = True
        stage.daemon._kept_trips = None
        for _ in range(4):
            await stage.next_scan(16.0)
    assert capsys.readouterr().err.count("could not be written") == 1


def test_a_terminal_that_is_gone_stops_nobody(monkeypatch):
    """A full disk behind stderr is no reason to break a scan."""
    for error in (OSError(28, "No space left on device"), ValueError("closed")):

        class Gone:
            write = raises(error)

        monkeypatch.setattr(sys, "stderr", Gone())
        warn("the file of trips could not be written")


def told_to(file, monkeypatch, journal):
    """Tell of a worry and of none on stderr; return what arrived in the file.

    The journal is one of systemd.exec(5): told by the device and inode of a file.
    """
    there = os.fstat(journal.fileno())
    monkeypatch.setenv("JOURNAL_STREAM", f"{there.st_dev}:{there.st_ino}")
    monkeypatch.setattr(sys, "stderr", file)
    warn("the disk is full\nand that is told")
    say("bench lean-to: http://127.0.0.1:8000/")
    file.seek(0)
    return file.read().splitlines()


def test_in_the_journal_each_line_of_a_worry_has_the_priority_of_a_warning(
    tmp_path, monkeypatch
):
    """By sd-daemon(3): <4> is LOG_WARNING of syslog(3), and the rest is the default."""
    with (tmp_path / "journal").open("w+", encoding="utf-8") as journal:
        assert told_to(journal, monkeypatch, journal) == [
            "<4>the disk is full",
            "<4>and that is told",
            "bench lean-to: http://127.0.0.1:8000/",
        ]


def test_what_goes_elsewhere_than_to_the_journal_has_no_priorities(
    tmp_path, monkeypatch
):
    """The variable is inherited by whoever a service starts: where it leads counts."""
    with (
        (tmp_path / "journal").open("w+", encoding="utf-8") as journal,
        (tmp_path / "elsewhere").open("w+", encoding="utf-8") as elsewhere,
    ):
        assert told_to(elsewhere, monkeypatch, journal) == [
            "the disk is full",
            "and that is told",
            "bench lean-to: http://127.0.0.1:8000/",
        ]
