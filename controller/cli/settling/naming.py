"""Which probe is which: each warmed in the fist, named, and how often it speaks."""

import itertools
import statistics

from controller.cli.person import yes
from controller.cli.settling.answers import ProbeAnswers
from controller.cli.settling.fist import in_the_fist, needs_cold
from controller.cli.settling.stage import Senses, Stage, asked_name, in_mc

LOOK_MS = 3_000
FIST_MS = 240_000
LATE_MS = 100


async def named(stage: Stage) -> None:
    """Have each probe warmed in the fist, and ask what it shall be called."""
    person, probes = stage.person, stage.answers.probes
    waiting = [probe for probe in probes if not probe.name]
    if len(waiting) < len(probes):
        before = ", ".join(probe.name for probe in probes if probe.name)
        person.tell(f"These have their names: {before} (else: --again names)")
    async with stage.senses() as senses:
        await senses.listen(LOOK_MS)
        if len(waiting) > 1:
            await _all_heard(stage, senses)
        while len(waiting) > 1:
            probe = await _warmed(stage, senses)
            if probe is None:
                if await yes(person, "Try again?", "y") is not True:
                    break
                continue
            probe.name = await _probes_name(stage, probe)
            stage.keep()
            waiting = [one for one in probes if not one.name]
        for probe in waiting:  # the last one is known by the others
            person.tell(f"{probe.address} is left.")
            probe.name = await _probes_name(stage, probe)
        for probe in probes:
            probe.every_s = pace_s(senses, probe)
    person.tell("Put a strip of tape with its name on each lead now.")


async def _all_heard(stage: Stage, senses: Senses) -> None:
    """Wait for a first word of each probe: what it rises by counts from there."""
    until_ms, told = stage.clock.now().run_ms + FIST_MS, False
    while stage.clock.now().run_ms < until_ms:
        there = senses.values().keys()
        late = [p.address for p in stage.answers.probes if p.address not in there]
        if not late:
            return
        if not told:
            stage.person.tell(f"Lay them all down. Waiting for {', '.join(late)} …")
            told = True
        await senses.listen(LOOK_MS)


def pace_s(senses: Senses, probe: ProbeAnswers) -> int:
    """Return how often a probe speaks, to the second above; 30 s where it is read.

    A word may come a little late: a tenth of a second makes no further one.
    """
    times = [at_ms for at_ms, _ in senses.samples(probe.address)]
    if probe.address.startswith("28-") or len(times) < 3:  # noqa: PLR2004
        return probe.every_s
    pauses = [b - a for a, b in itertools.pairwise(times)]
    return min(max(-(-round(statistics.median(pauses) - LATE_MS) // 1000), 1), 3_600)


async def _probes_name(stage: Stage, probe: ProbeAnswers) -> str:
    taken = {one.name for one in stage.answers.probes}
    number = next(n for n in range(1, 100) if f"P{n}" not in taken)
    return await asked_name(stage, f"Its name ({probe.address})?", f"P{number}", taken)


async def _warmed(stage: Stage, senses: Senses) -> ProbeAnswers | None:
    """Wait until one probe has been warmed; None: nobody can say which."""
    answers = stage.answers
    unit = {probe.address: probe.unit for probe in answers.probes}
    known = [probe.address for probe in answers.probes if probe.name]

    def now() -> dict[str, int]:
        values = senses.values()
        return {a: in_mc(values[a], u) for a, u in unit.items() if a in values}

    cold = needs_cold(now())
    how = (
        "Hold ONE of them into cold water" if cold else "Take ONE of them in your fist"
    )
    stage.person.tell(f"{how} and keep it there; the others lie still …")
    rounds = [now()]
    until_ms = stage.clock.now().run_ms + FIST_MS
    while stage.clock.now().run_ms < until_ms:
        await senses.listen(LOOK_MS)
        rounds.append(now())
        fist = in_the_fist(rounds, known, cold=cold)
        if fist.address is not None:
            stage.person.tell(f"  it is {fist.address} ({fist.risen_mk / 1000:+.1f} K)")
            return next(p for p in answers.probes if p.address == fist.address)
        if fist.rivals:
            stage.person.tell(f"  {len(fist.rivals) + 1} of them move: hold one only")
            return None
    stage.person.tell("  none has moved enough")
    return None
