"""The daemon: scan, step, off first, log, on; again and again, until stopped.

One task group holds everything that runs. Any task that ends, ends the daemon,
cold; whoever started it starts it again. The watchdog is fed by finished scans
and by nothing else.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field

from controller.core.decisions import Answer, Cause, Command, Decisions
from controller.core.scan import LogHealth, Request, Scan, Wish
from controller.core.state import Trip
from controller.core.step import step
from controller.core.units import Millis, UtcMillis
from controller.endings import Stopped, causes, for_ever, until, warn
from controller.ports import (
    Arrivals,
    Clock,
    Instant,
    Relay,
    RunHeader,
    ScanSource,
    SeasonLog,
    Snapshot,
    TripStore,
    Watchdog,
)
from controller.tabletop import Tabletop

COMMIT_WAIT_S = 2.0
"""A switch-on waits at most this long for its scan to be on the disk."""

MOST_WISHES = 100
"""Chosen: more wishes than this in one scan are no person's."""

MOST_ANSWERS = 1000
"""Answers older than this many are forgotten here; the log keeps them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What a daemon is put together from.

    Attributes:
        header: The run.
        clock: Where time comes from.
        sources: Where readings and relay reports come from.
        relays: Where commands go.
        log: The season log.
        trips: The side file of trips.
        watchdog: Who wants to hear that scans go on.
        announce: Called with every snapshot; must not wait.
        also: What else runs beside the scans; none may end before them.
        display_unit: What a person wants to read, "°C" or "°F".
        tabletop: Where things stand, to draw the bench by.
    """

    header: RunHeader
    clock: Clock
    sources: Sequence[ScanSource]
    relays: Sequence[Relay]
    log: SeasonLog
    trips: TripStore
    watchdog: Watchdog
    announce: Callable[[Snapshot], None] = lambda _: None
    also: Sequence[Callable[[], Awaitable[None]]] = ()
    display_unit: str = "°C"
    tabletop: Tabletop = field(default_factory=Tabletop)


class Daemon:
    """A bench being run. Also the bench as the API sees it."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._state = parts.header.state
        self._seq = 0
        self._on: frozenset[str] = frozenset()
        self._late_commit: asyncio.Task[bool] | None = None
        self._kept_trips: Mapping[str, Trip] | None = None
        self._snapshot: Snapshot | None = None
        self._next: asyncio.Future[Snapshot] | None = None
        self._requests: list[Request] = []
        self._last_request = 0
        self._answers: dict[int, Answer] = {}
        self._refused = 0
        self._ended_by = "cancelled by whoever ran it"
        self._trips_trouble = ""
        self._saving: asyncio.Task[None] | None = None

    # --------------------------------------------------- as the API sees it

    def snapshot(self) -> Snapshot | None:
        """Return the bench at the last finished scan; None before the first."""
        return self._snapshot

    def request(self, who: str, wish: Wish) -> int:
        """Queue a wish for the next scan; return its number.

        Raises:
            OverflowError: Too many wishes are waiting.
        """
        if len(self._requests) >= MOST_WISHES:
            text = f"{MOST_WISHES} wishes are waiting for the next scan: try again"
            raise OverflowError(text)
        self._last_request += 1
        self._requests.append(Request(self._last_request, who, wish))
        return self._last_request

    def answer(self, request_id: int) -> Answer | None:
        """Return what became of a request; None while it waits or is forgotten."""
        return self._answers.get(request_id)

    async def subscribe(self) -> AsyncIterator[Snapshot]:
        """Yield the newest snapshot after each scan; slow readers miss some."""
        while True:
            if self._next is None:
                self._next = asyncio.get_running_loop().create_future()
            yield await asyncio.shield(self._next)

    # --------------------------------------------------------------- running

    async def run(
        self, stop: asyncio.Event, *also: Callable[[], Awaitable[None]]
    ) -> None:
        """Run until told to stop; every mat is off when this returns or raises.

        Why it ended is written into the log, as its last word.

        Args:
            stop: Set to stop in good order.
            also: More that shall run beside the scans, such as the API; each
                is cancelled at the end, and none may end before.

        Raises:
            ExceptionGroup: A part failed or ended by itself.
        """
        self._parts.log.begin(self._parts.header)
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(until(stop))
                for source in self._parts.sources:
                    group.create_task(for_ever(source.serve, "a source of readings"))
                for work in (*self._parts.also, *also):
                    group.create_task(for_ever(work, "a part beside the scans"))
                group.create_task(for_ever(self._scan_for_ever, "the scan"))
        except* Stopped as order:
            self._ended_by = "; ".join(causes(order))
        except* Exception as broken:
            self._ended_by = f"a part ended: {'; '.join(causes(broken))}"
            raise
        finally:
            self._parts.watchdog.stopping(self._ended_by)
            self._parts.log.end(self._parts.clock.now(), self._ended_by)
            await asyncio.to_thread(self._parts.log.close)

    async def _scan_for_ever(self) -> None:
        clock, every_ms = self._parts.clock, self._parts.header.plan.scan_ms
        due_ms = clock.now().run_ms
        try:
            while True:
                await self._scan(clock.now())
                missed = max(0, clock.now().run_ms - due_ms) // every_ms
                due_ms += (missed + 1) * every_ms
                await clock.sleep_until(due_ms)
        finally:
            await self._all_off()

    async def _scan(self, now: Instant) -> None:
        scan = self._make_scan(now)
        plan = self._parts.header.plan
        self._state, decisions = step(plan, self._state, scan)
        switch_on = self._new_on(decisions)
        await self._send(
            [c for c in decisions.commands if c.mat not in switch_on], scan.seq
        )
        self._parts.log.append(scan, decisions, self._state)
        await self._keep_trips()
        if switch_on and await self._may_switch_on(scan):
            await self._send(
                [c for c in decisions.commands if c.mat in switch_on], scan.seq
            )
            self._on |= switch_on
        self._finish(scan, decisions)

    def _make_scan(self, now: Instant) -> Scan:
        arrived = _joined([source.take() for source in self._parts.sources])
        requests, self._requests = tuple(self._requests), []
        self._seq += 1
        self._refused += len(arrived.refusals)
        return Scan(
            seq=self._seq,
            run_ms=Millis(now.run_ms),
            utc_ms=UtcMillis(now.utc_ms),
            clock_ok=now.clock_ok,
            local_day=now.local_day,
            local_minute=now.local_minute,
            readings=arrived.readings,
            refusals=arrived.refusals,
            relay_reports=arrived.relay_reports,
            power_reports=arrived.power_reports,
            link_up=all(source.link_up() for source in self._parts.sources),
            log_health=self._log_health(),
            requests=requests,
        )

    def _finish(self, scan: Scan, decisions: Decisions) -> None:
        header = self._parts.header
        for answer in decisions.answers:
            self._answers[answer.request_id] = answer
            self._answers.pop(answer.request_id - MOST_ANSWERS, None)
        snapshot = Snapshot(
            run=header.run,
            plan=header.plan,
            scan=scan,
            state=self._state,
            decisions=decisions,
            timezone=header.timezone,
            display_unit=self._parts.display_unit,
            refused=self._refused,
            tabletop=self._parts.tabletop,
        )
        first, self._snapshot = self._snapshot is None, snapshot
        if self._next is not None:
            self._next.set_result(snapshot)
            self._next = None
        self._parts.announce(snapshot)
        if first:
            self._parts.watchdog.ready()
        self._parts.watchdog.fed(_status(snapshot))

    # ----------------------------------------------------------- off, log, on

    def _new_on(self, decisions: Decisions) -> frozenset[str]:
        """Return the mats to be switched on; forget those that go off.

        One whose relay was reported off and is asked for again in this very scan
        is switched on anew.
        """
        on = frozenset(c.mat for c in decisions.commands if c.energised)
        mats = self._state.mats
        self._on &= {mat for mat in on if mats[mat].relay.on_seq != self._seq}
        return on - self._on

    async def _send(self, commands: list[Command], seq: int) -> None:
        """Send commands, off before on, for mats that have a relay."""
        watched = {m.name for m in self._parts.header.plan.mats if m.relay is None}
        ordered = sorted(
            (c for c in commands if c.mat not in watched), key=lambda c: c.energised
        )
        for relay in self._parts.relays:
            await relay.send(ordered, seq)

    async def _may_switch_on(self, scan: Scan) -> bool:
        """Wait until a scan that switches on is on the disk, within limits.

        A log that has failed does not stop control: the core has seen its
        health in this very scan and decided knowing it.
        """
        if scan.log_health is not LogHealth.OK:
            return True
        commit = asyncio.ensure_future(self._parts.log.committed(scan.seq))
        await asyncio.wait({commit}, timeout=COMMIT_WAIT_S)
        if commit.done():
            return commit.result()
        self._late_commit = commit
        return False

    def _log_health(self) -> LogHealth:
        late = self._late_commit
        if late is not None and late.done():
            self._late_commit = late = None
        return LogHealth.FAILED if late is not None else self._parts.log.health()

    async def _keep_trips(self) -> None:
        """Keep the side file of trips like the state's, retrying until it is.

        A disk that does not answer holds up one scan, and that within limits.
        """
        if self._saving is not None:
            if self._saving.done():
                self._saving.result()
                self._saving = None
            return
        trips = {n: m.trip for n, m in self._state.mats.items() if m.trip is not None}
        if trips == self._kept_trips:
            return
        self._saving = asyncio.ensure_future(self._save(trips))
        done, _ = await asyncio.wait({self._saving}, timeout=COMMIT_WAIT_S)
        if done:
            self._saving.result()
            self._saving = None

    async def _save(self, trips: Mapping[str, Trip]) -> None:
        try:
            await asyncio.to_thread(self._parts.trips.save, trips)
        except OSError as error:
            trouble = f"the file of trips could not be written: {error}"
            if trouble != self._trips_trouble:
                warn(trouble)
            self._trips_trouble = trouble
        else:
            self._kept_trips, self._trips_trouble = trips, ""

    async def _all_off(self) -> None:
        """Tell every relay off, even of a scan that broke before it was finished."""
        self._seq += 1
        mats = self._parts.header.plan.mats
        await self._send([_off(mat.name) for mat in mats], self._seq)


def _joined(parts: Sequence[Arrivals]) -> Arrivals:
    return Arrivals(
        tuple(r for part in parts for r in part.readings),
        tuple(r for part in parts for r in part.refusals),
        tuple(r for part in parts for r in part.relay_reports),
        tuple(r for part in parts for r in part.power_reports),
    )


def _off(mat: str) -> Command:
    return Command(mat, energised=False, cause=Cause.AWAITING_READINGS)


def _status(snapshot: Snapshot) -> str:
    on = [c.mat for c in snapshot.decisions.commands if c.energised]
    heat = "heating " + ", ".join(on) if on else "no mat heats"
    alarms = sum(alarm.active for alarm in snapshot.state.alarms)
    return f"{heat}; {alarms} alarm{'' if alarms == 1 else 's'}"
