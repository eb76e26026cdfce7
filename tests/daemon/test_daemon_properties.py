"""Whatever fails and in whatever order: off first, and no unwritten switch-on."""

import asyncio
from collections.abc import Sequence
from typing import Self

from hypothesis import given, settings
from hypothesis import strategies as st

from controller import daemon as daemon_module
from controller.adapters.clocks import ManualClock
from controller.core.decisions import Command, Decisions
from controller.core.plan import OnLogFailure
from controller.core.scan import (
    Hold,
    LogHealth,
    Reading,
    RelayReport,
    Reset,
    Scan,
    SetEnabled,
)
from controller.core.state import State, Trip, fresh_state
from controller.daemon import Daemon, Parts
from controller.ports import Arrivals, Instant, RunHeader
from tests.builders import a_mat, a_plan, a_tray, surface_probe

SCAN_MS = 5_000
MATS = ("north", "south")


def two_mats(on_failure: OnLogFailure):
    north = a_mat(surface=surface_probe())
    south = a_mat("south", trays=(a_tray("S1", "s2"),))
    return a_plan(north, south, on_log_failure=on_failure)


class World:
    """Relay, log, trips and watchdog in one; remembers what happened in order.

    Attributes:
        events: (what, mat or "", number of the scan).
        healthy: What the log says of itself.
        commit: What becomes of the next commit: True, False, or None: it hangs.
        trips_break: The side file of trips refuses.
    """

    def __init__(self) -> None:
        self.events: list[tuple[str, str, int]] = []
        self.scans: dict[int, Scan] = {}
        self.states: dict[int, State] = {}
        self.healthy = True
        self.commit: bool | None = True
        self.trips_break = False
        self.hanging: list[asyncio.Event] = []

    async def send(self, commands: Sequence[Command], seq: int) -> None:
        for command in commands:
            word = "on" if command.energised else "off"
            self.events.append((word, command.mat, seq))

    def begin(self, header: RunHeader) -> None:
        pass

    def append(self, scan: Scan, decisions: Decisions, state: State) -> None:
        self.events.append(("log", "", scan.seq))
        self.scans[scan.seq], self.states[scan.seq] = scan, state

    async def committed(self, seq: int) -> bool:
        outcome = self.commit
        if outcome is None:
            release = asyncio.Event()
            self.hanging.append(release)
            await release.wait()
            outcome = True
        if outcome:
            self.events.append(("disk", "", seq))
        return outcome

    def health(self) -> LogHealth:
        return LogHealth.OK if self.healthy else LogHealth.FAILED

    def end(self, at: Instant, cause: str) -> None:
        pass

    def close(self) -> None:
        self.events.append(("close", "", 0))

    def load(self) -> dict[str, Trip]:
        return {}

    def save(self, trips: dict[str, Trip]) -> None:
        if self.trips_break:
            raise OSError("no space left")

    def ready(self) -> None:
        pass

    def fed(self, status: str) -> None:
        pass

    def stopping(self, cause: str) -> None:
        pass


class Source:
    """What arrives, and whether the link stands."""

    def __init__(self) -> None:
        self.next, self.up = Arrivals(), True

    def take(self) -> Arrivals:
        taken, self.next = self.next, Arrivals()
        return taken

    def link_up(self) -> bool:
        return self.up

    async def serve(self) -> None:
        await asyncio.Event().wait()


class Stage:
    """A daemon that is scanned by hand."""

    def __init__(self, on_failure: OnLogFailure) -> None:
        self.world, self.source = World(), Source()
        self.clock = ManualClock("UTC", run_ms=1_000_000, utc_ms=1_800_000_000_000)
        self.seen = 0
        self.done = asyncio.Event()
        plan = two_mats(on_failure)
        header = RunHeader(
            run="r1",
            origin="live",
            started_run_ms=1_000_000,
            started_utc_ms=1_800_000_000_000,
            plan=plan,
            state=fresh_state(plan, 1_000_000),
            timezone="UTC",
            decisions_version=1,
            versions={},
        )
        self.daemon = Daemon(
            Parts(
                header=header,
                clock=self.clock,
                sources=[self.source],
                relays=[self.world],
                log=self.world,
                trips=self.world,
                watchdog=self.world,
                announce=self._finished,
            )
        )
        self.stop = asyncio.Event()

    def _finished(self, _: object) -> None:
        self.seen += 1
        self.done.set()

    async def __aenter__(self) -> Self:
        self.task = asyncio.create_task(self.daemon.run(self.stop))
        await self.done.wait()
        return self

    async def __aexit__(self, *_: object) -> None:
        self.stop.set()
        await self.task

    async def scan(self, told: dict[str, object]) -> None:
        """Let a scan happen in which all this is so."""
        world, now_ms = self.world, self.clock.now().run_ms + SCAN_MS
        world.healthy, world.commit = told["healthy"], told["commit"]
        world.trips_break, self.source.up = told["trips_break"], told["up"]
        if told["disk_returns"]:
            for release in world.hanging:
                release.set()
            world.hanging.clear()
        for wish in told["wishes"]:
            self.daemon.request("Ada", wish)
        readings = tuple(
            Reading(probe, now_ms, round(1000 * temp_c))
            for probe, temp_c in told["temps_c"].items()
            if temp_c is not None
        )
        reports = tuple(RelayReport(m, now_ms, on) for m, on in told["reports"])
        self.source.next = Arrivals(readings, (), reports)
        assert self.clock.wakes_at() == now_ms
        self.done.clear()
        self.clock.advance(SCAN_MS)
        await self.done.wait()


ROOT_C = st.sampled_from([16.0] * 6 + [None, 22.0, 24.9, 25.5, 33.5])
SCANS = st.fixed_dictionaries(
    {
        "temps_c": st.fixed_dictionaries(
            {"n1": ROOT_C, "n2": ROOT_C, "s2": ROOT_C, "s1": st.just(25.0)}
        ),
        "healthy": st.sampled_from([True] * 4 + [False]),
        "commit": st.sampled_from([True] * 4 + [False, None]),
        "disk_returns": st.booleans(),
        "trips_break": st.booleans(),
        "up": st.sampled_from([True] * 6 + [False]),
        "reports": st.lists(
            st.tuples(st.sampled_from(MATS), st.booleans()), max_size=1
        ),
        "wishes": st.lists(
            st.one_of(
                st.builds(Hold, st.sampled_from(MATS), st.sampled_from([0, 20_000])),
                st.builds(SetEnabled, st.sampled_from(MATS), st.booleans()),
                st.builds(Reset, st.sampled_from(MATS)),
            ),
            max_size=1,
        ),
    }
)


async def lived(told: list[dict[str, object]], on_failure: OnLogFailure) -> World:
    async with Stage(on_failure) as stage:
        for one in told:
            await stage.scan(one)
        for release in stage.world.hanging:
            release.set()
    return stage.world


def check_off_came_first(world: World) -> None:
    """Within a scan: off and renewals, then the log, then what is new."""
    for seq in world.scans:
        of_scan = [e for e in world.events if e[2] == seq]
        logged = of_scan.index(("log", "", seq))
        assert all(what != "off" for what, *_ in of_scan[logged:])
        told = [mat for what, mat, _ in of_scan if what in {"on", "off"}]
        assert len(told) == len(set(told))  # never two words to one mat


def check_switch_ons_were_written(world: World, on_failure: OnLogFailure) -> None:
    """Each was committed, or its scan says that the log failed and heat goes on."""
    last: dict[str, tuple[str, int]] = {}
    for place, (what, mat, seq) in enumerate(world.events):
        if what not in {"on", "off"} or seq not in world.scans:
            continue
        scan, before = world.scans[seq], last.get(mat)
        last[mat] = (what, seq)
        if what == "off":
            continue
        relay = world.states[seq].mats[mat].relay
        assert relay.energised
        failed = scan.log_health is LogHealth.FAILED
        assert not (failed and on_failure is OnLogFailure.HEAT_OFF)
        renewed = before == ("on", seq - 1) and relay.on_seq < seq
        written = ("disk", "", seq) in world.events[:place]
        assert renewed or written or failed


@settings(max_examples=30, deadline=None)
@given(st.lists(SCANS, min_size=1, max_size=12), st.sampled_from(OnLogFailure))
def test_nothing_is_switched_on_unwritten_and_off_waits_for_nothing(told, on_failure):
    patience_s, daemon_module.COMMIT_WAIT_S = daemon_module.COMMIT_WAIT_S, 0.002
    try:
        world = asyncio.run(lived(told, on_failure))
    finally:
        daemon_module.COMMIT_WAIT_S = patience_s
    check_off_came_first(world)
    check_switch_ons_were_written(world, on_failure)
    at_the_end = [mat for what, mat, seq in world.events if seq == len(told) + 2]
    assert at_the_end == list(MATS)  # all off, then the log is closed
    assert world.events[-1][0] == "close"


def test_these_runs_do_switch_on_in_every_way():
    """What is never reached is not tried."""
    warm = {"n1": 16.0, "n2": 16.0, "s2": 16.0, "s1": 25.0}
    plain = {
        "temps_c": warm,
        "healthy": True,
        "commit": True,
        "disk_returns": True,
        "trips_break": False,
        "up": True,
        "reports": [],
        "wishes": [],
    }
    written = asyncio.run(lived([plain], OnLogFailure.KEEP_HEATING)).events
    assert ("disk", "", 2) in written
    assert ("on", "north", 2) in written
    refused = [{**plain, "commit": False}, {**plain, "healthy": False}]
    events = asyncio.run(lived(refused, OnLogFailure.KEEP_HEATING)).events
    assert ("on", "north", 2) not in events
    assert ("on", "north", 3) in events
    events = asyncio.run(lived(refused, OnLogFailure.HEAT_OFF)).events
    assert "on" not in {what for what, *_ in events}
