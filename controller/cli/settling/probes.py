"""The middle of the evening: which probe is which, how wrong, and where it goes."""

import re
from datetime import UTC, datetime

from controller.cli.person import yes
from controller.cli.settling import cup as cups
from controller.cli.settling.answers import ProbeAnswers, TrayAnswers
from controller.cli.settling.naming import pace_s
from controller.cli.settling.placing import advised, lacks
from controller.cli.settling.stage import (
    LaterError,
    Senses,
    Stage,
    asked_name,
    asked_number,
    in_mc,
)

LISTEN_MS = 40_000
CUP_MS = 900_000
MOST_TRAYS = 24
FAHRENHEIT_ABOVE = 45_000
"""No room has 45 °C; 45 °F is a cold one."""


async def found(stage: Stage) -> None:
    """Listen for probes until there is one, and ask whether these are all."""
    person = stage.person
    async with stage.senses() as senses:
        while True:
            person.tell(f"Listening for {LISTEN_MS // 1000} s for whatever measures …")
            await senses.listen(LISTEN_MS)
            values = senses.values()
            for number, (address, milli) in enumerate(sorted(values.items()), 1):
                person.tell(f"  {number:2}  {milli / 1000:8.2f}   {address}")
            if not values:
                person.tell("  nothing yet: are they wired, powered, on their cards?")
            question = f"{len(values)} heard. Are these all? (n: listen again)"
            usual = "y" if values else "n"
            if await yes(person, question, usual) is True and values:
                break
            if await yes(person, "Go on another day?", "n") is True:
                raise LaterError("Run setup again when the probes are there")
        said = await person.ask("Which of them are no probes? (numbers)", "none")
        others = {int(word) for word in re.findall(r"[0-9]+", said)}
        known = {probe.address: probe for probe in stage.answers.probes}
        stage.answers.probes = [
            await _probe(stage, senses, known.get(address) or ProbeAnswers(address))
            for number, address in enumerate(sorted(values), 1)
            if number not in others
        ]


async def _probe(stage: Stage, senses: Senses, probe: ProbeAnswers) -> ProbeAnswers:
    """Look how a probe speaks; one that was there before keeps name and offset."""
    address = probe.address
    probe.every_s = pace_s(senses, probe)
    milli = senses.values()[address]
    if milli > FAHRENHEIT_ABOVE and not address.startswith("28-"):
        question = f"{address} says {milli / 1000:g}: is that °F?"
        probe.unit = "°F" if await yes(stage.person, question, "y") else "°C"
    return probe


async def cup(stage: Stage) -> None:
    """Take offsets from one cup of stirred water, if the person wants it."""
    person, probes = stage.person, stage.answers.probes
    question = (
        "All probes into one cup of water, stirred now and then? It tells by how much"
        " they differ (w: water; i: crushed ice and water, which tells the truth, too;"
        " s: not now)"
    )
    wanted = len(probes) > 1 and any(probe.offset_k is None for probe in probes)
    how = (await person.ask(question, "w" if wanted else "s")).casefold()
    if how not in {"w", "i"} or (how == "w" and len(probes) < 2):  # noqa: PLR2004
        return
    async with stage.senses() as senses:
        since_ms = stage.clock.now().run_ms
        told = await _settled(stage, senses, since_ms, ice=how == "i")
    if told is None:
        person.tell("  it did not come to rest; no offsets were taken")
        return
    today = stage.clock.now().utc_ms
    for probe in probes:
        probe.offset_k = told.offsets_mk[probe.address] / 1000
        probe.offset_date = _date(today)
        person.tell(f"  {probe.name}: {probe.offset_k:+.2f} K")


async def _settled(
    stage: Stage, senses: Senses, since_ms: int, *, ice: bool
) -> cups.Cup | None:
    until_ms, said = since_ms + CUP_MS, ""
    while stage.clock.now().run_ms < until_ms:
        await senses.listen(LISTEN_MS)
        samples = {
            probe.address: [
                (at_ms, in_mc(milli, probe.unit))
                for at_ms, milli in senses.samples(probe.address)
                if at_ms > since_ms
            ]
            for probe in stage.answers.probes
        }
        told = cups.offsets(samples, stage.clock.now().run_ms, ice=ice)
        if told.steady:
            return told
        now = _why_not(stage, told)
        if now != said:
            said = now
            stage.person.tell(f"  {said}")
    return None


def _why_not(stage: Stage, told: cups.Cup) -> str:
    names = {probe.address: probe.name for probe in stage.answers.probes}
    for found_, words in (
        (told.silent, "waiting for"),
        (told.unsteady, "still moving, stir:"),
        (told.astray, "not in this water, or broken:"),
    ):
        if found_:
            return f"{words} {', '.join(names[address] for address in found_)}"
    return "waiting"


def _date(utc_ms: int) -> str:
    return datetime.fromtimestamp(utc_ms / 1000, UTC).date().isoformat()


async def placed(stage: Stage) -> None:
    """Ask for the trays, advise where probes go, and ask where each one is."""
    answers, person = stage.answers, stage.person
    count = await asked_number(stage, "How many trays?", 1, MOST_TRAYS)
    answers.trays = []
    for number in range(1, count + 1):
        answers.trays.append(await _tray(stage, number))
    answers.trial = len({t.medium for t in answers.trays}) > 1 and (
        await yes(person, "Do you compare two media in a trial?", "n") is True
    )
    mats = [mat.name for mat in answers.mats]
    advice = advised(len(answers.probes), mats, answers.trays, trial=answers.trial)
    person.tell(f"With {len(answers.probes)} probes, best is:")
    for one in advice:
        person.tell(f"  {one.place}: {one.why}")
    left = [one.place for one in advice]
    for probe in answers.probes:
        probe.place = await _place(stage, probe, left)
        if probe.place in left:
            left.remove(probe.place)
    for lack in lacks([probe.place for probe in answers.probes], mats):
        person.tell(f"  {lack}.")


async def _tray(stage: Stage, number: int) -> TrayAnswers:
    taken = {tray.name for tray in stage.answers.trays}
    question = f"Tray {number}: its name?"
    name = await asked_name(stage, question, f"T{number}", taken)
    mats = [mat.name for mat in stage.answers.mats]
    usual = mats[0] if mats else "-"
    while True:
        mat = await stage.person.ask(f"  {name}: on which mat (- for none)?", usual)
        if mat in {*mats, "-"}:
            break
        stage.person.tell(f"  one of: {', '.join([*mats, '-'])}")
    medium = await stage.person.ask(f"  {name}: which medium?", "coir-perlite")
    return TrayAnswers(name, "" if mat == "-" else mat, medium[:60])


async def _place(stage: Stage, probe: ProbeAnswers, left: list[str]) -> str:
    answers = stage.answers
    there = [f"tray {tray.name}" for tray in answers.trays]
    there += [f"mat {mat.name}" for mat in answers.mats] + ["room"]
    usual = left[0] if left else "room"
    while True:
        place = await stage.person.ask(f"Where is {probe.name}?", usual)
        if place in there:
            return place
        stage.person.tell(f"  one of: {', '.join(there)}")
