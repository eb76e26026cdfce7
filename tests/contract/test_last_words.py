"""A plain relay hears its off word from the broker when the controller is gone."""

import asyncio
import contextlib
import os
import signal
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.last_words import LastWords
from controller.core.plan import RelayKind
from controller.wiring import BrokerWire, RelayWire, Wiring

pytestmark = pytest.mark.broker

ROOT = Path(__file__).parents[2]
PROBE, PLAIN = "t/probe/N1", "t/relay/north"
CONFIG = """
[bench]
name = "test"
scan = "1 s"
[broker]
url = "mqtt://127.0.0.1:{port}"
[log]
path = "{log}"
commit_every = "1 s"
[api]
port = 0
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "21 °C"
min_on = "0 s"
min_off = "0 s"
stale_after = "4 s"
[mat.relay]
topic = "t/relay/north"
on = "heat"
off = "cold"
[[tray]]
name = "N1"
mat = "north"
[[probe]]
name = "N1"
tray = "N1"
topic = "t/probe/N1"
every = "1 s"
"""


@asynccontextmanager
async def hand(port: int):
    async with aiomqtt.Client("127.0.0.1", port, identifier="hand") as client:
        await client.subscribe([(PLAIN, 1), ("bottomheat/test/alive", 1)])
        yield client


async def heard(client: aiomqtt.Client, payload: bytes, topic: str = PLAIN) -> None:
    async with asyncio.timeout(20):
        async for message in client.messages:
            if str(message.topic) == topic:
                assert topic != PLAIN or not message.retain
                if message.payload == payload:
                    return
                await client.publish(PROBE, "18.5", qos=1)
    raise AssertionError("the broker ended")


@pytest.fixture
async def daemon(mosquitto, tmp_path):
    config = tmp_path / "bench.toml"
    text = CONFIG.format(port=mosquitto.port, log=tmp_path / "season.db")
    config.write_text(text, encoding="utf-8")
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        *("-m", "controller", "run", "--config", str(config)),
        cwd=ROOT,
        env={k: v for k, v in os.environ.items() if "BOTTOMHEAT" not in k},
        stderr=asyncio.subprocess.DEVNULL,
    )
    yield process
    if process.returncode is None:
        process.kill()
    await process.wait()


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
async def test_a_plain_relay_hears_off_however_the_daemon_ends(
    daemon, mosquitto, number
):
    async with hand(mosquitto.port) as client:
        await heard(client, b"heat")
        daemon.send_signal(number)
        await daemon.wait()
        await heard(client, b"cold")


def a_bench(port: int, *relays: RelayWire) -> Wiring:
    return Wiring(bench="test", broker=BrokerWire(port=port), probes=(), relays=relays)


async def test_a_bench_of_other_relays_makes_no_connection(mosquitto):
    lease = RelayWire(mat="south", kind=RelayKind.LEASE, topic="t/relay/south")
    words = LastWords(a_bench(1, lease), ManualClock(), pytest.fail)
    task = asyncio.create_task(words.serve())
    await SystemClock("UTC").sleep_until(0)
    assert not task.done()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def test_a_lost_broker_is_told_and_found_again(mosquitto):
    plain = RelayWire(mat="north", kind=RelayKind.PLAIN, topic=PLAIN, off_word="cold")
    clock, said = ManualClock(), asyncio.Queue()
    words = LastWords(a_bench(mosquitto.port, plain), clock, said.put_nowait)
    await mosquitto.kill()
    task = asyncio.create_task(words.serve())
    try:
        async with asyncio.timeout(15):
            assert (await said.get()).startswith("last word of mat north: the broker")
            await mosquitto.start()
            async with hand(mosquitto.port) as client:
                while not said.qsize():  # until its place is taken by another
                    clock.advance(60_000)
                    # A new one each time: one that was thrown out is of no more use.
                    with contextlib.suppress(aiomqtt.MqttError):
                        async with taker(mosquitto.port):
                            await heard_if_any(client)
                await heard(client, b"cold")
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def taker(port: int) -> aiomqtt.Client:
    """Return another client by the name of the last word's own."""
    name = "bottomheat-test-north-off"
    return aiomqtt.Client("127.0.0.1", port, identifier=name)


async def heard_if_any(client: aiomqtt.Client) -> None:
    clock = SystemClock("UTC")
    await clock.sleep_until(clock.now().run_ms + 50)
