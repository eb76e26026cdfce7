"""The daemon on a real season log whose disk fills, locks up and comes back."""

import asyncio
from dataclasses import replace

import pytest

from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter
from controller.cli import main
from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import OnLogFailure
from controller.core.scan import LogHealth, Reset
from controller.core.step import DECISIONS_VERSION
from controller.daemon import Daemon
from tests.daemon.test_daemon import Stage, a_plan
from tests.log.test_failing_disk import Card

LONG = 3_600.0
READ_ONLY = "PRAGMA query_only = 1"


class OnDisk(Stage):
    """A daemon whose log is a file."""

    def __init__(self, path, plan=None, *, ring_scans=5_000):
        super().__init__(plan)
        self.path, self.card = path, Card()
        self.log = SeasonLogWriter(
            path,
            retry_s=LONG,
            ring_scans=ring_scans,
            open_log=self.card.open,
            commit_every_ms=10_000,
        )
        parts = self.daemon._parts
        header = replace(parts.header, decisions_version=DECISIONS_VERSION)
        self.daemon = Daemon(replace(parts, log=self.log, header=header))

    async def next_scan(self, *readings_c):
        """Let a scan happen, and whatever it gave the disk to do."""
        await super().next_scan(*readings_c)
        await asyncio.to_thread(self.log.settle)

    def last(self):
        return self.announced[-1]

    def alarms(self):
        return {alarm.kind for alarm in self.last().state.alarms if alarm.active}

    def cause(self):
        return self.last().decisions.commands[0].cause

    def gaps(self):
        """Return the numbers of the scans that the file does not have."""
        seqs = {r.scan.seq for r in SeasonLogReader(self.path).scans("r1")}
        return sorted(set(range(1, len(self.announced) + 1)) - seqs)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "season.db"


async def test_control_goes_on_while_the_disk_refuses_and_nothing_is_lost(path):
    stage = OnDisk(path)
    async with stage:
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 3"
        stage.card.becomes(READ_ONLY)
        for temp_c in (16.0, 16.0, 22.0, 22.0, 16.0, 16.0):
            await stage.next_scan(temp_c)
        assert stage.last().scan.log_health is LogHealth.FAILED
        assert AlarmKind.LOG_FAILED in stage.alarms()
        assert stage.sent()[-6:-2] == [
            "on north 4",
            "on north 5",
            "off north 6",
            "off north 7",
        ]
        assert stage.sent()[-1] == "on north 9"
        stage.card.pragma = ""
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.last().scan.log_health is LogHealth.OK
        alarms = stage.last().state.alarms
        (alarm,) = (a for a in alarms if a.kind is AlarmKind.LOG_FAILED)
        assert alarm.over_ms is not None, "over, unless it comes back soon"
    assert stage.gaps() == []
    assert SeasonLogReader(path).ending("r1").cause == "told to stop"
    assert main(["audit", str(path)]) == 0


async def test_scans_beyond_the_ring_are_counted_as_lost_and_the_rest_is_kept(path):
    stage = OnDisk(path, ring_scans=4)
    async with stage:
        await stage.next_scan(16.0)
        stage.card.becomes(READ_ONLY)
        for _ in range(12):
            await stage.next_scan(16.0)
            assert stage.sent()[-1].startswith("on")
        stage.card.pragma = ""
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.last().scan.log_health is LogHealth.OK
    journal = SeasonLogReader(path).journal(0, 1_000)
    lost = [entry.body["scans"] for entry in journal if entry.kind == "lost"]
    assert lost == [len(stage.gaps())]
    assert lost[0] > 5


async def test_a_bench_that_shall_not_heat_without_its_log_goes_cold_with_it(path):
    stage = OnDisk(path, a_plan(OnLogFailure.HEAT_OFF))
    async with stage:
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 2"
        stage.card.becomes(READ_ONLY)
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.sent()[-1].startswith("off north")
        assert stage.cause() is Cause.LOG_FAILED
        stage.card.pragma = ""
        for _ in range(3):
            await stage.next_scan(16.0)
        assert stage.sent()[-1].startswith("on north")


async def test_a_deleted_log_rings_and_control_goes_on(path):
    stage = OnDisk(path)
    async with stage:
        await stage.next_scan(16.0)
        path.unlink()
        for _ in range(4):
            await stage.next_scan(16.0)
        assert AlarmKind.LOG_FAILED in stage.alarms()
        assert stage.sent()[-1].startswith("on north")
    assert not path.exists()


async def test_a_start_without_a_writable_log_stays_cold_until_it_is_writable(
    tmp_path, monkeypatch
):
    path = tmp_path / "season.db"

    def read_only(*_):
        raise OSError(30, "Read-only file system")

    with monkeypatch.context() as patch:
        patch.setattr("controller.adapters.season_log.keeper.LogLock", read_only)
        stage = OnDisk(path)
        async with stage:
            for _ in range(3):
                await stage.next_scan(16.0)
            assert stage.cause() is Cause.LOG_NOT_READY
            assert AlarmKind.LOG_FAILED in stage.alarms()
            assert {line.split()[0] for line in stage.sent()} == {"off"}
            patch.undo()
            for _ in range(3):
                await stage.next_scan(16.0)
            assert stage.sent()[-1].startswith("on north")
    assert stage.gaps() == []


async def test_a_person_may_let_it_heat_without_a_log(tmp_path, monkeypatch):
    def read_only(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("controller.adapters.season_log.keeper.LogLock", read_only)
    stage = OnDisk(tmp_path / "season.db")
    async with stage:
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.cause() is Cause.LOG_NOT_READY
        number = stage.daemon.request("ada", Reset("north"))
        await stage.next_scan(16.0)
        assert stage.daemon.answer(number).accepted
        await stage.next_scan(16.0)
        assert stage.sent()[-1].startswith("on north")
    monkeypatch.undo()
