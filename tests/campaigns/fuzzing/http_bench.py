"""An invented bench behind the real server, for schema-made calls.

Started as a script it prints its port and a token, scans ten times a second, and
says at its end how many requests it has answered. What may live here: that bench.
"""

import asyncio
import itertools
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3]))  # it is started as a script

import httpx

from api import failures
from api.app import create_app
from api.application import App
from api.context import Beside
from api.record_book import Records
from api.server import Listen, serve
from controller.adapters.access import FileAccess, TokenFile
from controller.adapters.clocks import SystemClock
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.photos import PhotoFolder
from controller.ports import Compared, Comparison, LogEntry, May
from tests.api.conftest import UTC_MS, WARM, FakeBench, FakeReader
from tests.api.test_comparison_route import RESULT
from tests.api.test_trial_routes import PLAN

SCAN_S = 0.1

# Wrong tokens are part of it; that they are counted has tests of its own.
failures.MOST_FAILURES = 10**9


class _Bench(FakeBench):
    """It goes on by itself, and keeps what it answered for a while only."""

    async def go_on(self) -> None:
        """Scan for ever."""
        heard = {probe: temp_c for probe, temp_c in WARM.items() if probe != "v1"}
        while True:
            self.scan(heard)
            self.shown = asyncio.Queue()  # nobody follows: /v1/live is not called
            for old in [n for n in self.answers if n < self.asked - 1_000]:
                del self.answers[old]
            await asyncio.sleep(SCAN_S)


class _Comparer:
    """It gives each kind of answer in turn."""

    _turns = itertools.cycle(
        [
            Compared(working="it is being worked out: ask again soon"),
            Compared(result=RESULT),
            Compared(cannot="nothing of it was stuck and looked at yet"),
            Compared(failed="it took longer than 600 s and was ended"),
        ]
    )

    async def compared(self, asked: Comparison) -> Compared:
        """Return the next of them, whatever was asked."""
        del asked
        return next(self._turns)


def _log() -> FakeReader:
    reader = FakeReader()
    steps = range(0, 3_600_000, 10_000)
    reader.series = {p: [(UTC_MS + t, 20_000 + t % 900) for t in steps] for p in WARM}
    kinds = itertools.cycle(["command", "alarm", "answer", "request"])
    reader.entries = [
        LogEntry(n, UTC_MS + n * 1_000, next(kinds), "north", {"note": "invented"})
        for n in range(1, 300)
    ]
    return reader


async def _told(app: App, secret: str) -> None:
    """Tell of a batch, a look, a move, an event and a trial, so that there is each."""
    batch = {"crop": "gooseberry", "kind": "hardwood", "count": 24, "tray": "N1"}
    batch |= {"code": "334X", "stuck_at": "2026-02-13T09:00:00Z"}
    look = {"how": "lifted", "looked_at": 5, "base": {"roots": 1, "none": 4}}
    told = {
        "/v1/batches": batch,
        "/v1/batches/334X/looks": look,
        "/v1/batches/334X/move": {"tray": "N2"},
        "/v1/events": {"kind": "watered", "trays": ["N1"], "water_ml": 200},
        "/v1/trials": PLAN,
    }
    transport = httpx.ASGITransport(app)
    headers = {"authorization": f"Bearer {secret}"}
    async with httpx.AsyncClient(
        transport=transport, base_url="http://localhost", headers=headers
    ) as client:
        for path, body in told.items():
            (await client.post(path, json=body)).raise_for_status()


async def main() -> None:
    """Serve until the input ends."""
    bench, store, reader = _Bench().scan(WARM), MemoryRecords(), _log()
    counted = 0
    with tempfile.TemporaryDirectory() as folder:
        file = TokenFile(Path(folder) / "season.tokens.json")
        secret = file.add("fuzzer", May.OPERATE, "2026-02-14T08:00:00Z")
        sessions = Path(folder) / "season.sessions.json"
        access = FileAccess(file, sessions, SystemClock("UTC"), print)
        photos = PhotoFolder(Path(folder) / "season.photos")
        records = Records(store, lambda: store, photos)
        beside = Beside(comparer=_Comparer())
        app = create_app(bench, lambda: reader, bench, records, access, beside=beside)
        await _told(app, secret)

        async def counting(scope: object, receive: object, send: object) -> None:
            nonlocal counted
            counted += 1
            await app(scope, receive, send)  # type: ignore[arg-type]

        def ready(port: int) -> None:
            print(port, secret, flush=True)

        at = Listen("127.0.0.1", 0, guarded=True)
        running = [
            asyncio.create_task(serve(counting, at, ready)),
            asyncio.create_task(bench.go_on()),
        ]
        await asyncio.to_thread(sys.stdin.read)
        for task in running:
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)
    print(counted, flush=True)


if __name__ == "__main__":
    asyncio.run(main())
