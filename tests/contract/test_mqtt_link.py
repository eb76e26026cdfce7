"""The MQTT adapter keeps its promises on every broker it may meet."""

import asyncio
import json
from contextlib import asynccontextmanager

import aiomqtt
import pytest

from controller.adapters.clocks import SystemClock
from controller.adapters.mqtt import MqttLink, WiringError, _in_full
from controller.core.decisions import Cause, Command
from controller.core.plan import RelayKind
from controller.core.scan import Quality
from controller.wiring import BrokerWire, ProbeWire, RelayWire, Wiring

PROBE = "lean-to/probe/N1"
RELAY = "lean-to/relay/north"
STATE = "lean-to/relay/north/state"
PLAIN = "lean-to/relay/south"
POWER = "lean-to/relay/south/power"
ALIVE = "bottomheat/test/alive"

CLOCK = SystemClock("UTC")

ON = Command("north", True, Cause.BELOW_BAND)
OFF = Command("north", False, Cause.ABOVE_BAND)


def wiring(port: int) -> Wiring:
    return Wiring(
        bench="test",
        broker=BrokerWire(port=port),
        probes=(ProbeWire(probe="N1", topic=PROBE),),
        relays=(
            RelayWire(mat="north", kind=RelayKind.LEASE, topic=RELAY, reports_on=STATE),
            RelayWire(mat="south", kind=RelayKind.PLAIN, topic=PLAIN, power_on=POWER),
        ),
    )


async def until(condition) -> None:
    """Wait for something that another task brings about."""
    async with asyncio.timeout(15):
        while not condition():
            await CLOCK.sleep_until(CLOCK.now().run_ms + 5)


class Collector:
    """Everything a link has given so far."""

    def __init__(self, link: MqttLink) -> None:
        self.link = link
        self.readings, self.refusals, self.reports, self.powers = [], [], [], []

    def look(self) -> None:
        arrived = self.link.take()
        self.readings += arrived.readings
        self.refusals += arrived.refusals
        self.reports += arrived.relay_reports
        self.powers += arrived.power_reports

    async def has(self, kind: str, count: int) -> list:
        def enough() -> bool:
            self.look()
            return len(getattr(self, kind)) >= count

        await until(enough)
        return getattr(self, kind)


@asynccontextmanager
async def linked(port: int):
    link = MqttLink(wiring(port), SystemClock("UTC"), run="r1", valid_for_ms=15_000)
    task = asyncio.create_task(link.serve())
    try:
        await until(link.link_up)
        yield link
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@asynccontextmanager
async def other(port: int, *topics: str):
    async with aiomqtt.Client("127.0.0.1", port, identifier="other") as client:
        for topic in topics:
            await client.subscribe(topic, qos=1)
        yield client


async def heard(client: aiomqtt.Client, topic: str) -> bytes:
    async with asyncio.timeout(10):
        async for message in client.messages:
            if str(message.topic) == topic and not message.retain:
                return message.payload
    raise AssertionError("the client's messages ended")


async def test_the_first_reading_after_a_connect_is_uncertain_the_next_is_good(
    broker_port,
):
    async with linked(broker_port) as link, other(broker_port) as probe:
        await probe.publish(PROBE, "23.5", qos=1)
        await probe.publish(PROBE, "23.5625", qos=1)
        first, second = await Collector(link).has("readings", 2)
    assert (first.quality, first.milli) == (Quality.UNCERTAIN, 23_500)
    assert "first after reconnect" in first.note
    assert (second.quality, second.milli) == (Quality.GOOD, 23_562)


async def test_a_reading_that_the_broker_kept_is_uncertain(broker_port):
    async with other(broker_port) as probe:
        await probe.publish(PROBE, "40", qos=1, retain=True)
    async with linked(broker_port) as link:
        (reading, *_) = await Collector(link).has("readings", 1)
    assert reading.quality is Quality.UNCERTAIN
    assert "retained" in reading.note


@pytest.mark.parametrize(
    "junk", [b"", b"nan", b"1e308", b"\xff\xfe", b"{", b"9" * 9000]
)
async def test_rubbish_is_refused_and_the_link_lives_on(broker_port, junk):
    async with linked(broker_port) as link, other(broker_port) as probe:
        await probe.publish(PROBE, junk, qos=1)
        await probe.publish(PROBE, "21", qos=1)
        collector = Collector(link)
        (refusal,) = await collector.has("refusals", 1)
        (reading,) = await collector.has("readings", 1)
    assert refusal.source == "N1"
    assert reading.milli == 21_000


async def test_a_lease_command_carries_its_lease_and_off_needs_none(broker_port):
    async with other(broker_port, RELAY) as relay, linked(broker_port) as link:
        await link.send([ON], 42)
        on = json.loads(await heard(relay, RELAY))
        await link.send([OFF], 43)
        off = json.loads(await heard(relay, RELAY))
    assert on == {"energised": True, "valid_for_s": 15, "run": "r1", "seq": 42}
    assert off == {"energised": False, "run": "r1", "seq": 43}


async def test_a_plain_relay_gets_its_words(broker_port):
    async with other(broker_port, PLAIN) as relay, linked(broker_port) as link:
        await link.send([Command("south", True, Cause.BELOW_BAND)], 1)
        assert await heard(relay, PLAIN) == b"ON"
        await link.send([Command("south", False, Cause.ABOVE_BAND)], 2)
        assert await heard(relay, PLAIN) == b"OFF"


async def test_a_wattmeter_is_heard_and_what_the_broker_kept_of_it_is_not(broker_port):
    async with other(broker_port) as meter:
        await meter.publish(POWER, "40", qos=1, retain=True)
        async with linked(broker_port) as link:
            await meter.publish(POWER, "watts", qos=1)
            await meter.publish(POWER, "79.5", qos=1)
            collector = Collector(link)
            (power,) = await collector.has("powers", 1)
            assert (power.mat, power.power_mw) == ("south", 79_500)
            assert [r.source for r in collector.refusals] == ["wattmeter of south"]


async def test_reports_are_read_and_rubbish_reports_refused(broker_port):
    body = {"energised": True, "run": "r1", "seq": 7, "reason": "command"}
    async with linked(broker_port) as link, other(broker_port) as relay:
        await relay.publish(STATE, json.dumps(body), qos=1)
        await relay.publish(STATE, json.dumps(body | {"run": "r0"}), qos=1)
        await relay.publish(STATE, "on", qos=1)
        collector = Collector(link)
        ours, another = await collector.has("reports", 2)
        (refusal,) = await collector.has("refusals", 1)
    assert (ours.mat, ours.energised, ours.seq, ours.reason) == (
        "north",
        True,
        7,
        "command",
    )
    assert another.seq is None
    assert refusal.source == "relay of north"


async def test_a_stop_switches_every_relay_off_and_says_goodbye(broker_port):
    async with other(broker_port, RELAY, PLAIN, ALIVE) as watcher:
        async with linked(broker_port) as link:
            await link.send([ON], 1)
            await heard(watcher, RELAY)
        assert json.loads(await heard(watcher, RELAY))["energised"] is False
        assert await heard(watcher, PLAIN) == b"OFF"
        assert await heard(watcher, ALIVE) == b"false"


async def test_a_part_that_breaks_switches_every_relay_off_before_it_ends(
    broker_port, monkeypatch
):
    """To disconnect in good order takes the last will back: off must be said."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a mistake of ours")

    async with other(broker_port, PLAIN, RELAY) as watcher:
        link = MqttLink(wiring(broker_port), CLOCK, run="r1", valid_for_ms=15_000)
        task = asyncio.create_task(link.serve())
        await until(link.link_up)
        await link.send([Command("south", True, Cause.BELOW_BAND)], 1)
        assert await heard(watcher, PLAIN) == b"ON"
        monkeypatch.setattr("controller.adapters.mqtt.parse", broken)
        await watcher.publish(PROBE, "21", qos=1)
        with pytest.raises(RuntimeError, match="a mistake of ours"):
            await task
        assert await heard(watcher, PLAIN) == b"OFF"


async def test_status_is_kept_by_the_broker_and_an_empty_one_is_forgotten(broker_port):
    topic = "bottomheat/test/tray/N1"
    async with other(broker_port, topic) as watcher, linked(broker_port) as link:
        link.publish_status("tray/N1", '{"temp_c": 21.0}')
        assert await heard(watcher, topic) == b'{"temp_c": 21.0}'
        link.publish_status("tray/N1", "")
        assert await heard(watcher, topic) == b""


async def test_without_a_broker_commands_are_dropped_and_nothing_is_raised():
    link = MqttLink(wiring(1), SystemClock("UTC"), run="r1", valid_for_ms=15_000)
    await link.send([ON], 1)
    assert not link.link_up()


@pytest.mark.broker
async def test_a_killed_broker_is_noticed_and_found_again_with_no_stale_on(mosquitto):
    async with linked(mosquitto.port) as link:
        await mosquitto.kill()
        await until(lambda: not link.link_up())
        await link.send([ON], 1)  # dropped: must never be delivered
        await mosquitto.start()
        async with other(mosquitto.port, RELAY) as relay:
            await until(link.link_up)
            await link.send([OFF], 2)
            assert json.loads(await heard(relay, RELAY))["seq"] == 2
            await relay.publish(PROBE, "21", qos=1)
            (reading,) = await Collector(link).has("readings", 1)
    assert reading.quality is Quality.UNCERTAIN


def test_a_missing_password_file_is_named(tmp_path):
    path = tmp_path / "secret"
    broker = BrokerWire(username="bench", password_file=path)
    wires = Wiring(bench="test", broker=broker, probes=(), relays=())
    with pytest.raises(WiringError, match=f"password_file {path}: cannot be read"):
        MqttLink(wires, SystemClock("UTC"), run="r1", valid_for_ms=1)
    path.write_text("\n", encoding="utf-8")
    with pytest.raises(WiringError, match="is empty"):
        MqttLink(wires, SystemClock("UTC"), run="r1", valid_for_ms=1)


async def test_a_cancellation_is_not_lost_in_a_call_that_ends_in_the_same_moment():
    """As asyncio.wait_for loses it before Python 3.12; then a stop hung."""
    ends = asyncio.get_running_loop().create_future()

    async def library_call() -> None:
        await asyncio.wait_for(ends, 5)

    task = asyncio.create_task(_in_full(library_call()))
    await asyncio.to_thread(lambda: None)
    ends.set_result(None)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
