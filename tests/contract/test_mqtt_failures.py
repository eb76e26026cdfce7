"""What the MQTT adapter does when its other side, or it itself, is gone."""

import asyncio
import json
import os
import signal
import subprocess
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters import mqtt
from controller.adapters.broker import embedded_broker
from controller.adapters.clocks import FastClock, ManualClock, SystemClock
from controller.adapters.mqtt import Door, MqttLink, connected_peer
from controller.core.decisions import Cause, Command
from controller.core.plan import RelayKind
from controller.core.scan import Quality
from controller.wiring import BrokerWire, ProbeWire, RelayWire, Wiring

ROOT = Path(__file__).parents[2]
ALIVE = "bottomheat/test/alive"
PROBE = "lean-to/probe/N1"
RELAY = "lean-to/relay/north"
ON = Command("north", True, Cause.BELOW_BAND)
OFF = Command("north", False, Cause.ABOVE_BAND)

LINK_ALONE = """
import asyncio, sys
from controller.adapters.clocks import SystemClock
from controller.adapters.mqtt import MqttLink
from controller.wiring import BrokerWire, Wiring

async def main():
    broker = BrokerWire(port=int(sys.argv[1]))
    wiring = Wiring(bench="test", broker=broker, probes=(), relays=())
    await MqttLink(wiring, SystemClock("UTC"), run="r1", valid_for_ms=1).serve()

asyncio.run(main())
"""


def link_on(port: int, clock) -> MqttLink:
    relay = RelayWire(mat="north", kind=RelayKind.LEASE, topic=RELAY)
    wiring = Wiring(
        bench="test",
        broker=BrokerWire(port=port),
        probes=(ProbeWire(probe="N1", topic=PROBE),),
        relays=(relay,),
    )
    return MqttLink(wiring, clock, run="r1", valid_for_ms=15_000)


async def until(condition) -> None:
    """Wait for something that another task brings about."""
    clock = SystemClock("UTC")
    async with asyncio.timeout(15):
        while not condition():
            await clock.sleep_until(clock.now().run_ms + 5)


async def next_turn() -> None:
    """Let every task that is ready go on for one step."""
    loop = asyncio.get_running_loop()
    turn = loop.create_future()
    loop.call_soon(turn.set_result, None)
    await turn


@asynccontextmanager
async def serving(link: MqttLink):
    task = asyncio.create_task(link.serve())
    try:
        yield task
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@asynccontextmanager
async def other(port: int, *topics: str):
    async with aiomqtt.Client("127.0.0.1", port, identifier="other") as client:
        for topic in topics:
            await client.subscribe(topic, qos=1)
        yield client


async def heard(client: aiomqtt.Client, topic: str, payload: bytes | None = None):
    async with asyncio.timeout(10):
        async for message in client.messages:
            if str(message.topic) == topic and payload in (None, message.payload):
                return message.payload
    raise AssertionError("the client's messages ended")


async def test_a_controller_that_is_killed_is_declared_dead_by_the_broker(broker_port):
    """The last will: nobody has to notice for people and relays to be told."""
    async with other(broker_port, ALIVE) as watcher:
        process = subprocess.Popen(
            [sys.executable, "-c", LINK_ALONE, str(broker_port)],
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        try:
            await heard(watcher, ALIVE, b"true")
            process.send_signal(signal.SIGKILL)
            await heard(watcher, ALIVE, b"false")
        finally:
            process.kill()
            await asyncio.to_thread(process.wait)


async def test_alive_is_kept_by_the_broker_and_false_after_a_stop(broker_port):
    async with serving(link := link_on(broker_port, SystemClock("UTC"))):
        await until(link.link_up)
        async with other(broker_port, ALIVE) as late:
            assert await heard(late, ALIVE) == b"true"
    async with other(broker_port, ALIVE) as later:
        assert await heard(later, ALIVE) == b"false"


async def test_an_embedded_broker_that_restarts_is_found_again_with_no_stale_on():
    """The clock stands still, so the link comes back only when the test says."""
    clock = ManualClock()
    link = link_on(0, clock)
    async with embedded_broker() as port:
        link = link_on(port, clock)
        task = asyncio.create_task(link.serve())
        await until(link.link_up)
    await until(lambda: not link.link_up())
    await link.send([ON], 1)  # dropped: must never be delivered
    async with embedded_broker(port), other(port, RELAY) as relay:
        await until(lambda: clock.wakes_at() is not None)
        clock.advance(mqtt.LONGEST_WAIT_MS)
        await until(link.link_up)
        await link.send([OFF], 2)
        assert json.loads(await heard(relay, RELAY))["seq"] == 2
        await relay.publish(PROBE, "21", qos=1)
        arrived = []
        await until(lambda: arrived.extend(link.take().readings) or arrived)
        assert arrived[0].quality is Quality.UNCERTAIN
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.mark.broker
async def test_a_frozen_broker_is_noticed_by_the_heartbeat(mosquitto, monkeypatch):
    """To write into a dead connection succeeds; to be acknowledged does not."""
    monkeypatch.setattr(mqtt, "TIMEOUT_S", 0.3)
    clock = ManualClock()
    async with serving(link := link_on(mosquitto.port, clock)):
        await until(link.link_up)
        await until(lambda: clock.wakes_at() is not None)
        mosquitto._process.send_signal(signal.SIGSTOP)
        try:
            await link.send([ON], 1)  # nothing tells that it goes nowhere
            assert link.link_up()
            clock.advance(mqtt.HEARTBEAT_MS)
            await until(lambda: not link.link_up())
        finally:
            mosquitto._process.send_signal(signal.SIGCONT)


async def test_a_connection_that_is_lost_as_it_is_made_is_told():
    """As when another client of its name comes in the same moment."""

    async def accept_and_end(
        reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        await reader.read(1)
        writer.write(bytes([0x20, 2, 0, 0]))  # CONNACK, accepted (MQTT 3.1.1, 3.2)
        writer.close()

    server = await asyncio.start_server(accept_and_end, "127.0.0.1", 0)
    door = Door(BrokerWire(port=server.sockets[0].getsockname()[1]))
    async with server, asyncio.timeout(10):
        with pytest.raises(ConnectionError, match="was lost"):
            async with connected_peer(door, "north-off") as peer:
                await peer.until_lost()


async def test_a_client_may_have_a_name_that_no_topic_has(broker_port):
    """As a plain relay's last word has, of a mat that somebody called so."""
    door = Door(BrokerWire(port=broker_port))
    async with connected_peer(door, "bottomheat-test-north #1-off") as peer:
        await peer.publish("t/said", "still here", sure=True)


async def test_attempts_grow_rarer_up_to_the_longest_wait():
    """Nobody listens on the port; the clock stands still between attempts."""
    clock, waits = ManualClock(), []
    async with serving(link_on(1, clock)):
        for _ in range(8):
            await until(lambda: clock.wakes_at() is not None)
            waits.append(clock.wakes_at() - clock.now().run_ms)
            clock.advance(waits[-1])
    longest = [2_000, 4_000, 8_000, 16_000, 30_000, 30_000, 30_000, 30_000]
    for waited_ms, longest_ms in zip(waits, longest, strict=True):
        assert longest_ms / 2 <= waited_ms <= longest_ms


async def test_a_flood_is_bounded_counted_and_told(broker_port, monkeypatch):
    monkeypatch.setattr(mqtt, "INBOX", 20)
    async with serving(link := link_on(broker_port, FastClock(60, 0, "UTC"))):
        await until(link.link_up)
        async with other(broker_port) as probe:
            for number in range(60):
                await probe.publish(PROBE, str(number), qos=1)
            await until(lambda: len(link._inbox) == 20 and link._dropped)
            arrived = link.take()
    assert len(arrived.readings) == 20
    assert "messages dropped: more than 20 waited" in arrived.refusals[-1].reason


async def test_a_status_may_come_and_go_while_it_is_being_said(broker_port):
    """An alarm that is over, back and over again within one acknowledgement."""
    async with serving(link := link_on(broker_port, SystemClock("UTC"))) as task:
        await until(link.link_up)
        async with other(broker_port, "bottomheat/test/mat/north") as watcher:
            link.publish_status("alarm/x", "")
            while link._unsaid:
                await next_turn()
            # now it is on its way, and not yet acknowledged
            link.publish_status("alarm/x", "{}")
            link.publish_status("alarm/x", "")
            link.publish_status("mat/north", "{}")
            assert await heard(watcher, "bottomheat/test/mat/north") == b"{}"
        assert not task.done()
