"""The steps with heat: each only after a yes, and off at the end whatever happens."""

import asyncio
from contextlib import suppress

from controller.adapters.settings import quantities
from controller.cli.person import yes
from controller.cli.relay_trial import Hand
from controller.cli.settling.answers import MatAnswers
from controller.cli.settling.mat_test import SILENT_MS, Verdict, judged
from controller.cli.settling.naming import LOOK_MS
from controller.cli.settling.stage import Senses, Stage, asked_text, in_mc
from controller.ports import Clock

AGAIN_MS = 2_000
"""How often "on" is said again: well within a lease [ms]."""

LOOKED_MS = 30_000
"""Chosen: heat stays on only while somebody has looked at the probes lately [ms]."""

TRAY_LIMIT_MC = 30_000
"""Chosen: where a root zone is warned of; the test of a mat ends there [m°C]."""

TELL_MS = 300_000


async def clicked(stage: Stage) -> None:
    """Switch each relay on for a moment, and ask whether it is the right one."""
    for mat in _heated(stage):
        question = f"Relay of mat {mat.name}: may it be on for a moment?"
        while await yes(stage.person, question, "y") is True:
            async with stage.hand(mat) as hand:
                try:
                    await hand.on()
                    question = "Did it click, and is its mat the one that has power?"
                    right = await yes(stage.person, question)
                finally:
                    await hand.off()
            if right is True:
                break
            stage.person.tell(
                "  Is it powered? Do its topics, words or its pin agree with what was"
                " answered? (bottomheat setup --again mats)"
            )
            question = f"Relay of mat {mat.name}: once more?"


async def tested(stage: Stage) -> None:
    """Heat each mat that has a surface probe for 40 to 60 minutes, and look."""
    for mat in _heated(stage):
        probe = next(
            (p for p in stage.answers.probes if p.place == f"mat {mat.name}"), None
        )
        if probe is None:
            stage.person.tell(f"Mat {mat.name} has no surface probe: it is not tested.")
            continue
        question = (
            f"Test mat {mat.name} now? 40 to 60 minutes of heat; lie nothing on it but"
            " its trays, its probe on the surface under one of them, and stay in the"
            " house (Ctrl-C ends it, off)"
        )
        if await yes(stage.person, question, "n") is not True:
            continue
        async with stage.hand(mat) as hand, stage.senses() as senses:
            verdict = await _heat(stage, hand, senses, probe.address)
        word = "well" if verdict.well else "NOT WELL"
        stage.person.tell(f"Mat {mat.name}: {word}: {verdict.text}.")


def _heated(stage: Stage) -> list[MatAnswers]:
    return [mat for mat in stage.answers.mats if mat.relay != "watch"]


class _Looked:
    """Until when heat may stay on."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._until_ms = clock.now().run_ms + LOOKED_MS

    def now(self) -> None:
        """Somebody looked just now."""
        self._until_ms = self._clock.now().run_ms + LOOKED_MS

    def lately(self) -> bool:
        """Whether somebody looked a little while ago."""
        return self._clock.now().run_ms < self._until_ms


async def _heat(stage: Stage, hand: Hand, senses: Senses, surface: str) -> Verdict:
    looked = _Looked(stage.clock)
    heating = asyncio.ensure_future(_kept_on(hand, stage.clock, looked))
    try:
        return await _watched(stage, senses, surface, looked)
    finally:
        heating.cancel()
        with suppress(asyncio.CancelledError, ConnectionError):
            await heating
        await hand.off()


async def _kept_on(hand: Hand, clock: Clock, looked: _Looked) -> None:
    while looked.lately():
        await hand.on()
        await clock.sleep_until(clock.now().run_ms + AGAIN_MS)


async def _watched(
    stage: Stage, senses: Senses, surface: str, looked: _Looked
) -> Verdict:
    since_ms = told_ms = stage.clock.now().run_ms
    unit = {probe.address: probe.unit for probe in stage.answers.probes}
    while True:
        await senses.listen(LOOK_MS)
        looked.now()
        now_ms = stage.clock.now().run_ms
        samples = [
            (at_ms, in_mc(milli, unit[surface]))
            for at_ms, milli in senses.samples(surface)
            if at_ms >= since_ms
        ]
        if not samples:
            # Nothing was heard of it yet: no heat for long without an eye on it.
            if now_ms - since_ms > SILENT_MS:
                text = "nothing was heard of its surface probe"
                return Verdict(over=True, well=False, text=text)
            continue
        verdict = _of_trays(stage, senses, now_ms) or judged(samples, now_ms)
        if verdict.over:
            return verdict
        if now_ms - told_ms >= TELL_MS:
            told_ms = now_ms
            stage.person.tell(f"  {verdict.text}")


def _of_trays(stage: Stage, senses: Senses, now_ms: int) -> Verdict | None:
    """Return why a tray ends the test; None: none does.

    A probe that was never heard guards nothing, and is not missed here.
    """
    for probe in stage.answers.probes:
        said = senses.samples(probe.address)
        if not said or not probe.place.startswith("tray "):
            continue
        at_ms, milli = said[-1]
        reached = in_mc(milli, probe.unit)
        if reached >= TRAY_LIMIT_MC:
            text = f"{probe.name} reached {reached / 1000:.1f} °C: ended"
            return Verdict(over=True, well=False, text=text)
        if now_ms - at_ms > SILENT_MS:
            text = f"{probe.name} fell silent: ended"
            return Verdict(over=True, well=False, text=text)
    return None


async def wanted(stage: Stage) -> None:
    """Ask how warm each root zone shall be."""
    usual = "70 °F" if stage.answers.unit == "°F" else "21 °C"
    for mat in stage.answers.mats:
        question = f"How warm shall the root zones on mat {mat.name} be?"
        mat.setpoint = await asked_text(stage, question, usual, quantities.temperature)
