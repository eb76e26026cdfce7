"""One relay tried: does it hear, does it drop out, does it say what it does?

Heat is on only where a person said so, and off at the end whatever happens. What
may live here: the trials, on a hand that reaches the relay and a person who sees it.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Protocol

from controller.adapters.ear import Ear, Heard
from controller.adapters.mqtt import Door, LastWill, Peer, connected_peer
from controller.adapters.relay_words import command_payload, parse_report
from controller.cli.live_findings import Finding
from controller.cli.person import Person, yes
from controller.core.plan import RelayKind
from controller.core.scan import RelayReport
from controller.ports import Clock
from controller.wiring import RelayWire

ANSWERS_WITHIN_MS = 3_000
"""Chosen: a relay in the house answers in a tenth of that [ms]."""

LEASE_MS = 5_000
"""Chosen: how long "on" is asked for of a relay that counts [ms]."""

LONGEST_TIMER_S = 300
"""Chosen: a timer that lets a mat heat for longer unasked is of little use, and
nobody waits for its end [s]."""

AGAIN_MS = 5_000
"""How often "on" is said again: as often as a scan does [ms]."""


class Hand(Protocol):
    """What reaches a relay."""

    async def off(self) -> None:
        """Tell it to switch off."""
        ...

    async def on(self) -> None:
        """Tell it to switch on, for LEASE_MS if it counts."""
        ...

    async def reported(self, *, energised: bool, within_ms: int) -> RelayReport | None:
        """Wait until it reports being so, after what was asked last; None: never."""
        ...


class MqttHand:
    """A relay on the broker.

    Args:
        wire: The relay.
        peer: The connection by which it is told.
        ear: Who hears what it says.
        clock: Where time comes from.
        run: What this trial calls itself.
    """

    def __init__(
        self, wire: RelayWire, peer: Peer, ear: Ear, clock: Clock, run: str
    ) -> None:
        self._wire = wire
        self._peer = peer
        self._ear = ear
        self._clock = clock
        self._run = run
        self._seq = 0
        self._since = 0

    async def off(self) -> None:
        """Tell it to switch off."""
        await self._say(energised=False)

    async def on(self) -> None:
        """Tell it to switch on."""
        await self._say(energised=True)

    async def reported(self, *, energised: bool, within_ms: int) -> RelayReport | None:
        """Wait until it reports being so, after what was asked last; None: never."""
        found = await self._ear.until(
            lambda heard: self._is(heard, energised=energised), self._since, within_ms
        )
        if found is None:
            return None
        # What it said before is no answer to the next question.
        self._since = 1 + max(
            n for n, one in enumerate(self._ear.heard) if one is found
        )
        return self._report(found)

    async def _say(self, *, energised: bool) -> None:
        self._seq += 1
        self._since = len(self._ear.heard)
        word = command_payload(
            self._wire,
            energised=energised,
            run=self._run,
            seq=self._seq,
            valid_for_ms=LEASE_MS,
        )
        await self._peer.publish(str(self._wire.topic), word)

    def _is(self, heard: Heard, *, energised: bool) -> bool:
        report = self._report(heard)
        return report is not None and report.energised is energised

    def _report(self, heard: Heard) -> RelayReport | None:
        if heard.topic != self._wire.reports_on or heard.kept:
            return None
        said = parse_report(
            heard.payload, self._wire, self._run, heard.at_ms, retained=False
        )
        return said if isinstance(said, RelayReport) else None


@asynccontextmanager
async def hand_on(
    wire: RelayWire, door: Door, ear: Ear, clock: Clock, run: str
) -> AsyncIterator[MqttHand]:
    """Reach a relay; when we die, the broker tells it to switch off."""
    word = command_payload(
        wire, energised=False, run=run, seq=2**53 - 1, valid_for_ms=0
    )
    will = LastWill(str(wire.topic), word)
    async with connected_peer(door, f"bottomheat-check-{wire.mat}", will) as peer:
        hand = MqttHand(wire, peer, ear, clock, run)
        try:
            yield hand
        finally:
            await hand.off()


@dataclass(frozen=True, slots=True)
class Trial:
    """A relay and who tries it.

    Attributes:
        wire: The relay.
        hand: What reaches it.
        person: Who sees it.
        clock: Where time comes from.
    """

    wire: RelayWire
    hand: Hand
    person: Person
    clock: Clock

    @property
    def at(self) -> str:
        """What findings are about."""
        return f"relay of mat {self.wire.mat}"

    @property
    def reports(self) -> bool:
        """Whether it says its state."""
        return self.wire.reports_on is not None


async def tried_cold(trial: Trial) -> list[Finding]:
    """Tell a relay to switch off, and hear whether it does."""
    await trial.hand.off()
    if not trial.reports:
        return [
            Finding(
                trial.at,
                "reports nothing: whether it obeys cannot be known",
                "Let it publish its state, and write reports_on",
            )
        ]
    if await trial.hand.reported(energised=False, within_ms=ANSWERS_WITHIN_MS):
        return []
    return [
        Finding(
            trial.at,
            f'was told "off" and said nothing on {trial.wire.reports_on}',
            "Is it powered, do its topics agree, may it publish there? One that says"
            " its state only when that changes shows itself with --with-heat",
        )
    ]


async def tried_warm(trial: Trial) -> list[Finding]:
    """Switch a relay on, briefly, and see it drop out by itself; off at the end."""
    try:
        if trial.wire.kind is RelayKind.LEASE:
            return await _lease(trial)
        return await _timer(trial)
    finally:
        await trial.hand.off()


async def _lease(trial: Trial) -> list[Finding]:
    await trial.hand.off()  # by its own "off" a new run is taken up
    await trial.hand.on()
    if not await _is(trial, energised=True, within_ms=ANSWERS_WITHIN_MS):
        return [_deaf(trial)]
    # Nobody says anything now: it must drop out by its own clock.
    if await _is(trial, energised=False, within_ms=LEASE_MS + ANSWERS_WITHIN_MS):
        return []
    return [
        Finding(
            trial.at,
            f'stayed on though its "on" had ended {ANSWERS_WITHIN_MS / 1000:g} s ago',
            "DO NOT USE IT as a lease relay: lease = true is for one that counts",
        )
    ]


async def _timer(trial: Trial) -> list[Finding]:
    timer_s = await _timer_s(trial)
    if timer_s is None:
        return [
            Finding(
                trial.at,
                "has no auto-off timer of its own that was told of",
                "Set one of a few minutes on its own page, or use a relay with leases:"
                " else it stays on when nobody can speak to it any more",
            )
        ]
    if timer_s > LONGEST_TIMER_S:
        found = f"its auto-off timer is {timer_s} s long, so it was not tried"
        return [Finding(trial.at, found, f"Set it to {LONGEST_TIMER_S} s or less")]
    await trial.hand.on()
    if not await _is(trial, energised=True, within_ms=ANSWERS_WITHIN_MS):
        return [_deaf(trial)]
    return [*await _repeated(trial, timer_s), *await _alone(trial, timer_s)]


async def _repeated(trial: Trial, timer_s: int) -> list[Finding]:
    """Say "on" again and again, for longer than the timer takes."""
    end_ms = trial.clock.now().run_ms + round(1200 * timer_s) + AGAIN_MS
    trial.person.tell(f'  saying "on" again and again for {round(1.2 * timer_s)} s')
    while trial.clock.now().run_ms < end_ms:
        await trial.hand.on()
        dropped = trial.reports and await trial.hand.reported(
            energised=False, within_ms=AGAIN_MS
        )
        if not trial.reports:
            now_ms = trial.clock.now().run_ms
            await trial.clock.sleep_until(now_ms + AGAIN_MS)
        if dropped:
            return [_not_restarted(trial, timer_s)]
    still = trial.reports or await yes(trial.person, "Is it still on?")
    return [] if still else [_not_restarted(trial, timer_s)]


async def _alone(trial: Trial, timer_s: int) -> list[Finding]:
    """Say nothing more: it must switch off by its own timer."""
    await trial.hand.on()
    trial.person.tell(f"  saying nothing for {round(1.2 * timer_s)} s")
    within_ms = round(1200 * timer_s) + ANSWERS_WITHIN_MS
    if await _is(trial, energised=False, within_ms=within_ms):
        return []
    return [
        Finding(
            trial.at,
            f"was still on {round(1.2 * timer_s)} s after the last word, and its timer"
            f" shall be {timer_s} s",
            "Look at its timer: it must switch off by itself, whoever switched it on",
        )
    ]


async def _timer_s(trial: Trial) -> int | None:
    question = (
        f"{trial.at}: after how many seconds does its own timer switch it off? (0: it"
        " has none)"
    )
    answer = await trial.person.ask(question, "0")
    return int(answer) if answer.isdecimal() and int(answer) > 0 else None


async def _is(trial: Trial, *, energised: bool, within_ms: int) -> bool:
    """Hear it from the relay, or else from the person."""
    if trial.reports:
        report = await trial.hand.reported(energised=energised, within_ms=within_ms)
        return report is not None
    if not energised:
        now_ms = trial.clock.now().run_ms
        await trial.clock.sleep_until(now_ms + within_ms)
    state = "on" if energised else "off"
    return await yes(trial.person, f"{trial.at}: is it {state} now?") is True


def _deaf(trial: Trial) -> Finding:
    return Finding(
        trial.at,
        'was told "on" and was not seen to be on',
        "Is it powered, do topics and words agree, may it hear the topic?",
    )


def _not_restarted(trial: Trial, timer_s: int) -> Finding:
    return Finding(
        trial.at,
        f'switches off after {timer_s} s though "on" is said again: its timer is not'
        " started anew by that",
        "It is safe, but heat will have gaps: set the timer a little longer than the"
        " mat's longest time on, or use a relay with leases",
    )


async def asked_of_power(trial: Trial) -> list[Finding]:
    """Ask the person what the relay does when its power comes back."""
    question = (
        f"{trial.at}: with the mat unplugged from it, switch it on by hand, pull its"
        " plug and put it back. Does it stay off? (s: not now)"
    )
    answer = await yes(trial.person, question, "s")
    if answer:
        return []
    found = "comes back on after a power cut" if answer is False else "was not tried"
    return [
        Finding(
            trial.at,
            f"after a power cut: {found}",
            "Set its own page to stay off when power comes back"
            if answer is False
            else "Try it once: pull its plug while it is on, put it back",
        )
    ]
