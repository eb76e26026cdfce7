"""A message to people reaches a broker, and trouble is said."""

import asyncio
import json
from contextlib import asynccontextmanager

import aiomqtt
import pytest

from controller.adapters.clocks import SystemClock
from controller.adapters.mqtt import MqttLink, publish_notice_once
from controller.wiring import BrokerWire, Wiring
from tests.contract.conftest import needs_mosquitto

CLOCK = SystemClock("UTC")
NOTICE = "bottomheat/test/notice"


def wiring(port: int, **broker) -> Wiring:
    return Wiring(
        bench="test", broker=BrokerWire(port=port, **broker), probes=(), relays=()
    )


@asynccontextmanager
async def linked(port: int):
    link = MqttLink(wiring(port), CLOCK, run="r1", valid_for_ms=15_000)
    task = asyncio.ensure_future(link.serve())
    try:
        yield link
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def heard(port: int, publish) -> aiomqtt.Message:
    """Return the first message on the topic after something was published."""
    async with aiomqtt.Client("127.0.0.1", port, identifier="phone") as client:
        await client.subscribe(NOTICE, qos=1)
        await publish()
        async with asyncio.timeout(10):
            async for message in client.messages:
                return message
    raise AssertionError


async def until_linked(link: MqttLink) -> None:
    async with asyncio.timeout(15):
        while not link.link_up():
            await CLOCK.sleep_until(CLOCK.now().run_ms + 5)


async def test_a_notice_goes_through_the_link_acknowledged_and_not_kept(broker_port):
    async with linked(broker_port) as link:
        await until_linked(link)
        message = await heard(broker_port, lambda: link.publish_notice('{"id": "1"}'))
    assert json.loads(message.payload) == {"id": "1"}
    assert (message.qos, message.retain) == (1, False)
    async with aiomqtt.Client("127.0.0.1", broker_port, identifier="late") as client:
        await client.subscribe("bottomheat/test/#", qos=1)
        await client.publish("bottomheat/test/end", b"", qos=1)
        async for kept in client.messages:
            assert str(kept.topic) != NOTICE
            if str(kept.topic) == "bottomheat/test/end":
                break


async def test_a_notice_over_a_connection_of_its_own(broker_port):
    message = await heard(
        broker_port, lambda: publish_notice_once(wiring(broker_port), '{"id": "2"}')
    )
    assert json.loads(message.payload) == {"id": "2"}
    assert (message.qos, message.retain) == (1, False)


async def test_without_a_connection_it_is_said():
    link = MqttLink(wiring(1), CLOCK, run="r1", valid_for_ms=15_000)
    with pytest.raises(ConnectionError, match="there is no connection to it"):
        await link.publish_notice("{}")


async def test_a_broker_that_is_not_there_is_said():
    with pytest.raises(ConnectionError, match="refused"):
        await publish_notice_once(wiring(1), "{}")


async def test_a_broker_that_is_embedded_is_said():
    with pytest.raises(ConnectionError, match="only while the daemon runs"):
        await publish_notice_once(wiring(0, embedded=True), "{}")


@needs_mosquitto
async def test_a_broker_that_dies_meanwhile_is_said(mosquitto):
    async with linked(mosquitto.port) as link:
        await until_linked(link)
        await mosquitto.kill()
        with pytest.raises(ConnectionError):
            await link.publish_notice("{}")
