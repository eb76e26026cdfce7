"""The simulated bench on MQTT: what its probes say is what the link hears."""

import asyncio
import json
from contextlib import asynccontextmanager

import aiomqtt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.bench_on_mqtt import BenchOnMqtt, _payload
from controller.adapters.broker import embedded_broker
from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.payloads import parse
from controller.core.plan import RelayKind
from controller.core.scan import Reading
from controller.ports import Arrivals
from controller.wiring import (
    BrokerWire,
    NumberPayload,
    PointerPayload,
    ProbeWire,
    RelayWire,
    SenmlPayload,
    TemperatureUnit,
    Wiring,
)

PROBE, COMMAND, STATE = "lean-to/N1", "lean-to/north", "lean-to/north/state"


class FixedPlant:
    """A plant of one probe that always says the same; it notes what is on."""

    def __init__(self) -> None:
        self.driven: list[tuple[int, bool]] = []

    def advance(self, to_ms: int, energised) -> Arrivals:
        self.driven.append((to_ms, energised["north"]))
        return Arrivals(readings=(Reading("N1", to_ms, 21_500),))


def wiring(port: int) -> Wiring:
    return Wiring(
        bench="test",
        broker=BrokerWire(port=port),
        probes=(ProbeWire(probe="N1", topic=PROBE),),
        relays=(
            RelayWire(
                mat="north", kind=RelayKind.LEASE, topic=COMMAND, reports_on=STATE
            ),
        ),
    )


@asynccontextmanager
async def played(port: int, plant: FixedPlant, clock: ManualClock):
    bench = BenchOnMqtt(plant, wiring(port), clock, step_ms=1_000)
    task = asyncio.create_task(bench.serve())
    try:
        yield bench
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def until(condition) -> None:
    clock = SystemClock("UTC")
    async with asyncio.timeout(15):
        while not condition():
            await clock.sleep_until(clock.now().run_ms + 5)


async def heard(client: aiomqtt.Client, topic: str) -> bytes:
    async with asyncio.timeout(10):
        async for message in client.messages:
            if str(message.topic) == topic:
                return message.payload
    raise AssertionError("the client's messages ended")


async def test_it_speaks_as_its_probes_and_obeys_leases_on_its_own_clock(broker_port):
    """Report at start, on by command, off again when the lease has run out."""
    plant, clock = FixedPlant(), ManualClock()
    async with aiomqtt.Client("127.0.0.1", broker_port, identifier="other") as client:
        await client.subscribe(PROBE, qos=1)
        await client.subscribe(STATE, qos=1)
        async with played(broker_port, plant, clock) as bench:
            assert await heard(client, PROBE) == b"21.5"
            start = json.loads(await heard(client, STATE))
            on = {"energised": True, "valid_for_s": 2, "run": "r1", "seq": 1}
            await client.publish(COMMAND, json.dumps(on), qos=1)
            obeyed = json.loads(await heard(client, STATE))
            assert bench.energised() == {"north": True}
            await until(lambda: clock.wakes_at() is not None)
            clock.advance(1_000)
            await until(lambda: plant.driven[-1] == (1_000, True))
            await until(lambda: clock.wakes_at() == 2_000)
            clock.advance(1_000)
            ended = json.loads(await heard(client, STATE))
    assert (start["energised"], start["reason"]) == (False, "start")
    assert (obeyed["energised"], obeyed["run"], obeyed["seq"]) == (True, "r1", 1)
    assert (ended["energised"], ended["reason"]) == (False, "lease")


async def test_its_relays_drop_out_and_say_so_when_it_stops(broker_port):
    async with aiomqtt.Client("127.0.0.1", broker_port, identifier="other") as client:
        await client.subscribe(STATE, qos=1)
        async with played(broker_port, FixedPlant(), ManualClock()) as bench:
            await heard(client, STATE)
            on = {"energised": True, "valid_for_s": 60, "run": "r1", "seq": 1}
            await client.publish(COMMAND, json.dumps(on), qos=1)
            assert json.loads(await heard(client, STATE))["energised"]
        stopped = json.loads(await heard(client, STATE))
    assert (stopped["energised"], stopped["reason"]) == (False, "lost")
    assert bench.energised() == {"north": False}


async def test_a_lost_broker_ends_it_with_a_connection_error():
    async with embedded_broker() as port:
        bench = BenchOnMqtt(FixedPlant(), wiring(port), ManualClock(), step_ms=1_000)
        task = asyncio.create_task(bench.serve())
        async with aiomqtt.Client("127.0.0.1", port, identifier="other") as client:
            await client.subscribe(STATE, qos=1)
            await heard(client, STATE)
    with pytest.raises(ConnectionError, match=rf"broker at 127.0.0.1:{port} was lost"):
        await asyncio.wait_for(task, 10)


FORMATS = [
    NumberPayload(),
    PointerPayload(""),
    PointerPayload("/soil/0/a~1b~0c"),
    SenmlPayload(),
    SenmlPayload("bench/N1"),
]


@pytest.mark.parametrize("payload", FORMATS, ids=repr)
@pytest.mark.parametrize("unit", TemperatureUnit)
def test_every_thousandth_comes_through_every_format_and_unit(payload, unit):
    """What the bench writes is what the link reads, to the last digit."""
    wire = ProbeWire(probe="N1", payload=payload, unit=unit)
    now = ManualClock().now()

    @given(st.integers(-60_000, 130_000))
    def holds(milli: int) -> None:
        found = parse(_payload(wire, milli).encode(), wire, now, retained=False)
        assert isinstance(found, Reading), found
        assert found.milli == milli

    holds()
