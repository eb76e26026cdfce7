"""Two controllers of one bench on one broker: the younger one ends, unheard."""

import asyncio
import json
from contextlib import asynccontextmanager

import aiomqtt
import pytest

from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.mqtt import MqttLink
from controller.adapters.presence import AnotherControllerError
from controller.core.plan import RelayKind
from controller.wiring import BrokerWire, RelayWire, Wiring

RELAY = "lean-to/relay/north"
CONTROLLER = "bottomheat/test/controller"


def link_on(
    port: int, run: str, clock=None, *, bench="test", listen_first_s: float = 10.0
) -> MqttLink:
    wiring = Wiring(
        bench=bench,
        broker=BrokerWire(port=port),
        probes=(),
        relays=(RelayWire(mat="north", kind=RelayKind.LEASE, topic=RELAY),),
    )
    return MqttLink(
        wiring,
        clock or SystemClock("UTC"),
        run=run,
        valid_for_ms=15_000,
        listen_first_s=listen_first_s,
    )


@asynccontextmanager
async def serving(link: MqttLink):
    task = asyncio.create_task(link.serve())
    try:
        async with asyncio.timeout(10):
            while not link.link_up() and not task.done():
                await asyncio.to_thread(lambda: None)
        yield task
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@asynccontextmanager
async def listening(port: int, topic: str):
    async with aiomqtt.Client("127.0.0.1", port, identifier="ear") as client:
        await client.subscribe(topic, qos=1)
        yield client


async def test_the_younger_one_ends_before_it_has_told_the_relay_anything(broker_port):
    elder_clock = ManualClock()
    elder = link_on(broker_port, "old", elder_clock, listen_first_s=0)
    async with listening(broker_port, RELAY) as relay, serving(elder) as stays:
        elder_clock.advance(60_000)
        younger = link_on(broker_port, "new")
        with pytest.raises(AnotherControllerError, match="run old"):
            await younger.serve()
        assert not younger.link_up()
        assert not stays.done()
        assert elder.link_up()
        await relay.publish(RELAY, b"the end")
        async for message in relay.messages:
            assert message.payload == b"the end"
            break


async def test_one_that_meets_an_older_one_later_switches_off_and_ends(broker_port):
    """As when two halves of a network are joined again."""
    async with listening(broker_port, RELAY) as relay:
        async with serving(link_on(broker_port, "new", listen_first_s=0)) as ends:
            word = {"run": "old", "held_ms": 10**9, "hears": "new"}
            await relay.publish(CONTROLLER, json.dumps(word))
            async with asyncio.timeout(10):
                with pytest.raises(AnotherControllerError):
                    await ends
        async for message in relay.messages:
            assert json.loads(message.payload)["energised"] is False
            break


async def test_a_lone_one_waits_for_an_answer_once_and_goes_on(broker_port):
    link = link_on(broker_port, "only", listen_first_s=0.05)
    async with serving(link) as stays:
        assert link.link_up()
        assert not stays.done()


async def test_what_a_killed_one_left_on_the_broker_does_not_stop_the_next(broker_port):
    async with listening(broker_port, CONTROLLER) as ear:
        kept = {"run": "dead", "held_ms": 10**9, "hears": "new"}
        await ear.publish(CONTROLLER, json.dumps(kept), qos=1, retain=True)
        await ear.publish("bottomheat/test/alive", "true", qos=1, retain=True)
        async with serving(link_on(broker_port, "new", listen_first_s=0.05)) as stays:
            late = json.dumps({**kept, "hears": "another"})
            await ear.publish(CONTROLLER, late)  # it was still on its way
            async with asyncio.timeout(10):
                async for message in ear.messages:
                    if message.payload == late.encode():
                        break
            assert not stays.done()


async def test_other_benches_on_the_broker_are_no_others_of_this_one(broker_port):
    elder = link_on(broker_port, "old", bench="glasshouse", listen_first_s=0)
    async with serving(elder):
        link = link_on(broker_port, "new", listen_first_s=0.05)
        async with serving(link) as stays:
            assert not stays.done()
