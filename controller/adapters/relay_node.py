"""Relays of this board on MQTT: each obeys a controller by its lease.

What may live here: how commands reach the contacts and news of them the broker.
That a lease ends is not this module's work: see contacts, which need no broker.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable, Mapping

from controller.adapters.contacts import Contacts, Output
from controller.adapters.lasting import connected_for_ever, first_to_end
from controller.adapters.lease import Lease
from controller.adapters.mqtt import Door, LastWill, Peer, connected_peer
from controller.adapters.relay_words import report_payload
from controller.ports import Clock

MOST_NEWS = 100
"""News of a relay that may wait for the broker; the eldest are dropped."""


class RelayError(Exception):
    """A relay cannot be switched any more; the message says which and why."""


class RelayNode:
    """Keeps relays for a controller elsewhere.

    Each has a connection of its own, since a connection has one last will. When
    the broker is lost a contact stays as it is until its lease ends: a hiccup
    shall not wear the relay, and the lease bounds what an outage can do.

    Args:
        outputs: What switches each relay, by the topic of its commands.
        door: How the broker is entered.
        clock: Where time comes from.
        say: Told what happens, in words.
        record: Called at every news of a contact, from any thread; must not wait.
    """

    def __init__(
        self,
        outputs: Mapping[str, Output],
        door: Door,
        clock: Clock,
        say: Callable[[str], None],
        record: Callable[[str, Lease], None] = lambda _topic, _lease: None,
    ) -> None:
        self._door = door
        self._clock = clock
        self._say = say
        self._record = record
        self._news = {topic: deque[Lease](maxlen=MOST_NEWS) for topic in outputs}
        self._told = {topic: asyncio.Event() for topic in outputs}
        self._trouble = asyncio.Event()
        self._reason = ""
        self._loop: asyncio.AbstractEventLoop | None = None
        self._contacts = Contacts(outputs, self._now_ms, self._changed, self._failed)

    async def serve(self) -> None:
        """Keep the relays until cancelled; every one is off then.

        Raises:
            ExceptionGroup: Of a RelayError: a relay could not be switched.
        """
        self._loop = asyncio.get_running_loop()
        self._contacts.start()
        try:
            async with asyncio.TaskGroup() as group:
                for topic in self._news:
                    group.create_task(self._keep(topic))
                await self._trouble.wait()
                raise RelayError(self._reason)
        finally:
            self.drop()

    def drop(self) -> None:
        """Switch every relay off for good, at once."""
        self._contacts.close()

    async def _keep(self, topic: str) -> None:
        # The same name in every run: the connection of a board that was cut off
        # without a word is taken over, so that its last will is said before what
        # is true now, and not after. A broker takes "/" in a name amiss.
        name = "relay-keeper." + topic.replace("/", ".")
        lost = report_payload(energised=False, run="", seq=0, reason="lost")
        will = LastWill(state_topic(topic), lost, kept=True)
        await connected_for_ever(
            lambda: connected_peer(self._door, name, will),
            lambda peer: self._use(peer, topic),
            self._clock,
            lambda why: self._say(f"{topic}: {why}; its lease runs on"),
        )

    async def _use(self, peer: Peer, topic: str) -> None:
        freezes = self._contacts.freezes()
        try:
            await peer.subscribe(topic)
            self._news[topic].clear()
            await _report(peer, topic, self._contacts.lease(topic))
            self._say(f"{topic}: connected to {self._door}")
            await first_to_end(
                self._obey(peer, topic, freezes), self._tell(peer, topic)
            )
        except asyncio.CancelledError:
            # To disconnect in good order takes the last will back: say it here.
            self.drop()
            with contextlib.suppress(ConnectionError):
                await _report(peer, topic, self._contacts.lease(topic))
            raise

    async def _obey(self, peer: Peer, topic: str, freezes: int) -> None:
        async for _, payload, kept in peer.messages():
            # What waited while this program was frozen may be older than a lease:
            # then only "off" counts, and a new connection brings what is new.
            frozen = self._contacts.freezes() != freezes
            self._contacts.obey(topic, payload, retained=kept or frozen)
            if frozen:
                message = "this program was frozen: old commands may have waited"
                raise ConnectionError(message)

    async def _tell(self, peer: Peer, topic: str) -> None:
        news, told = self._news[topic], self._told[topic]
        while True:
            await told.wait()
            told.clear()
            while news:
                await _report(peer, topic, news.popleft())

    # ------------------------------------------------------- from any thread

    def _now_ms(self) -> int:
        return self._clock.now().run_ms

    def _changed(self, topic: str, lease: Lease) -> None:
        self._record(topic, lease)
        self._in_the_loop(lambda: self._hear(topic, lease))

    def _failed(self, topic: str, error: Exception) -> None:
        self._reason = f"the relay of {topic} cannot be switched: {error}"
        self._in_the_loop(self._trouble.set)

    def _in_the_loop(self, work: Callable[[], object]) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: all is over
            if self._loop is not None:
                self._loop.call_soon_threadsafe(work)

    def _hear(self, topic: str, lease: Lease) -> None:
        self._news[topic].append(lease)
        self._told[topic].set()
        self._say(f"{topic}: {'on' if lease.energised else 'off'} ({lease.reason})")


def state_topic(topic: str) -> str:
    """Return where a relay says its state."""
    return f"{topic}/state"


async def _report(peer: Peer, topic: str, lease: Lease) -> None:
    said = report_payload(
        energised=lease.energised, run=lease.run, seq=lease.seq, reason=lease.reason
    )
    await peer.publish(state_topic(topic), said, kept=True)
