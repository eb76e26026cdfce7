"""Trials of relays in virtual time: good ones, and each way of being bad."""

from dataclasses import dataclass

import pytest

from controller.cli.relay_trial import (
    LEASE_MS,
    Trial,
    asked_of_power,
    tried_cold,
    tried_warm,
)
from controller.core.plan import RelayKind
from controller.core.scan import RelayReport
from controller.wiring import RelayWire
from tests.cli.people import JumpingClock, Scripted

LEASE = RelayWire(
    mat="north", kind=RelayKind.LEASE, topic="t/r", reports_on="t/r/state"
)
PLAIN = RelayWire(
    mat="north", kind=RelayKind.PLAIN, topic="t/r", reports_on="t/r/state"
)
SILENT = RelayWire(mat="north", kind=RelayKind.PLAIN, topic="t/r")


@dataclass
class Relay:
    """A relay that drops out by itself, or does not, and tells, or does not.

    Attributes:
        clock: Its time.
        after_ms: When it drops out after an "on"; None: never.
        anew: Whether a repeated "on" starts that anew.
        deaf: It hears nothing.
    """

    clock: JumpingClock
    after_ms: int | None = LEASE_MS
    anew: bool = True
    deaf: bool = False
    since_ms: int | None = None
    mute: bool = False

    def is_on(self) -> bool:
        if self.since_ms is None:
            return False
        gone_ms = self.clock.now().run_ms - self.since_ms
        if self.after_ms is not None and gone_ms >= self.after_ms:
            self.since_ms = None
        return self.since_ms is not None

    async def off(self) -> None:
        if not self.deaf:
            self.since_ms = None

    async def on(self) -> None:
        if self.deaf or (self.is_on() and not self.anew):
            return
        self.since_ms = self.clock.now().run_ms

    async def reported(self, *, energised: bool, within_ms: int) -> RelayReport | None:
        until_ms = self.clock.now().run_ms + within_ms
        while self.is_on() is not energised:
            if self.clock.now().run_ms >= until_ms:
                return None
            await self.clock.sleep_until(self.clock.now().run_ms + 100)
        if self.mute:
            return None
        return RelayReport("north", 0, energised, None, "", False)


def trial(wire: RelayWire, *answers: tuple[str, str], **relay) -> Trial:
    clock = JumpingClock()
    return Trial(wire, Relay(clock, **relay), Scripted(*answers), clock)


async def test_a_relay_that_honours_its_lease_is_well_and_off():
    tried = trial(LEASE)
    assert await tried_warm(tried) == []
    assert not tried.hand.is_on()


@pytest.mark.parametrize("after_ms", [None, 3 * LEASE_MS])
async def test_a_lease_that_does_not_end_is_found_and_ended(after_ms):
    tried = trial(LEASE, after_ms=after_ms)
    (finding,) = await tried_warm(tried)
    assert "stayed on" in finding.found
    assert "DO NOT USE IT" in finding.mend
    assert not tried.hand.is_on()


@pytest.mark.parametrize("wire", [LEASE, PLAIN])
async def test_a_relay_that_hears_nothing_is_found(wire):
    (finding,) = await tried_warm(trial(wire, ("how many seconds", "60"), deaf=True))
    assert 'was told "on" and was not seen to be on' in finding.found


async def test_a_timer_that_is_started_anew_by_each_on_is_well():
    tried = trial(PLAIN, ("how many seconds", "60"), after_ms=60_000)
    assert await tried_warm(tried) == []
    assert not tried.hand.is_on()


async def test_a_timer_that_is_not_started_anew_makes_gaps():
    tried = trial(PLAIN, ("how many seconds", "60"), after_ms=60_000, anew=False)
    (finding,) = await tried_warm(tried)
    assert 'switches off after 60 s though "on" is said again' in finding.found
    assert "heat will have gaps" in finding.mend
    assert not tried.hand.is_on()


async def test_a_timer_that_never_ends_is_found_and_switched_off():
    tried = trial(PLAIN, ("how many seconds", "60"), after_ms=None)
    (finding,) = await tried_warm(tried)
    assert "was still on 72 s after the last word" in finding.found
    assert not tried.hand.is_on()


@pytest.mark.parametrize(("told", "found"), [("0", "no auto-off"), ("900", "900 s")])
async def test_without_a_short_timer_heat_is_never_on(told, found):
    tried = trial(PLAIN, ("how many seconds", told))
    was_on: list[bool] = []
    tried.clock.passed = lambda _: was_on.append(tried.hand.is_on())
    (finding,) = await tried_warm(tried)
    assert found in finding.found
    assert not any(was_on)


async def test_of_a_relay_that_says_nothing_the_person_says_what_it_does():
    answers = [
        ("how many seconds", "60"),
        ("is it on now", "y"),
        ("still on", "y"),
        ("is it off now", "y"),
    ]
    tried = trial(SILENT, *answers, after_ms=60_000)
    assert await tried_warm(tried) == []
    answers[2] = ("still on", "n")
    (finding,) = await tried_warm(trial(SILENT, *answers, after_ms=60_000))
    assert "is said again" in finding.found


async def test_a_hand_that_is_interrupted_leaves_it_off():
    class LeavesError(Exception):
        pass

    def leave(_: int) -> None:
        raise LeavesError

    tried = trial(LEASE, after_ms=None)
    tried.clock.passed = leave
    with pytest.raises(LeavesError):
        await tried_warm(tried)
    assert not tried.hand.is_on()


async def test_a_cold_trial_never_says_on():
    tried = trial(LEASE)
    tried.hand.on = None  # calling it would fail
    assert await tried_cold(tried) == []
    assert "reports nothing" in (await tried_cold(trial(SILENT)))[0].found
    assert (
        "said nothing on t/r/state"
        in (await tried_cold(trial(LEASE, mute=True)))[0].found
    )


@pytest.mark.parametrize(
    ("answer", "found"),
    [("y", None), ("n", "comes back on"), ("s", "was not tried")],
)
async def test_a_power_cut_is_asked_of_the_person(answer, found):
    findings = await asked_of_power(trial(LEASE, ("pull its plug", answer)))
    assert [f.found.partition(": ")[2] for f in findings] == (
        []
        if found is None
        else [f"{found}" + (" after a power cut" if answer == "n" else "")]
    )
