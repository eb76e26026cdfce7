"""`check --live`: the bench itself met, probe by probe and relay by relay."""

import asyncio
import json
import socket
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from controller.adapters import one_wire
from controller.adapters.board import board_facts
from controller.adapters.ear import Ear, Heard
from controller.adapters.mqtt import Door, WiringError, connected_peer
from controller.adapters.payloads import parse
from controller.adapters.relay_words import command_payload
from controller.cli.live_findings import (
    BrokerHeard,
    Finding,
    ProbeHeard,
    board_findings,
    broker_findings,
    probe_findings,
)
from controller.cli.person import Person, yes
from controller.cli.relay_trial import (
    ANSWERS_WITHIN_MS,
    Trial,
    asked_of_power,
    hand_on,
    tried_cold,
    tried_warm,
)
from controller.core.plan import RelayKind, all_probes
from controller.core.scan import Quality, Reading, Refusal
from controller.core.units import Millis
from controller.ports import Clock
from controller.wiring import BrokerWire, ProbeWire, RelayWire

if TYPE_CHECKING:
    from controller.adapters.settings import Settings

SHORTEST_MS, LONGEST_MS = 20_000, 180_000
"""How long is listened unless said otherwise [ms]."""

STRANGER_WITHIN_MS = 1_500
PRESENCE_MS = 6_000
"""A controller speaks every five seconds [ms]."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """How the bench shall be met.

    Attributes:
        listen_ms: How long to listen [ms]; None: as long as the probes need.
        with_heat: Whether relays may be switched on.
        reaches_out: Whether others in the network can reach a broker.
    """

    listen_ms: int | None = None
    with_heat: bool = False
    reaches_out: "Callable[[BrokerWire], bool] | None" = None


@dataclass(slots=True)
class Met:
    """What came of it.

    Attributes:
        findings: What to see to.
        probes: What came of each probe.
        tried: What was tried and is well, in words.
        listened_ms: How long was listened [ms].
    """

    findings: list[Finding] = field(default_factory=list)
    probes: list[ProbeHeard] = field(default_factory=list)
    tried: list[str] = field(default_factory=list)
    listened_ms: int = 0


async def met(
    settings: "Settings", clock: Clock, person: Person, wishes: Wishes
) -> Met:
    """Meet the bench of a configuration.

    Raises:
        WiringError: The password or the certificates cannot be read.
    """
    found = Met()
    nights = any(s.night_mc for m in settings.plan.mats for s in m.programme)
    folder = settings.log.path.resolve().parent
    facts = board_facts(folder, clock_ok=clock.now().clock_ok)
    found.findings += board_findings(facts, nights=nights)
    found.listened_ms = wishes.listen_ms or _long_enough(settings)
    try:
        async with _ear(settings, clock) as ear:
            await _met_on_broker(settings, clock, person, wishes, found, ear)
    except ConnectionError as error:
        mend = "Is it running, and are name and password right? Nothing else was tried"
        found.findings.append(Finding("broker", str(error), mend))
    return found


def _long_enough(settings: "Settings") -> int:
    every = [probe.every_ms for probe in all_probes(settings.plan)]
    return min(max(round(2.3 * max(every, default=0)), SHORTEST_MS), LONGEST_MS)


@asynccontextmanager
async def _ear(settings: "Settings", clock: Clock) -> AsyncIterator[Ear]:
    broker = settings.wiring.broker
    if broker.embedded:
        raise ConnectionError("it is embedded, and there only while the daemon runs")
    name = f"bottomheat-{settings.plan.bench}-check"
    async with connected_peer(Door(broker), name) as peer:
        ear = Ear(peer, clock)
        wiring = settings.wiring
        topics = [w.topic for w in wiring.probes if w.topic]
        topics += [w.reports_on for w in wiring.relays if w.reports_on]
        await ear.listen(*topics)
        listening = asyncio.ensure_future(ear.serve())
        try:
            yield ear
        finally:
            listening.cancel()
            with suppress(asyncio.CancelledError, ConnectionError):
                await listening


async def _met_on_broker(
    settings: "Settings",
    clock: Clock,
    person: Person,
    wishes: Wishes,
    found: Met,
    ear: Ear,
) -> None:
    person.tell(f"Listening for {found.listened_ms / 1000:.0f} s …")
    until_ms = clock.now().run_ms + found.listened_ms
    here = [w for w in settings.wiring.probes if w.one_wire]
    measured = [await _measured_here(settings, clock, wire) for wire in here]
    await clock.sleep_until(until_ms)
    spoke = [_of_wire(settings, clock, w, ear.heard) for w in settings.wiring.probes]
    found.probes = [one for one in spoke if one is not None] + measured
    topics = sorted({heard.topic for heard in ear.heard})
    found.findings += probe_findings(
        settings.plan, found.probes, found.listened_ms, topics
    )
    other = await _other_run(settings, clock, ear)
    broker = await _broker(settings, wishes, ear, other)
    kept_on = tuple(_kept_on(settings.wiring.relays, ear.heard))
    found.findings += broker_findings(replace(broker, kept_on=kept_on))
    if other is None:
        await _relays(settings, clock, person, wishes, found, ear)


# -------------------------------------------------------------------- probes


def _of_wire(
    settings: "Settings", clock: Clock, wire: ProbeWire, heard: Sequence[Heard]
) -> ProbeHeard | None:
    if wire.topic is None:
        return None
    plan = next(p for p in all_probes(settings.plan) if p.name == wire.probe)
    mine = [one for one in heard if one.topic == wire.topic]
    now = clock.now()
    said: list[Reading | Refusal] = []
    for one in mine:
        since_ms = now.run_ms - one.at_ms
        then = replace(now, run_ms=one.at_ms, utc_ms=now.utc_ms - since_ms)
        said.append(parse(one.payload, wire, then, retained=one.kept))
    return ProbeHeard(
        plan,
        wire.topic,
        tuple(r for r in said if isinstance(r, Reading)),
        tuple(r for r in said if isinstance(r, Refusal)),
        tuple(one.at_ms for one in mine if not one.kept),
    )


async def _measured_here(
    settings: "Settings", clock: Clock, wire: ProbeWire
) -> ProbeHeard:
    """Read a probe of this board; the daemon reads it as often as it likes."""
    plan = next(p for p in all_probes(settings.plan) if p.name == wire.probe)
    address, at_ms = str(wire.one_wire), Millis(clock.now().run_ms)
    try:
        milli = await one_wire.measured(address)
    except ValueError as error:
        return ProbeHeard(
            plan, address, (), (Refusal(plan.name, at_ms, str(error)),), ()
        )
    reading = Reading(plan.name, at_ms, milli, Quality.GOOD)
    # Two moments at its own pace: how often it is read is ours to say.
    return ProbeHeard(plan, address, (reading,), (), (at_ms, at_ms + plan.every_ms))


# -------------------------------------------------------------------- broker


async def _other_run(settings: "Settings", clock: Clock, ear: Ear) -> str | None:
    """Return the run of a controller that keeps this bench now."""
    topic = f"bottomheat/{settings.plan.bench}/controller"
    now_ms = clock.now().run_ms
    since = next(
        (n for n, one in enumerate(ear.heard) if one.at_ms > now_ms - PRESENCE_MS),
        len(ear.heard),
    )
    heard = await ear.until(lambda one: one.topic == topic, since, PRESENCE_MS)
    if heard is None:
        return None
    with suppress(ValueError, AttributeError):
        return str(json.loads(heard.payload).get("run"))
    return "unknown"


async def _broker(
    settings: "Settings", wishes: Wishes, ear: Ear, other: str | None
) -> BrokerHeard:
    broker = settings.wiring.broker
    reaches = (wishes.reaches_out or reaches_out)(broker)
    relays = [wire for wire in settings.wiring.relays if wire.topic]
    if broker.username is None:  # then we are such a stranger ourselves
        names = tuple(wire.mat for wire in relays)
        return BrokerHeard(reaches, lets_in=True, obeyed=names, other_run=other)
    try:
        door = Door(replace(broker, username=None, password_file=None))
        async with connected_peer(door, "bottomheat-check-stranger") as peer:
            obeyed = []
            for wire in relays if other is None else ():
                word, since = _strangers_off(wire), len(ear.heard)
                await peer.publish(str(wire.topic), word)
                if await ear.until(_is(wire, word), since, STRANGER_WITHIN_MS):
                    obeyed.append(wire.mat)
            return BrokerHeard(reaches, True, tuple(obeyed), other)  # noqa: FBT003
    except (ConnectionError, WiringError):
        return BrokerHeard(reaches, False, (), other)  # noqa: FBT003


def _kept_on(
    relays: Sequence[RelayWire], heard: Sequence[Heard]
) -> Iterator[tuple[str, str]]:
    """Yield mat and topic of relays for which the broker keeps more than an "off"."""
    for wire in relays:
        kept = [one.payload for one in heard if one.kept and one.topic == wire.topic]
        if kept and not _says_off(wire, kept[-1]):
            yield wire.mat, str(wire.topic)


def _says_off(wire: RelayWire, payload: bytes) -> bool:
    if wire.kind is not RelayKind.LEASE:
        return payload == wire.off_word.encode()
    with suppress(ValueError, AttributeError):
        return json.loads(payload).get("energised") is False
    return False


def _strangers_off(wire: RelayWire) -> str:
    """Return an "off", the only thing that a stranger is made to say here."""
    run = "check-stranger"
    return command_payload(wire, energised=False, run=run, seq=1, valid_for_ms=0)


def _is(wire: RelayWire, word: str) -> Callable[[Heard], bool]:
    return lambda one: (one.topic, one.payload) == (wire.topic, word.encode())


def reaches_out(broker: BrokerWire) -> bool:
    """Whether others in the network can reach a broker: it listens to them, too."""
    if broker.host not in {"127.0.0.1", "localhost", "::1"}:
        return True
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        # An address that nobody has (RFC 5737): no packet is sent, it only tells
        # which of our own addresses would be used.
        out.connect(("192.0.2.1", 9))
        own = out.getsockname()[0]
        with socket.create_connection((own, broker.port), 1):
            return True
    return False


# -------------------------------------------------------------------- relays


async def _relays(
    settings: "Settings",
    clock: Clock,
    person: Person,
    wishes: Wishes,
    found: Met,
    ear: Ear,
) -> None:
    door = Door(settings.wiring.broker)
    run = f"check-{clock.now().utc_ms:x}"
    for wire in settings.wiring.relays:
        if wire.kind is RelayKind.PIN:
            found.tried.append(f"relay of mat {wire.mat}: a pin; try it with a look")
            continue
        async with hand_on(wire, door, ear, clock, run) as hand:
            trial = Trial(wire, hand, person, clock)
            before = len(found.findings)
            found.findings += await _tried(trial, wishes)
            if len(found.findings) == before:
                found.tried.append(_well(trial, wishes))


async def _tried(trial: Trial, wishes: Wishes) -> list[Finding]:
    if not wishes.with_heat:
        return await tried_cold(trial)
    question = (
        f"{trial.at}: may heat be on for a moment? Somebody must stand at the bench,"
        " nothing may lie on the mat that must not get warm"
    )
    if await yes(trial.person, question) is not True:
        return [
            *await tried_cold(trial),
            Finding(
                trial.at, "was not tried with heat", "Say yes when you stand there"
            ),
        ]
    return [*await tried_warm(trial), *await asked_of_power(trial)]


def _well(trial: Trial, wishes: Wishes) -> str:
    if not wishes.with_heat:
        return f"{trial.at}: says that it is off within {ANSWERS_WITHIN_MS // 1000} s"
    by_itself = "its lease" if trial.wire.kind is RelayKind.LEASE else "its own timer"
    return f"{trial.at}: on when told, off by {by_itself}, off after a power cut"
