"""One-wire probes of this board on MQTT, for a controller on another one.

A reading is sent when it is made or not at all: it carries no time of its own,
and an old one would pass for new. What may live here: when probes are read, and
what is sent. What a value means is judged by the controller.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

from controller.adapters.lasting import connected_for_ever, first_to_end
from controller.adapters.mqtt import Door, Peer, connected_peer
from controller.adapters.one_wire import DEVICES, measured
from controller.ports import Clock

LATEST_MS = 5_000
"""Chosen: a probe takes less than a second; a reading that took longer was held
up, and it is not known when it was measured [ms]."""


class ProbeNode:
    """Reads probes in turn and publishes each value, in °C, acknowledged, not kept.

    A frame that is not whole is never sent: the probe falls silent, which the
    controller sees. 85.0, -127 and 127.94 are sent as they are: the controller
    knows them, and tells a person what they mean.

    Args:
        addresses: The kernel's address of each probe, by its topic.
        every_ms: How often each is read [ms].
        door: How the broker is entered.
        clock: Where time comes from.
        say: Told what happens, in words.
        devices: Where the kernel shows the probes.
    """

    def __init__(
        self,
        addresses: Mapping[str, str],
        every_ms: int,
        door: Door,
        clock: Clock,
        *,
        say: Callable[[str], None],
        devices: Path = DEVICES,
    ) -> None:
        self._addresses = addresses
        self._every_ms = every_ms
        self._door = door
        self._clock = clock
        self._say = say
        self._devices = devices
        self._faults: dict[str, str] = {}

    async def serve(self) -> None:
        """Read and publish until cancelled."""
        first = min(self._addresses).replace("/", ".")
        await connected_for_ever(
            lambda: connected_peer(self._door, f"probe-reader.{first}"),
            self._use,
            self._clock,
            self._say,
        )

    async def _use(self, peer: Peer) -> None:
        self._say(f"connected to {self._door}")
        await first_to_end(peer.until_lost(), self._read(peer))

    async def _read(self, peer: Peer) -> None:
        due_ms = self._clock.now().run_ms
        while True:
            for topic in self._addresses:
                await self._publish(peer, topic)
            due_ms = max(due_ms + self._every_ms, self._clock.now().run_ms)
            await self._clock.sleep_until(due_ms)

    async def _publish(self, peer: Peer, topic: str) -> None:
        began_ms = self._clock.now().run_ms
        try:
            milli = await measured(self._addresses[topic], self._devices)
            if self._clock.now().run_ms - began_ms > LATEST_MS:
                message = f"took more than {LATEST_MS // 1000} s: it is not sent"
                raise ValueError(message)  # noqa: TRY301
        except ValueError as error:
            self._doubt(topic, str(error))
            return
        self._doubt(topic, "")
        await peer.publish(topic, f"{milli / 1000:.3f}", sure=True)

    def _doubt(self, topic: str, fault: str) -> None:
        """Say what is wrong with a probe when that changes, not every time."""
        if fault != self._faults.get(topic, ""):
            self._say(f"{topic}: {fault or 'is read again'}")
        self._faults[topic] = fault
