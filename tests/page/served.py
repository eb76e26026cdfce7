"""An invented bench that lives in real time, served by the real server in a thread.

It scans each second through the core, with readings as a test sets them; behind it
stands a log of five invented days with a gap, and records in memory.
"""

import asyncio
import math
import tempfile
from collections.abc import AsyncIterator, Callable, Coroutine
from dataclasses import dataclass, field, replace
from pathlib import Path

from api.app import create_app
from api.application import App
from api.record_book import Records
from api.server import Listen, serve
from controller.adapters.clocks import SystemClock
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.photos import PhotoFolder
from controller.core.plan import Plan
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, Millis, UtcMillis
from controller.ports import Heated, Instant, SeasonReader, Snapshot
from tests.api.conftest import SCAN_MS, UTC_MS, WARM, FakeBench, FakeReader, make_plan
from tests.page.in_thread import InThread, Parts

FIRST_MS = UTC_MS - 5 * DAY_MS
GAP_MS = UTC_MS - 20 * HOUR_MS, UTC_MS - 17 * HOUR_MS
EVERY_S = 0.5


def page_plan() -> Plan:
    return replace(make_plan(), scan_ms=Millis(1_000))


@dataclass
class LiveBench(FakeBench):
    """The fake bench, but time passes by itself and scans come with it."""

    plan: Plan = field(default_factory=page_plan)
    temps: dict[str, float | None] = field(default_factory=lambda: dict(WARM))
    frozen: bool = False
    clock: SystemClock = field(default_factory=lambda: SystemClock("UTC"))
    begun_ms: int = 0
    base_ms: int = 200_000
    changed: asyncio.Event | None = None

    def now(self) -> Instant:
        real_ms = self.clock.now().run_ms
        self.begun_ms = self.begun_ms or real_ms
        run_ms = self.base_ms + real_ms - self.begun_ms
        return Instant(run_ms, UTC_MS + run_ms, self.clock_ok, 20_498, 9 * 60)

    def tick(self) -> None:
        """Scan, unless the controller stands still."""
        if self.frozen:
            return
        now = self.now()
        self.run_ms = now.run_ms - SCAN_MS  # scan() adds as much
        self.scan(self.temps, utc_ms=UtcMillis(now.utc_ms))
        if self.changed is not None:
            self.changed.set()

    async def subscribe(self) -> AsyncIterator[Snapshot]:
        while True:
            if self.current is not None:
                yield self.current
            self.changed = asyncio.Event()
            await self.changed.wait()


def invented_log() -> FakeReader:
    """Return five days: readings with a gap, heat on for two thirds of the time."""
    reader = FakeReader()
    for n, probe in enumerate(("n1", "n2a", "n2b", "s1", "v1")):
        reader.series[probe] = [
            (at_ms, 20_500 + round(300 * math.sin(at_ms / HOUR_MS)) + 40 * n)
            for at_ms in range(FIRST_MS, UTC_MS, 2 * MINUTE_MS)
            if not GAP_MS[0] <= at_ms < GAP_MS[1]
        ]
    for mat in ("north", "south"):
        reader.told[mat] = [
            Heated(at_ms + (20 * MINUTE_MS if on else 0), not on, 21_000)
            for at_ms in range(FIRST_MS, UTC_MS, 30 * MINUTE_MS)
            for on in (True, False)
        ]
        reader.told[mat].sort(key=lambda one: one.utc_ms)
    return reader


Make = Callable[[LiveBench, SeasonReader, MemoryRecords], App]


def plain_app(bench: LiveBench, reader: SeasonReader, kept: MemoryRecords) -> App:
    photos = PhotoFolder(Path(tempfile.mkdtemp()) / "season.photos")
    records = Records(kept, lambda: kept, photos)
    return create_app(bench, lambda: reader, bench, records)


class Served(InThread):
    """A bench and its server, in a thread with a loop of its own."""

    def __init__(
        self,
        make: Make = plain_app,
        bench: LiveBench | None = None,
        reader: SeasonReader | None = None,
        beside: Callable[[], Coroutine[object, object, None]] | None = None,
    ) -> None:
        self._beside = beside
        self.bench, self.reader = bench or LiveBench(), reader or invented_log()
        self.kept = MemoryRecords()
        self._make = make
        for _ in range(3):
            self.bench.tick()
        self.start()

    def start(self) -> None:
        """Serve: a daemon that was started again, on the same port."""
        self.app = self._make(self.bench, self.reader, self.kept)
        super().start()

    def parts(self, took: Callable[[int], None]) -> Parts:
        feed = self.app.state.context.feed
        found = [
            serve(self.app, Listen("127.0.0.1", self.port), took),
            self._scan(),
            feed.serve(self.bench),
        ]
        return found if self._beside is None else [*found, self._beside()]

    async def _scan(self) -> None:
        while True:
            self.bench.tick()
            await asyncio.sleep(EVERY_S)  # noqa: TID251 - a real browser waits for it
