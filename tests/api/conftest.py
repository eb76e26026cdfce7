"""An invented bench as the API sees it: a plan, scans of it, fakes of the ports."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field, replace
from functools import cache

import httpx
import pytest
from pydantic import TypeAdapter

from api.app import create_app
from api.application import App
from api.callers import Reception
from api.context import Context
from api.record_book import Records
from api.routing import as_json
from controller.adapters.access import FileAccess, TokenFile
from controller.adapters.clocks import ManualClock
from controller.adapters.memory_records import MemoryRecords
from controller.core.decisions import Answer
from controller.core.plan import (
    DrivenBy,
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    Quantity,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import Quality, Reading, Request, Scan, Wish
from controller.core.state import State, fresh_state
from controller.core.step import step
from controller.core.units import MilliC, Millis, UtcMillis
from controller.ports import (
    Columns,
    Heated,
    Instant,
    LogEntry,
    May,
    RunHeader,
    Snapshot,
)
from controller.review.envelopes import envelope
from controller.tabletop import Tabletop

_adapter = cache(TypeAdapter)


def agrees(shape: type, found: object) -> None:
    """Hold an answer to the shape that the document promises, to the last key."""
    adapter, sent = _adapter(shape), as_json(found)
    read = adapter.validate_json(sent, strict=True)
    told = adapter.dump_python(read, mode="json", by_alias=True)
    assert told == json.loads(sent), shape.__name__


App.checked = staticmethod(agrees)

UTC_MS = 1_771_059_485_000  # 2026-02-14T08:58:05Z
SCAN_MS = 5_000
REST_MS = 115_000
"""So long that regulation may switch on after a start."""


def make_plan() -> Plan:
    """Return a small lean-to bench; every name in it is invented."""
    north = MatPlan(
        name="north",
        title="North bench",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=Pid(),
        programme=(
            StepPlan(MilliC(21_000), night_mc=MilliC(18_000), days=14, title="callus"),
            StepPlan(MilliC(19_000), title="grow on"),
        ),
        driven_by=DrivenBy.TRAY,
        driving_tray="N1",
        relay=RelayKind.LEASE,
        trays=(
            TrayPlan(name="N1", medium="coir-perlite", probes=(ProbePlan(name="n1"),)),
            TrayPlan(
                name="N2",
                medium="bark-sand",
                column=2,
                probes=(ProbePlan(name="n2a"), ProbePlan(name="n2b", depth_mm=40)),
            ),
        ),
        surface=(ProbePlan(name="north-surface"),),
    )
    south = MatPlan(
        name="south",
        power_mw=80_000,
        length_mm=900,
        width_mm=450,
        policy=OnOff(),
        programme=(StepPlan(MilliC(26_000)),),
        relay=RelayKind.PLAIN,
        trays=(
            TrayPlan(
                name="S1",
                upper_mc=MilliC(30_000),
                probes=(ProbePlan(name="s1"),),
            ),
        ),
    )
    watched = MatPlan(
        name="watched",
        power_mw=50_000,
        length_mm=600,
        width_mm=300,
        policy=OnOff(),
        programme=(StepPlan(MilliC(20_000)),),
        trays=(TrayPlan(name="V1", probes=(ProbePlan(name="v1"),)),),
    )
    return Plan(
        bench="lean-to",
        mats=(north, south, watched),
        trays=(TrayPlan(name="W1", title="windowsill"),),
        room=(ProbePlan(name="room"),),
        witnesses=(ProbePlan(name="air", quantity=Quantity.HUMIDITY, one_wire=False),),
    )


@dataclass
class FakeBench:
    """The bench behind the API, driven by the core itself, a scan at a time.

    Implements ports.Bench, and ports.Clock for the same bench.
    """

    plan: Plan = field(default_factory=make_plan)
    display_unit: str = "°C"
    tabletop: Tabletop = field(default_factory=Tabletop)
    state: State | None = None
    current: Snapshot | None = None
    run_ms: int = 0
    seq: int = 0
    clock_ok: bool = True
    local_minute: int = 9 * 60
    waiting: list[Request] = field(default_factory=list)
    answers: dict[int, Answer] = field(default_factory=dict)
    asked: int = 0
    most: int = 100
    shown: asyncio.Queue[Snapshot] = field(default_factory=asyncio.Queue)

    def snapshot(self) -> Snapshot | None:
        return self.current

    def request(self, who: str, wish: Wish) -> int:
        if len(self.waiting) >= self.most:
            raise OverflowError
        self.asked += 1
        self.waiting.append(Request(self.asked, who, wish))
        return self.asked

    def answer(self, request_id: int) -> Answer | None:
        return self.answers.get(request_id)

    async def subscribe(self) -> AsyncIterator[Snapshot]:
        while True:
            yield await self.shown.get()

    def now(self) -> Instant:
        return Instant(
            self.run_ms, UTC_MS + self.run_ms, self.clock_ok, 20_498, self.local_minute
        )

    async def sleep_until(self, run_ms: int) -> None:
        raise NotImplementedError

    def scan(self, temps: dict[str, float | None] | None = None, **changes: object):
        """Let one scan pass with readings in °C by probe (None: no value)."""
        self.seq += 1
        self.run_ms += SCAN_MS
        state = self.state or fresh_state(self.plan)
        scan = Scan(
            seq=self.seq,
            run_ms=Millis(self.run_ms),
            utc_ms=UtcMillis(UTC_MS + self.run_ms),
            clock_ok=self.clock_ok,
            local_day=20_498,
            local_minute=self.local_minute,
            readings=tuple(
                Reading(
                    probe,
                    Millis(self.run_ms),
                    None if temp_c is None else round(temp_c * 1000),
                    Quality.BAD if temp_c is None else Quality.GOOD,
                )
                for probe, temp_c in (temps or {}).items()
            ),
            requests=tuple(self.waiting),
        )
        scan = replace(scan, **changes)
        self.waiting = []
        self.state, decisions = step(self.plan, state, scan)
        self.answers |= {answer.request_id: answer for answer in decisions.answers}
        self.current = Snapshot(
            run="run-1",
            plan=self.plan,
            scan=scan,
            state=self.state,
            decisions=decisions,
            timezone="Europe/Lisbon",
            display_unit=self.display_unit,
            refused=3,
            tabletop=self.tabletop,
        )
        self.shown.put_nowait(self.current)
        return self

    def change(self, mat: str, **changes: object) -> None:
        """Put something else into a mat's state, and show it at once."""
        assert self.state is not None
        assert self.current is not None
        mats = {**self.state.mats, mat: replace(self.state.mats[mat], **changes)}
        self.state = replace(self.state, mats=mats)
        self.current = replace(self.current, state=self.state)


WARM = {
    "n1": 20.5,
    "n2a": 20.0,
    "n2b": 21.0,
    "north-surface": 27.0,
    "s1": 24.0,
    "v1": 19.0,
    "room": 13.5,
    "air": 71.2,
}


@dataclass
class FakeReader:
    """A season log with the samples and entries that a test gives it."""

    series: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    entries: list[LogEntry] = field(default_factory=list)
    told: dict[str, list[Heated]] = field(default_factory=dict)
    error: Exception | None = None
    asked: list[tuple[str, int, int]] = field(default_factory=list)

    def runs(self) -> list[RunHeader]:
        if self.error is not None:
            raise self.error
        plan = make_plan()
        header = RunHeader(
            run="run-1",
            origin="live",
            started_run_ms=0,
            started_utc_ms=UTC_MS,
            plan=plan,
            state=fresh_state(plan),
            timezone="Europe/Lisbon",
            decisions_version=1,
            versions={},
        )
        return [header]

    def first_order(self, run):
        return -(2**62)

    def scans(self, run):
        raise NotImplementedError

    def samples(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, *, untaken: bool = False
    ) -> Columns:
        if self.error is not None:
            raise self.error
        self.asked.append((probe, from_utc_ms, to_utc_ms))
        found = [
            (at_ms, temp_mc)
            for at_ms, temp_mc in self.series.get(probe, [])
            if from_utc_ms <= at_ms < to_utc_ms
        ]
        times = [at for at, _ in found]
        return Columns(times, times, times, [temp for _, temp in found])

    def envelope(self, probe: str, from_utc_ms: int, to_utc_ms: int, points: int):
        found = self.samples(probe, from_utc_ms, to_utc_ms)
        pairs = zip(found.utc_ms, found.temp_mc, strict=True)
        return envelope(pairs, from_utc_ms, to_utc_ms, points)

    def heated(self, mat: str, from_utc_ms: int, to_utc_ms: int) -> list[Heated]:
        if self.error is not None:
            raise self.error
        return [one for one in self.told.get(mat, []) if one.utc_ms < to_utc_ms]

    def journal(self, after: int, limit: int) -> list[LogEntry]:
        if self.error is not None:
            raise self.error
        return [entry for entry in self.entries if entry.id > after][:limit]


@pytest.fixture
def warm() -> dict[str, float]:
    """Readings of every probe of the bench, nothing wrong with any [°C]."""
    return dict(WARM)


@pytest.fixture
def bench(warm) -> FakeBench:
    """A bench that regulates; its third and last scan was at 09:00:15Z."""
    fake = FakeBench().scan(warm).scan(warm)
    fake.run_ms += REST_MS
    return fake.scan(warm)


@pytest.fixture
def make_bench() -> Callable[..., FakeBench]:
    return FakeBench


@pytest.fixture
def reader() -> FakeReader:
    return FakeReader()


@pytest.fixture(scope="session")
def shared_app():
    """One app for many tests, since making one takes longer than most of them."""
    return create_app(None, None, None)


@pytest.fixture
async def client(shared_app, bench, reader) -> AsyncIterator[httpx.AsyncClient]:
    """A client of this machine; errors of the app become answers."""
    shared_app.state.context = Context(bench, lambda: reader, bench)
    async with connected(shared_app) as found:
        yield found


@dataclass
class Guarded:
    """A bench that asks for tokens: its app, its tokens' secrets, its parts."""

    app: App
    access: FileAccess
    file: TokenFile
    clock: ManualClock
    secrets: dict[str, str]

    def bearer(self, name: str) -> dict[str, str]:
        return {"authorization": f"Bearer {self.secrets[name]}"}


@pytest.fixture
def guarded(shared_app, bench, reader, tmp_path) -> Guarded:
    """A bench with a token "looker" that may read and "keeper" that may operate."""
    file = TokenFile(tmp_path / "season.tokens.json")
    made = "2026-02-14T08:00:00Z"
    secrets = {
        "looker": file.add("looker", May.READ, made),
        "keeper": file.add("keeper", May.OPERATE, made),
    }
    clock = ManualClock(utc_ms=UTC_MS)
    access = FileAccess(file, tmp_path / "season.sessions.json", clock, print)
    reception = Reception(access, lambda: bench.now().run_ms)
    shared_app.state.context = Context(
        bench, lambda: reader, bench, reception=reception
    )
    return Guarded(shared_app, access, file, clock, secrets)


@pytest.fixture
async def stranger(guarded) -> AsyncIterator[httpx.AsyncClient]:
    """A client that shows nothing yet, on a bench that asks for tokens."""
    async with connected(guarded.app) as found:
        yield found


@pytest.fixture
def connect():
    """Return how to get a client of an app of one's own."""
    return connected


def connected(app) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(
        app, raise_app_exceptions=False, client=("127.0.0.1", 50_000)
    )
    return httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000")


@pytest.fixture
def kept() -> MemoryRecords:
    """What was told, in memory."""
    return MemoryRecords()


@pytest.fixture
async def recording(
    shared_app, bench, reader, kept
) -> AsyncIterator[httpx.AsyncClient]:
    """A client of an app that keeps what is told."""
    records = Records(kept, lambda: kept)
    shared_app.state.context = Context(bench, lambda: reader, bench, records=records)
    async with connected(shared_app) as found:
        yield found


@pytest.fixture
def as_problem():
    """Return the check of the one error shape (RFC 9457), which gives the body."""

    def check(answer: httpx.Response, status: int) -> dict:
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        body = json.loads(answer.content)
        assert body["status"] == status
        assert body["type"] == "about:blank"
        assert body["title"]
        assert isinstance(body["detail"], str)
        assert len(body["detail"]) > 10
        assert body.keys() <= {"type", "title", "status", "detail", "errors"}
        for fault in body.get("errors", []):
            assert isinstance(fault["detail"], str)
            assert ("pointer" in fault) != ("parameter" in fault)
        return body

    return check
