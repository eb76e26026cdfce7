"""What measures, in earnest: the kernel's one-wire probes, and topics on the broker."""

import asyncio
from collections.abc import AsyncIterator, Collection, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from pathlib import Path

from controller.adapters.ear import Ear
from controller.adapters.mqtt import Door, Peer, connected_peer
from controller.adapters.one_wire import DEVICES, measured, probes_on
from controller.cli.settling.said import temperatures
from controller.ports import Clock
from controller.wiring import BrokerWire

STEP_MS = 1_000
PATIENT_MS = 15_000
"""How long a broker that was just told to start may take to take connections [ms]."""

OURS = "bottomheat/"


class BoardSenses:
    """Reads one-wire probes in turn, and hears what is said on the broker.

    Args:
        clock: Where time comes from.
        ear: What hears; None: there is no broker.
        devices: Where the kernel shows one-wire probes; None: none are looked at.
        topics: Beginning of the topics that count.
        relays: Topics of relays, and whatever is below them: no probes.
        hearing: The ear at work; None: there is none.
    """

    def __init__(
        self,
        clock: Clock,
        ear: Ear | None,
        devices: Path | None,
        topics: str,
        relays: Collection[str] = (),
        hearing: "asyncio.Future[None] | None" = None,
    ) -> None:
        self._hearing = hearing
        self._clock = clock
        self._ear = ear
        self._devices = devices
        self._topics = topics
        self._relays = relays
        self._taken = 0
        self._said: dict[str, list[tuple[int, int]]] = {}

    async def listen(self, for_ms: int) -> None:
        """Listen for a while; at least once round all one-wire probes [ms].

        Raises:
            ConnectionError: The broker is lost, and nothing will be heard any more.
        """
        until_ms = self._clock.now().run_ms + for_ms
        while True:
            if self._hearing is not None and self._hearing.done():
                raise ConnectionError("the broker was lost")
            await self._measure()
            self._hear()
            now_ms = self._clock.now().run_ms
            if now_ms >= until_ms:
                return
            await self._clock.sleep_until(min(until_ms, now_ms + STEP_MS))

    def values(self) -> Mapping[str, int]:
        """Return the newest value of each, in thousandths as it came."""
        return {address: said[-1][1] for address, said in self._said.items()}

    def samples(self, address: str) -> Sequence[tuple[int, int]]:
        """Return when [ms] and what it said, in order."""
        return tuple(self._said.get(address, ()))

    async def _measure(self) -> None:
        if self._devices is None:
            return
        with suppress(OSError):
            for address in probes_on(self._devices):
                with suppress(ValueError):
                    milli = await measured(address, self._devices)
                    self._note(address, milli)

    def _hear(self) -> None:
        heard = self._ear.heard if self._ear is not None else []
        for one in heard[self._taken :]:
            if one.kept or not self._counts(one.topic):
                continue
            for address, milli in temperatures(one.topic, one.payload).items():
                self._said.setdefault(address, []).append((one.at_ms, milli))
        self._taken = len(heard)

    def _counts(self, topic: str) -> bool:
        ours = topic.startswith(OURS + self._topics)
        if ours or not topic.startswith(self._topics):
            return False
        return not any(topic == r or topic.startswith(f"{r}/") for r in self._relays)

    def _note(self, address: str, milli: int) -> None:
        self._said.setdefault(address, []).append((self._clock.now().run_ms, milli))


@asynccontextmanager
async def board_senses(
    broker: BrokerWire | None,
    clock: Clock,
    *,
    bench: str,
    wired: bool,
    relays: Collection[str] = (),
    devices: Path = DEVICES,
) -> AsyncIterator[BoardSenses]:
    """Open what measures.

    Raises:
        ConnectionError: The broker is not there.
        WiringError: Its password cannot be read.
    """
    folder = devices if wired else None
    if broker is None:
        yield BoardSenses(clock, None, folder, bench)
        return
    async with patient_peer(Door(broker), "bottomheat-setup-ear", clock) as peer:
        ear = await _listening(peer, clock)
        hearing = asyncio.ensure_future(ear.serve())
        try:
            yield BoardSenses(clock, ear, folder, f"{bench}/", relays, hearing)
        finally:
            hearing.cancel()
            with suppress(asyncio.CancelledError, ConnectionError):
                await hearing


@asynccontextmanager
async def patient_peer(door: Door, name: str, clock: Clock) -> AsyncIterator[Peer]:
    """Connect a peer to a broker that may be about to start.

    Raises:
        ConnectionError: It is not there after PATIENT_MS either.
    """
    until_ms = clock.now().run_ms + PATIENT_MS
    async with AsyncExitStack() as stack:
        peer: Peer | None = None
        while peer is None:
            try:
                peer = await stack.enter_async_context(connected_peer(door, name))
            except ConnectionError:
                if clock.now().run_ms >= until_ms:
                    raise
                await clock.sleep_until(clock.now().run_ms + STEP_MS)
        yield peer


async def _listening(peer: Peer, clock: Clock) -> Ear:
    ear = Ear(peer, clock)
    await ear.listen()
    return ear
