"""The daemon as a service manager and a careless person meet it: whole processes."""

import asyncio
import json
import os
import signal
import socket
import sqlite3
from contextlib import asynccontextmanager, closing
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters.season_log import SeasonLogReader
from tests.contract.test_run_on_mosquitto import CONFIG, RELAY, Stage

pytestmark = [pytest.mark.broker, pytest.mark.timeout(90)]


class Service(Stage):
    """A daemon started as by a service manager; what it says is read as it comes."""

    def __init__(self, folder: Path, port: int, client: aiomqtt.Client) -> None:
        self.folder, self.log = folder, folder / "season.db"
        self.config = folder / "bench.toml"
        self.config.write_text(CONFIG.format(port=port, log=self.log), encoding="utf-8")
        super().__init__(self.config, client)
        self._environ: dict[str, str] = {}
        self.said = ""

    async def start(self, **environ: str) -> None:
        os.environ.update(environ)
        # Whoever runs these tests may ignore it, and a child takes that over.
        before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
        try:
            await super().start()
        finally:
            signal.signal(signal.SIGHUP, before)
            for name in environ:
                del os.environ[name]

    async def says(self, words: str) -> str:
        """Read on until a line has some words; return the line."""
        assert self.process is not None
        assert self.process.stderr is not None
        async with asyncio.timeout(30):
            async for line in self.process.stderr:
                self.said += line.decode()
                if words in line.decode():
                    return line.decode()
        raise AssertionError(f"{words!r} was never said: {self.said}")

    async def api_port(self) -> int:
        line = await self.says("/v1/bench")
        return int(line.split("127.0.0.1:")[1].split("/")[0])

    async def ended(self) -> int:
        assert self.process is not None
        async with asyncio.timeout(30):
            _, rest = await self.process.communicate()
        self.said += rest.decode()
        assert self.process.returncode is not None
        return self.process.returncode

    def signal(self, number: signal.Signals) -> None:
        assert self.process is not None
        self.process.send_signal(number)


@asynccontextmanager
async def hand(port: int):
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe(RELAY)
        yield client


@asynccontextmanager
async def a_service(folder: Path, port: int):
    await asyncio.to_thread(folder.mkdir, exist_ok=True)
    async with hand(port) as client:
        service = Service(folder, port, client)
        try:
            yield service
        finally:
            if service.process is not None and service.process.returncode is None:
                service.signal(signal.SIGKILL)
                await service.ended()


@pytest.fixture
async def service(mosquitto, tmp_path):
    async with a_service(tmp_path, mosquitto.port) as service:
        yield service


def journal(log: Path, kind: str) -> list[dict]:
    return [
        dict(e.body) for e in SeasonLogReader(log).journal(0, 999) if e.kind == kind
    ]


async def off_heard(service: Service) -> None:
    """Wait for the "off" that no other command follows: the last one of all."""
    async with asyncio.timeout(20):
        async for message in service._client.messages:
            command = json.loads(message.payload)
            if command["seq"] == 2**53 - 1:
                assert command["energised"] is False
                return


async def test_a_stop_with_open_connections_is_off_first_then_the_api_then_the_end(
    service,
):
    """Clients that never read, never end a request and never go away.

    And a configuration that has changed meanwhile: a run knows its own only.
    """
    await service.start()
    port = await service.api_port()
    await service.relay_says("18.5", energised=True)
    changed = service.config.read_text(encoding="utf-8").replace("21 °C", "15 °C")
    service.config.write_text(changed, encoding="utf-8")
    silent, half, lazy = [
        await asyncio.open_connection("127.0.0.1", port) for _ in range(3)
    ]
    half[1].write(b"POST /v1/mats/north/hold HTTP/1.1\r\nHost: 127.0.0.1\r\n")
    half[1].write(b"Content-Type: application/json\r\nContent-Length: 9\r\n\r\n{")
    for _ in range(2_000):  # answers that nobody reads pile up
        lazy[1].write(b"GET /openapi.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    await half[1].drain()
    await service.relay_says("18.5", energised=True, times=2)
    service.signal(signal.SIGTERM)
    await off_heard(service)
    service.signal(signal.SIGTERM)
    service.signal(signal.SIGINT)
    assert await service.ended() == 0
    for _, writer in (silent, half, lazy):
        writer.close()
    (run,) = SeasonLogReader(service.log).runs()
    assert run.plan.mats[0].programme[0].setpoint_mc == 21_000
    assert journal(service.log, "ending")[0]["cause"] == "stopped by SIGTERM"


async def test_the_service_manager_hears_all_of_it(service, tmp_path):
    name = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(name)
        manager.setblocking(False)
        loop = asyncio.get_running_loop()

        async def heard() -> str:
            async with asyncio.timeout(20):
                return (await loop.sock_recv(manager, 4096)).decode()

        await service.start(NOTIFY_SOCKET=name, WATCHDOG_USEC="2000000")
        assert await heard() == "READY=1"
        fed = "WATCHDOG=1\nSTATUS=no mat heats; "
        assert (await heard()).startswith(fed)
        assert (await heard()).startswith(fed)
        assert "set WatchdogSec to 3 s or more" in await service.says("WatchdogSec")
        service.signal(signal.SIGTERM)
        while not (last := await heard()).startswith("STOPPING=1"):
            assert last.startswith("WATCHDOG=1")
        assert last == "STOPPING=1\nSTATUS=stopped by SIGTERM"
        assert await service.ended() == 0


async def test_a_part_that_ends_is_the_exit_status_and_the_last_word(service):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        text = service.config.read_text(encoding="utf-8")
        text = text.replace("[api]\nport = 0", f"[api]\nport = {port}")
        service.config.write_text(text, encoding="utf-8")
        await service.start()
        assert await service.ended() == 3
    assert "another program listens" in service.said
    assert "every mat was told to switch off" in service.said
    (end,) = journal(service.log, "ending")
    assert end["cause"].startswith("a part ended: ListenError: [api] port = ")
    service.config.write_text(text.replace(f"= {port}", "= 0"), encoding="utf-8")
    await service.start()
    assert "a part ended: ListenError" in await service.says("the run before")


async def test_a_second_daemon_with_a_log_of_its_own_ends_and_the_first_stays(
    service, mosquitto, tmp_path
):
    await service.start()
    first = await service.relay_says("18.5", energised=True)
    async with a_service(tmp_path / "second", mosquitto.port) as second:
        await second.start()
        assert await second.ended() == 4
        assert f"another controller (run {first['run']}) has kept" in second.said
        assert "another controller" in journal(second.log, "ending")[0]["cause"]
    service.signal(signal.SIGTERM)
    async with asyncio.timeout(10):  # the relay never heard of the second one
        async for message in service._client.messages:
            command = json.loads(message.payload)
            assert command["run"] == first["run"]
            if command["seq"] == 2**53 - 1:
                break
    assert await service.ended() == 0


async def test_a_damaged_log_does_not_keep_a_bench_from_being_run(service):
    await service.start()
    await service.api_port()
    service.signal(signal.SIGKILL)
    await service.ended()
    for end in ("-wal", "-shm"):
        service.log.with_name(f"season.db{end}").unlink(missing_ok=True)
    service.log.write_bytes(service.log.read_bytes()[:6_000])
    await service.start()
    await service.says("was set aside as season.db.damaged-")
    await service.relay_says("18.5", energised=True)
    service.signal(signal.SIGHUP)
    assert await service.ended() == 0
    assert journal(service.log, "ending")[0]["cause"] == "stopped by SIGHUP"
    (aside,) = service.folder.glob("season.db.damaged-*Z")
    assert aside.stat().st_size == 6_000
    assert "is damaged" in journal(service.log, "note")[0]["sentence"]
    with closing(sqlite3.connect(service.log)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
