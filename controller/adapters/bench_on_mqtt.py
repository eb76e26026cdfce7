"""A simulated bench that speaks MQTT as probes and relays do.

It drives a plant that is handed in, publishes what its probes say, and obeys
commands by the rule of the lease, so that the controller cannot tell it from a
bench of wood and wire.
"""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import replace

from controller.adapters.lease import Lease, alike, expired, obeyed
from controller.adapters.mqtt import Door, Peer, connected_peer
from controller.adapters.relay_words import report_payload
from controller.core.plan import RelayKind
from controller.core.scan import Reading
from controller.ports import Clock, Plant
from controller.wiring import (
    NumberPayload,
    PointerPayload,
    ProbeWire,
    RelayWire,
    SenmlPayload,
    TemperatureUnit,
    Wiring,
)


class BenchOnMqtt:
    """Plays the bench.

    Args:
        plant: What is driven in the bench's time.
        wiring: Topics and formats, the same that the controller has.
        clock: The bench's clock.
        step_ms: How often the plant is driven on and the relays looked at [ms].
    """

    def __init__(
        self, plant: Plant, wiring: Wiring, clock: Clock, *, step_ms: int
    ) -> None:
        self._plant = plant
        self._door = Door(wiring.broker)
        self._name = f"bench-{wiring.bench}"
        self._probes = {w.probe: w for w in wiring.probes if w.topic is not None}
        self._relays = {str(w.topic): w for w in wiring.relays if w.topic is not None}
        self._clock = clock
        self._step_ms = step_ms
        self._leases = {wire.mat: Lease() for wire in wiring.relays}
        self._reported: dict[str, Lease] = {}

    def energised(self) -> Mapping[str, bool]:
        """Return which mats are on at this moment."""
        return {mat: lease.energised for mat, lease in self._leases.items()}

    async def serve(self) -> None:
        """Play until cancelled; every relay is off then.

        Raises:
            ConnectionError: The broker is lost.
        """
        async with connected_peer(self._door, self._name) as peer:
            for topic in self._relays:
                await peer.subscribe(topic)
            parts = [self._obey(peer), self._live(peer)]
            tasks = [asyncio.ensure_future(part) for part in parts]
            try:
                done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            except asyncio.CancelledError:
                await self._stop(peer, tasks)
                raise
            finally:
                for task in tasks:
                    task.cancel()
                await asyncio.gather(*tasks, return_exceptions=True)
            for task in done:
                task.result()

    async def _stop(self, peer: Peer, tasks: list[asyncio.Task[None]]) -> None:
        """Drop every relay and say so."""
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for mat, lease in self._leases.items():
            self._leases[mat] = replace(lease, energised=False, reason="lost")
        await self._report(peer)

    async def _live(self, peer: Peer) -> None:
        due_ms = self._clock.now().run_ms
        while True:
            now_ms = self._clock.now().run_ms
            arrived = self._plant.advance(now_ms, self.energised())
            for mat, lease in self._leases.items():
                self._leases[mat] = expired(lease, now_ms)
            for reading in arrived.readings:
                await self._speak(peer, reading)
            await self._report(peer)
            due_ms = max(due_ms + self._step_ms, self._clock.now().run_ms)
            await self._clock.sleep_until(due_ms)

    async def _obey(self, peer: Peer) -> None:
        async for topic, payload, kept in peer.messages():
            wire = self._relays.get(topic)
            if wire is None:
                continue
            now_ms = self._clock.now().run_ms
            lease = self._leases[wire.mat]
            if wire.kind is RelayKind.LEASE:
                lease = obeyed(lease, payload, now_ms, retained=kept)
            elif not kept:
                lease = _plain(payload, wire)
            self._leases[wire.mat] = lease
            await self._report(peer)

    async def _report(self, peer: Peer) -> None:
        for wire in self._relays.values():
            lease = self._leases[wire.mat]
            if wire.reports_on is None or alike(lease, self._reported.get(wire.mat)):
                continue
            self._reported[wire.mat] = lease
            await peer.publish(wire.reports_on, _report(wire, lease), kept=True)

    async def _speak(self, peer: Peer, reading: Reading) -> None:
        wire = self._probes.get(reading.probe)
        if wire is not None and wire.topic is not None and reading.milli is not None:
            await peer.publish(wire.topic, _payload(wire, reading.milli))


def _report(wire: RelayWire, lease: Lease) -> str:
    if wire.kind is not RelayKind.LEASE:
        return wire.on_word if lease.energised else wire.off_word
    return report_payload(
        energised=lease.energised, run=lease.run, seq=lease.seq, reason=lease.reason
    )


def _plain(payload: bytes, wire: RelayWire) -> Lease:
    """Return what a plain relay does: it counts nothing and knows no end."""
    return Lease(energised=payload == wire.on_word.encode(), until_ms=2**62)


def _payload(wire: ProbeWire, milli: int) -> str:
    value = milli / 1000
    if wire.is_temperature and wire.unit is TemperatureUnit.FAHRENHEIT:
        value = value * 9 / 5 + 32
    elif wire.is_temperature and wire.unit is TemperatureUnit.KELVIN:
        value += 273.15
    value = round(value, 4)
    match wire.payload:
        case NumberPayload():
            return f"{value}"
        case PointerPayload(pointer):
            return json.dumps(_nested(pointer.split("/")[1:], value))
        case SenmlPayload(name):
            # RFC 8428: degrees Celsius are "Cel"
            record = {"n": name or wire.probe, "u": "Cel", "v": round(milli / 1000, 4)}
            return json.dumps([record])


def _nested(keys: list[str], value: float) -> object:
    """Return a document in which the keys of a JSON Pointer lead to a value."""
    if not keys:
        return value
    key = keys[0].replace("~1", "/").replace("~0", "~")
    return {key: _nested(keys[1:], value)}
