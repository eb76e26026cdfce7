"""The daemon's order of things: off first, log, on; cold at every end."""

import asyncio
from collections.abc import Sequence
from typing import Self

import pytest

from controller import daemon as daemon_module
from controller.adapters.clocks import ManualClock
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import (
    MatPlan,
    OnLogFailure,
    OnOff,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import (
    Hold,
    LogHealth,
    Reading,
    Refusal,
    RelayReport,
    Scan,
    SetEnabled,
)
from controller.core.state import State, Trip, fresh_state
from controller.daemon import Daemon, Parts
from controller.ports import Arrivals, Instant, RunHeader


def a_plan(on_log_failure=OnLogFailure.KEEP_HEATING) -> Plan:
    mat = MatPlan(
        name="north",
        power_mw=100_000,
        length_mm=1200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(21_000),),
        relay=RelayKind.LEASE,
        min_on_ms=0,
        min_off_ms=0,
        trays=(TrayPlan(name="N1", probes=(ProbePlan(name="n1"),)),),
    )
    watched = MatPlan(
        name="shelf",
        power_mw=10_000,
        length_mm=300,
        width_mm=200,
        policy=OnOff(),
        programme=(StepPlan(21_000),),
    )
    return Plan(bench="test", mats=(mat, watched), on_log_failure=on_log_failure)


class Source:
    """Readings that a test hands in; serve ends when the test says so."""

    def __init__(self) -> None:
        self.arrivals: list[Arrivals] = []
        self.up = True
        self.ended = asyncio.Event()

    def take(self) -> Arrivals:
        return self.arrivals.pop(0) if self.arrivals else Arrivals()

    def link_up(self) -> bool:
        return self.up

    async def serve(self) -> None:
        await self.ended.wait()


class Book:
    """Remembers, in one order, what was sent, logged and committed."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.health_now = LogHealth.OK
        self.commits: asyncio.Event | None = None
        self.states: list[State] = []
        self.scans: list[Scan] = []

    # the relay
    async def send(self, commands: Sequence[Command], seq: int) -> None:
        for command in commands:
            word = "on" if command.energised else "off"
            self.lines.append(f"{word} {command.mat} {seq}")

    # the log
    def begin(self, header: RunHeader) -> None:
        self.lines.append("begin")

    def append(self, scan: Scan, decisions: Decisions, state: State) -> None:
        self.lines.append(f"log {scan.seq}")
        self.scans.append(scan)
        self.states.append(state)

    async def committed(self, seq: int) -> bool:
        if self.commits is not None:
            await self.commits.wait()
        self.lines.append(f"disk {seq}")
        return self.health_now is LogHealth.OK

    def health(self) -> LogHealth:
        return self.health_now

    def end(self, at: Instant, cause: str) -> None:
        self.lines.append(f"end: {cause}")

    def close(self) -> None:
        self.lines.append("close")


class Trips:
    """A side file of trips that may refuse to be written."""

    def __init__(self) -> None:
        self.kept: list[dict[str, Trip]] = []
        self.broken = False

    def load(self) -> dict[str, Trip]:
        return {}

    def save(self, trips: dict[str, Trip]) -> None:
        if self.broken:
            raise OSError("no space left")
        self.kept.append(dict(trips))


class Dog:
    """Counts what it is fed."""

    def __init__(self) -> None:
        self.heard: list[str] = []

    def ready(self) -> None:
        self.heard.append("ready")

    def fed(self, status: str) -> None:
        self.heard.append(status)

    def stopping(self, cause: str) -> None:
        self.heard.append(f"stopping: {cause}")


async def others() -> None:
    """Let every other task and thread have a turn."""
    await asyncio.to_thread(lambda: None)


class Stage:
    """A daemon with everything around it in a test's hands."""

    def __init__(self, plan: Plan | None = None) -> None:
        self.plan = plan or a_plan()
        self.clock = ManualClock("UTC", run_ms=1_000_000, utc_ms=1_800_000_000_000)
        self.source, self.book, self.trips, self.dog = Source(), Book(), Trips(), Dog()
        self.announced = []
        header = RunHeader(
            run="r1",
            origin="live",
            started_run_ms=1_000_000,
            started_utc_ms=1_800_000_000_000,
            plan=self.plan,
            state=fresh_state(self.plan, 1_000_000),
            timezone="UTC",
            decisions_version=1,
            versions={},
        )
        self.daemon = Daemon(
            Parts(
                header=header,
                clock=self.clock,
                sources=[self.source],
                relays=[self.book],
                log=self.book,
                trips=self.trips,
                watchdog=self.dog,
                announce=self.announced.append,
            )
        )
        self.stop = asyncio.Event()

    async def __aenter__(self) -> Self:
        self.task = asyncio.create_task(self.daemon.run(self.stop))
        await self.scanned(1)
        return self

    async def __aexit__(self, *_: object) -> None:
        self.stop.set()
        await asyncio.gather(self.task, return_exceptions=True)

    async def scanned(self, seq: int) -> None:
        """Wait until a scan is finished."""
        while len(self.announced) < seq and not self.task.done():
            await others()

    async def next_scan(self, *readings_c: float) -> None:
        """Let five seconds pass with a reading of the only probe."""
        before = len(self.announced)
        now = self.clock.now().run_ms
        self.source.arrivals.append(
            Arrivals(tuple(Reading("n1", now, round(c * 1000)) for c in readings_c))
        )
        while self.clock.wakes_at() is None and not self.task.done():
            await others()
        self.clock.advance(5_000)
        await self.scanned(before + 1)

    def sent(self) -> list[str]:
        return [line for line in self.book.lines if line.startswith(("on", "off"))]


async def test_starts_cold_and_heats_only_after_a_good_reading():
    async with Stage() as stage:
        assert stage.sent() == ["off north 1"]
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 2"


async def test_a_switch_on_is_on_the_disk_before_it_is_sent():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        lines = stage.book.lines
        assert lines.index("log 2") < lines.index("disk 2") < lines.index("on north 2")


async def test_off_is_sent_before_anything_is_logged():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        await stage.next_scan(22.0)
        lines = stage.book.lines
        assert lines.index("off north 3") < lines.index("log 3")


async def test_a_renewal_does_not_wait_for_the_disk():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        stage.book.commits = asyncio.Event()  # the disk hangs from now on
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 3"


async def test_a_relay_that_dropped_out_is_switched_on_anew_disk_first():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        report = RelayReport("north", stage.clock.now().run_ms + 1, False, seq=2)
        stage.source.arrivals.append(Arrivals(relay_reports=(report,)))
        while stage.clock.wakes_at() is None:
            await others()
        stage.clock.advance(5_000)
        await stage.scanned(3)
        lines = stage.book.lines
        assert lines.index("disk 3") < lines.index("on north 3")


async def test_a_commit_that_takes_too_long_counts_as_a_failing_log(monkeypatch):
    """The mat stays cold in that scan, and heats in the next: it has said so."""
    monkeypatch.setattr(daemon_module, "COMMIT_WAIT_S", 0.01)
    async with Stage() as stage:
        stage.book.commits = asyncio.Event()
        await stage.next_scan(16.0)
        assert "on north 2" not in stage.book.lines
        await stage.next_scan(16.0)
        assert stage.book.scans[2].log_health is LogHealth.FAILED
        assert stage.sent()[-1] == "on north 3"
        stage.book.commits.set()
        await stage.next_scan(16.0)
        await stage.next_scan(16.0)
        assert stage.book.scans[4].log_health is LogHealth.OK


async def test_a_failing_log_keeps_a_bench_cold_that_shall_not_heat_without_it():
    async with Stage(a_plan(OnLogFailure.HEAT_OFF)) as stage:
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "on north 2"
        stage.book.health_now = LogHealth.FAILED
        await stage.next_scan(16.0)
        assert stage.sent()[-1] == "off north 3"


async def test_a_watched_mat_is_never_sent_anything():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        assert not [line for line in stage.book.lines if "shelf" in line]


async def test_a_stop_switches_off_then_closes_the_log():
    stage = Stage()
    async with stage:
        await stage.next_scan(16.0)
    assert stage.book.lines[-3:] == ["off north 3", "end: told to stop", "close"]


async def test_a_source_that_ends_ends_the_daemon_cold():
    stage = Stage()
    async with stage:
        await stage.next_scan(16.0)
        stage.source.ended.set()
        with pytest.raises(ExceptionGroup) as caught:
            await stage.task
    assert "a source of readings ended by itself" in str(caught.value.exceptions[0])
    assert stage.book.lines[-3:] == [
        "off north 3",
        "end: a part ended: a source of readings ended by itself",
        "close",
    ]


async def test_a_trip_is_kept_in_the_side_file_and_a_refusing_disk_is_asked_again(
    capsys,
):
    async with Stage() as stage:
        await stage.next_scan(16.0)
        stage.trips.broken = True
        # A jump is doubted until the next reading; then two in a row trip.
        for temp_c in (34.0, 34.0, 34.0):
            await stage.next_scan(temp_c)
        assert stage.sent()[-1].startswith("off north")
        assert stage.book.states[-1].mats["north"].trip.cause is Cause.OVER_CUTOUT
        assert "could not be written: no space left" in capsys.readouterr().err
        stage.trips.broken = False
        await stage.next_scan(34.0)
        assert list(stage.trips.kept[-1]) == ["north"]


async def test_wishes_enter_the_next_scan_and_are_answered():
    async with Stage() as stage:
        number = stage.daemon.request("ada", SetEnabled("north", enabled=False))
        assert stage.daemon.answer(number) is None
        await stage.next_scan(16.0)
        assert stage.daemon.answer(number).accepted
        assert stage.book.scans[-1].requests[0].who == "ada"
        assert stage.sent()[-1] == "off north 2"


async def test_too_many_wishes_are_refused_until_the_next_scan():
    async with Stage() as stage:
        for _ in range(daemon_module.MOST_WISHES):
            stage.daemon.request("ada", Hold("north", 60_000))
        with pytest.raises(OverflowError, match="wishes are waiting"):
            stage.daemon.request("ada", Hold("north", 60_000))
        await stage.next_scan()
        assert stage.daemon.request("ada", Hold("north", 60_000)) == 101


async def test_subscribers_get_the_newest_snapshot_and_refusals_are_counted():
    async with Stage() as stage:
        feed = aiter(stage.daemon.subscribe())
        waiting = asyncio.ensure_future(anext(feed))
        await others()
        stage.source.arrivals.append(Arrivals(refusals=(Refusal("n1", 0, "rubbish"),)))
        while stage.clock.wakes_at() is None:
            await others()
        stage.clock.advance(5_000)
        snapshot = await waiting
        assert (snapshot.scan.seq, snapshot.refused) == (2, 1)
        assert stage.daemon.snapshot() is snapshot


async def test_the_watchdog_is_fed_by_finished_scans():
    async with Stage() as stage:
        await stage.next_scan(16.0)
        assert stage.dog.heard == [
            "ready",
            "no mat heats; 0 alarms",
            "heating north; 0 alarms",
        ]


async def test_scans_that_took_too_long_are_not_made_up_for():
    async with Stage() as stage:
        stage.clock.advance(60_000)
        await stage.scanned(2)
        await stage.next_scan(16.0)
        assert [scan.seq for scan in stage.book.scans] == [1, 2, 3]
        assert stage.book.scans[-1].run_ms == 1_065_000


async def test_a_broken_link_is_in_the_scan():
    async with Stage() as stage:
        stage.source.up = False
        await stage.next_scan(16.0)
        assert not stage.book.scans[-1].link_up
