"""The bench on MQTT: readings and reports in, commands out.

The only module that knows aiomqtt. Each attempt to connect makes a new Client:
one that is used again would deliver, after an outage, the "on" that failed
before it. Commands are QoS 0, never kept by the broker, and dropped while there
is no connection: a late "on" is worse than none.
"""

import asyncio
import contextlib
import socket
import ssl
from collections import deque
from collections.abc import (
    AsyncIterator,
    Coroutine,
    Iterator,
    Sequence,
)
from dataclasses import dataclass
from pathlib import Path

import aiomqtt

from controller.adapters.lasting import (
    LONGEST_WAIT_MS,
    SHORTEST_WAIT_MS,
    first_to_end,
    pause,
)
from controller.adapters.payloads import parse
from controller.adapters.presence import Presence
from controller.adapters.relay_words import (
    command_payload,
    parse_power,
    parse_report,
)
from controller.core.decisions import Command
from controller.core.scan import (
    PowerReport,
    Quality,
    Reading,
    Refusal,
    RelayReport,
)
from controller.core.units import Millis
from controller.ports import Arrivals, Clock
from controller.wiring import BrokerWire, ProbeWire, RelayWire, Wiring

INBOX = 1_000
"""Messages that may wait for a scan; more are counted and dropped."""

KEEPALIVE_S = 10
PEER_KEEPALIVE_S = 5
"""Of those whose last will matters: a broker declares a client that hangs dead
after one and a half to about two and a half times this."""

TIMEOUT_S = 3.0
SEND_WITHIN_S = 1.0
HEARTBEAT_MS = 5_000
"""A message that the broker must acknowledge goes out this often: to write into
a dead connection seems to succeed for long."""


NOWHERE = "bottomheat/nowhere"
"""A topic that nobody subscribes to."""


class WiringError(Exception):
    """A file for the connection is of no use; the message names it."""


class MqttLink:
    """Implements ports.ScanSource and ports.Relay for what is on the broker.

    Args:
        wiring: Topics, formats and the broker's address.
        clock: The bench's clock.
        run: Identity of the run, for lease commands.
        valid_for_ms: How long an "on" command holds [ms].
        listen_first_s: How long another controller of this bench has to speak
            up on the first connection, before anything is said to a relay [s].

    Raises:
        WiringError: The password or the certificates cannot be read.
    """

    def __init__(
        self,
        wiring: Wiring,
        clock: Clock,
        *,
        run: str,
        valid_for_ms: int,
        listen_first_s: float = 0.0,
    ) -> None:
        self._wiring = wiring
        self._clock = clock
        self._run = run
        self._valid_for_ms = valid_for_ms
        self._door = Door(wiring.broker)
        self._presence = Presence(wiring.bench, run, clock)
        self._listen_first_s = listen_first_s
        self._probes: dict[str, list[ProbeWire]] = {}
        for wire in wiring.probes:
            if wire.topic is not None:
                self._probes.setdefault(wire.topic, []).append(wire)
        self._relays = {w.mat: w for w in wiring.relays if w.topic is not None}
        self._reports = {w.reports_on: w for w in wiring.relays if w.reports_on}
        self._meters = {w.power_on: w for w in wiring.relays if w.power_on}
        self._client: aiomqtt.Client | None = None
        self._heard: set[str] = set()
        self._inbox: deque[_Arrived] = deque()
        self._dropped = 0
        self._status: dict[str, str] = {}
        self._unsaid: dict[str, None] = {}
        self._to_say = asyncio.Event()

    # ------------------------------------------------------------ ScanSource

    def take(self) -> Arrivals:
        """Return what has arrived and forget it."""
        arrived, self._inbox = self._inbox, deque()
        refusals = [a for a in arrived if isinstance(a, Refusal)]
        if self._dropped:
            now_ms = Millis(self._clock.now().run_ms)
            reason = f"{self._dropped} messages dropped: more than {INBOX} waited"
            refusals.append(Refusal("inbox", now_ms, reason))
            self._dropped = 0
        return Arrivals(
            tuple(a for a in arrived if isinstance(a, Reading)),
            tuple(refusals),
            tuple(a for a in arrived if isinstance(a, RelayReport)),
            tuple(a for a in arrived if isinstance(a, PowerReport)),
        )

    def link_up(self) -> bool:
        """Whether the broker acknowledged something lately."""
        return self._client is not None

    async def serve(self) -> None:
        """Connect, listen, and connect again, for ever; say goodbye at the end."""
        wait_ms = SHORTEST_WAIT_MS
        while True:
            connected = False
            with contextlib.suppress(aiomqtt.MqttError):
                async with self._connected() as client:
                    connected = True
                    await self._listen(client)
            wait_ms = (
                SHORTEST_WAIT_MS if connected else min(2 * wait_ms, LONGEST_WAIT_MS)
            )
            await pause(self._clock, wait_ms)

    # ----------------------------------------------------------------- Relay

    async def send(self, commands: Sequence[Command], seq: int) -> None:
        """Send the commands of mats whose relay is here; drop them if cut off."""
        for command in commands:
            wire = self._relays.get(command.mat)
            client = self._client
            if wire is None or wire.topic is None or client is None:
                continue
            payload = self._payload(wire, energised=command.energised, seq=seq)
            with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
                await _in_full(
                    client.publish(wire.topic, payload, timeout=SEND_WITHIN_S)
                )

    def publish_status(self, end: str, payload: str) -> None:
        """Keep something on the broker under bottomheat/<bench>/, newest wins."""
        self._status[end] = payload
        self._unsaid[end] = None
        self._to_say.set()

    async def publish_notice(self, payload: str) -> None:
        """Publish a message to people, and wait until the broker has it.

        Raises:
            ConnectionError: It could not be handed over now.
        """
        client = self._client
        if client is None:
            raise ConnectionError("there is no connection to it")
        await _hand_over(client, self._topic("notice"), payload)

    # ------------------------------------------------------------- connection

    def _payload(self, wire: RelayWire, *, energised: bool, seq: int) -> str:
        return command_payload(
            wire,
            energised=energised,
            run=self._run,
            seq=seq,
            valid_for_ms=self._valid_for_ms,
        )

    def _topic(self, end: str) -> str:
        return f"bottomheat/{self._wiring.bench}/{end}"

    @contextlib.asynccontextmanager
    async def _connected(self) -> AsyncIterator[aiomqtt.Client]:
        name = f"bottomheat-{self._wiring.bench}-{self._run}"
        will = LastWill(self._topic("alive"), "false", kept=True)
        async with self._door.entered(name, will) as client:
            await self._look_around(client)
            try:
                await self._greet(client)
                self._client = client
                yield client
            except aiomqtt.MqttError:
                raise  # the broker is lost: nothing can be said, and the will fires
            except BaseException:
                # Told to stop, or broken: to disconnect in good order is to take
                # the last will back, so "off" must be said here.
                self._client = None  # first: no "on" may follow the last "off"
                await self._say_goodbye(client)
                raise
            finally:
                self._client = None

    async def _look_around(self, client: aiomqtt.Client) -> None:
        """Ask who else keeps this bench; on the first connection, wait a little.

        A younger controller ends here, before its "off" has disturbed anybody.
        """
        topic = self._topic("controller")
        await _in_full(client.subscribe(topic, qos=1, timeout=TIMEOUT_S))
        await self._say_present(client)
        wait_s, self._listen_first_s = self._listen_first_s, 0.0
        if not wait_s:
            return
        reading = asyncio.ensure_future(self._read(client))
        try:
            await asyncio.wait({reading}, timeout=wait_s)
        finally:
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)
        if not reading.cancelled():
            reading.result()

    async def _say_present(
        self, client: aiomqtt.Client, word: str | None = None
    ) -> None:
        """Say that we keep this bench; never retained: it is true only now."""
        topic, payload = self._topic("controller"), word or self._presence.word()
        await _in_full(client.publish(topic, payload, timeout=TIMEOUT_S))

    async def _greet(self, client: aiomqtt.Client) -> None:
        """Subscribe, and say that we are alive."""
        self._heard.clear()
        for topic in [*self._probes, *self._reports, *self._meters]:
            await _in_full(client.subscribe(topic, qos=1, timeout=TIMEOUT_S))
        await self._heartbeat(client)
        self._unsaid = dict.fromkeys(self._status)
        self._to_say.set()

    async def _say_goodbye(self, client: aiomqtt.Client) -> None:
        """Switch every relay off, then say that we are gone."""
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
            for wire in self._relays.values():
                payload = self._payload(wire, energised=False, seq=2**53 - 1)
                await _in_full(
                    client.publish(str(wire.topic), payload, timeout=SEND_WITHIN_S)
                )
            await _in_full(
                client.publish(
                    self._topic("alive"), "false", 1, retain=True, timeout=SEND_WITHIN_S
                )
            )

    async def _heartbeat(self, client: aiomqtt.Client) -> None:
        topic = self._topic("alive")
        await _in_full(client.publish(topic, "true", 1, retain=True, timeout=TIMEOUT_S))
        await self._say_present(client)

    async def _listen(self, client: aiomqtt.Client) -> None:
        """Run the parts of a connection until one of them loses it."""
        await first_to_end(self._read(client), self._beat(client), self._say(client))

    async def _read(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            topic, payload = str(message.topic), message.payload
            if topic == self._topic("controller"):
                answer = self._presence.heard(payload, retained=message.retain)
                if answer is not None:
                    await self._say_present(client, answer)
            else:
                self._arrived(topic, payload, retained=message.retain)
            if len(client.messages) >= INBOX:
                self._dropped += 1  # at least: the client drops what comes now

    async def _beat(self, client: aiomqtt.Client) -> None:
        while True:
            await self._clock.sleep_until(self._clock.now().run_ms + HEARTBEAT_MS)
            await self._heartbeat(client)

    async def _say(self, client: aiomqtt.Client) -> None:
        while True:
            await self._to_say.wait()
            self._to_say.clear()
            while self._unsaid:
                end = next(iter(self._unsaid))
                del self._unsaid[end]
                await _in_full(
                    client.publish(
                        self._topic(end),
                        self._status[end],
                        1,
                        retain=True,
                        timeout=TIMEOUT_S,
                    )
                )
                if end not in self._unsaid and not self._status[end]:
                    del self._status[end]

    # --------------------------------------------------------------- messages

    def _arrived(self, topic: str, payload: bytes, *, retained: bool) -> None:
        now = self._clock.now()
        for wire in self._probes.get(topic, ()):
            found = parse(payload, wire, now, retained=retained)
            if isinstance(found, Reading):
                found = self._first_is_uncertain(found, retained=retained)
            self._put(found)
        relay = self._reports.get(topic)
        if relay is not None:
            self._put(
                parse_report(payload, relay, self._run, now.run_ms, retained=retained)
            )
        meter = self._meters.get(topic)
        if meter is not None and not retained:  # power of some other time is no news
            self._put(parse_power(payload, meter, now.run_ms))

    def _first_is_uncertain(self, reading: Reading, *, retained: bool) -> Reading:
        """Doubt a probe's first live reading after each connect.

        It may have waited anywhere on its way while the link was down.
        """
        if retained or reading.probe in self._heard:
            return reading
        self._heard.add(reading.probe)
        note = "; ".join(filter(None, [reading.note, "first after reconnect"]))
        return Reading(
            reading.probe, reading.at_ms, reading.milli, Quality.UNCERTAIN, note
        )

    def _put(self, arrived: "_Arrived") -> None:
        if len(self._inbox) < INBOX:
            self._inbox.append(arrived)
        else:
            self._dropped += 1


_Arrived = Reading | Refusal | RelayReport | PowerReport


async def publish_notice_once(wiring: Wiring, payload: str) -> None:
    """Publish a message to people over a connection of its own.

    Raises:
        ConnectionError: The broker cannot be reached, or did not take it.
        WiringError: The password or the certificates cannot be read.
    """
    if wiring.broker.embedded:
        raise ConnectionError("it is embedded, and there only while the daemon runs")
    name = f"bottomheat-{wiring.bench}-notice"
    try:
        async with Door(wiring.broker).entered(name) as client:
            await _hand_over(client, f"bottomheat/{wiring.bench}/notice", payload)
    except aiomqtt.MqttError as error:
        raise ConnectionError(str(error)) from None


async def _hand_over(client: aiomqtt.Client, topic: str, payload: str) -> None:
    """Publish what is not kept, and wait for the broker's acknowledgement."""
    try:
        await _in_full(client.publish(topic, payload, 1, timeout=TIMEOUT_S))
    except (aiomqtt.MqttError, TimeoutError) as error:
        raise ConnectionError(str(error) or "it did not answer in time") from None


async def _in_full(work: Coroutine[object, object, object]) -> None:
    """Wait for a call of the library, and let no cancellation be lost in it.

    The library waits by asyncio.wait_for, which before Python 3.12 takes a
    cancellation for done when its work ends in the same moment: a daemon told
    to stop while it sends a command would go on for ever.
    """
    task = asyncio.ensure_future(work)
    try:
        await asyncio.wait({task})
    except asyncio.CancelledError:
        task.cancel()
        raise
    task.result()


@dataclass(frozen=True, slots=True)
class LastWill:
    """What the broker says in a client's name when it has lost it.

    Attributes:
        topic: Where.
        payload: What.
        kept: Whether the broker keeps it for those who come later.
    """

    topic: str
    payload: str
    kept: bool = False


class Door:
    """How a broker is entered; password and certificates are read once.

    Args:
        broker: Its address.
        keepalive_s: How long either side may be silent [s].

    Raises:
        WiringError: The password or the certificates cannot be read.
    """

    def __init__(self, broker: BrokerWire, keepalive_s: int = KEEPALIVE_S) -> None:
        self._broker = broker
        self._keepalive_s = keepalive_s
        self._password = _password(broker.password_file)
        self._tls = _tls(broker.ca_file) if broker.tls else None

    def __str__(self) -> str:
        return f"the broker at {self._broker.host}:{self._broker.port}"

    @contextlib.asynccontextmanager
    async def entered(
        self, name: str, will: LastWill | None = None
    ) -> AsyncIterator[aiomqtt.Client]:
        """Connect a new client of a name and, at the end, disconnect it."""
        last = None if will is None else _as_will(will)
        client = aiomqtt.Client(
            self._broker.host,
            self._broker.port,
            identifier=name,
            username=self._broker.username,
            password=self._password,
            tls_context=self._tls,
            will=last,
            keepalive=self._keepalive_s,
            timeout=TIMEOUT_S,
            max_queued_incoming_messages=INBOX,
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        )
        await _in_full(client.__aenter__())
        try:
            # A loss in the moment of the acceptance is forgotten by the library:
            # who only listens would wait for ever on what is gone. So the broker
            # is asked for one answer; it owes it for any topic (MQTT 3.1.1, 3.10.4).
            await _in_full(client.unsubscribe(NOWHERE, timeout=TIMEOUT_S))
            yield client
        finally:
            # Who cannot say goodbye is gone as well; and an error here would
            # stand in the place of a cancellation, which must not be lost.
            with contextlib.suppress(aiomqtt.MqttError):
                await _in_full(client.__aexit__(None, None, None))


def _as_will(will: LastWill) -> aiomqtt.Will:
    return aiomqtt.Will(will.topic, will.payload, qos=1, retain=will.kept)


def _password(path: Path | None) -> str | None:
    if path is None:
        return None
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        message = f"broker password_file {path}: cannot be read: {error}"
        raise WiringError(message) from error
    if not lines or not lines[0]:
        message = (
            f"broker password_file {path}: is empty: its first line is the password"
        )
        raise WiringError(message)
    return lines[0]


def _tls(ca_file: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(
            cafile=None if ca_file is None else str(ca_file)
        )
    except (OSError, ssl.SSLError) as error:
        message = f"broker ca_file {ca_file}: no certificates to trust: {error}"
        raise WiringError(message) from error


class Peer:
    """Somebody else on the broker: a relay node, or the simulated bench.

    Each of its calls raises ConnectionError when the broker is lost.
    """

    def __init__(self, client: aiomqtt.Client, door: Door) -> None:
        self._client = client
        self._door = door

    async def subscribe(self, topic: str) -> None:
        """Listen to a topic."""
        with _lost(self._door):
            await _in_full(self._client.subscribe(topic, qos=1, timeout=TIMEOUT_S))

    async def publish(
        self, topic: str, payload: str, *, kept: bool = False, sure: bool = False
    ) -> None:
        """Publish; what is kept or must be sure is acknowledged, the rest is not."""
        qos = 1 if kept or sure else 0
        with _lost(self._door):
            await _in_full(
                self._client.publish(
                    topic, payload, qos, retain=kept, timeout=TIMEOUT_S
                )
            )

    async def messages(self) -> AsyncIterator[tuple[str, bytes, bool]]:
        """Yield topic, payload and whether the broker had kept it."""
        with _lost(self._door):
            async for message in self._client.messages:
                yield str(message.topic), message.payload, message.retain

    async def until_lost(self) -> None:
        """Wait until the connection is lost, and raise that."""
        async for _ in self.messages():
            pass


@contextlib.contextmanager
def _lost(door: Door) -> Iterator[None]:
    try:
        yield
    except aiomqtt.MqttError as error:
        message = f"{door} was lost: {error}"
        raise ConnectionError(message) from error


@contextlib.asynccontextmanager
async def connected_peer(
    door: Door, name: str, will: LastWill | None = None
) -> AsyncIterator[Peer]:
    """Connect a peer; raise ConnectionError when the broker is not there."""
    with _lost(door):
        async with door.entered(name, will) as client:
            yield Peer(client, door)
