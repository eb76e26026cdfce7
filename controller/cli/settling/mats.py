"""What each mat is, how it is switched, and on which topics or pin: asked."""

from collections.abc import Iterator, Sequence
from functools import partial

from controller.adapters import mqtt_address
from controller.adapters.settings import quantities
from controller.cli import broker_files
from controller.cli.broker_files import RelayTopics
from controller.cli.person import yes
from controller.cli.settling.answers import Answers, MatAnswers
from controller.cli.settling.stage import Stage, asked_name, asked_number, asked_text

MOST_MATS, MOST_NODES = 8, 32

KINDS = {
    "1": "lease",
    "2": "plain",
    "3": "pin",
    "4": "watch",
}

ON_BROKER = frozenset({"lease", "plain"})


async def asked(stage: Stage) -> None:
    """Ask what each mat is and how it is switched."""
    count = await asked_number(stage, "How many heat mats?", 1, MOST_MATS)
    stage.answers.mats = []
    for number in range(1, count + 1):
        stage.answers.mats.append(await _mat(stage, number))
    stage.answers.nodes = await asked_number(
        stage, "How many other boards publish probes over MQTT?", 0, MOST_NODES
    )


async def _mat(stage: Stage, number: int) -> MatAnswers:
    taken = {mat.name for mat in stage.answers.mats}
    question = f"Mat {number}: its name?"
    name = await asked_name(stage, question, f"mat{number}", taken)
    mat = MatAnswers(name)
    mat.power = await asked_text(
        stage, f"  {name}: watts, as printed on it?", "100 W", quantities.power
    )
    mat.area = await asked_text(
        stage, f"  {name}: heated area?", "1.2 m x 0.53 m", quantities.area
    )
    stage.person.tell(
        "  How is it switched? 1: a relay that counts leases (bottomheat relay-keeper"
        " on another board); 2: another relay that speaks MQTT; 3: a relay on a pin of"
        " this board; 4: not yet: watch only, beside the old thermostat"
    )
    question = f"  {name}: 1, 2, 3 or 4?"
    mat.relay = KINDS[await asked_text(stage, question, "4", _kind)]
    if mat.relay == "pin":
        rule = partial(_pin, stage.answers)
        mat.command = await asked_text(stage, f"  {name}: which pin?", "GPIO17", rule)
        low = await yes(stage.person, f"  {name}: on while the pin is low?", "n")
        mat.active_low = low is True
    elif mat.relay != "watch":
        await _topics(stage, mat)
    return mat


def _kind(said: object) -> None:
    if said not in KINDS:
        raise ValueError("1, 2, 3 or 4")


def _free(answers: Answers, text: object) -> None:
    for mat in answers.mats:
        if text in {mat.command, mat.says}:
            raise ValueError(f"the relay of mat {mat.name} has that")


def _pin(answers: Answers, said: object) -> None:
    if not str(said).isalnum():
        raise ValueError('write a pin\'s name, such as "GPIO17"')
    _free(answers, said)


def _commands(answers: Answers, said: object) -> None:
    """Hold the topic of a relay's commands to the rules; raise ValueError."""
    bench = answers.bench
    if broker_files.of_a_board(mqtt_address.topic(said), bench):
        message = (
            f"boards may speak on what begins with {bench}/node- or {bench}/relay-: one"
            f" of them could switch this relay. Write {bench}/relay/… or the like"
        )
        raise ValueError(message)
    _free(answers, said)


def _state(answers: Answers, command: str, said: object) -> None:
    """Hold the topic of a relay's state to the rules; raise ValueError."""
    if said == "-":
        return
    mqtt_address.topic(said)
    if said == command:
        raise ValueError("whoever may speak there could switch it: another topic")
    _free(answers, said)


def _off(on: str, said: object) -> None:
    if said == on:
        raise ValueError("that is its word for on")


async def _topics(stage: Stage, mat: MatAnswers) -> None:
    usual = f"{stage.answers.bench}/relay/{mat.name}"
    at, rule = f"  {mat.name}:", partial(_commands, stage.answers)
    mat.command = await asked_text(stage, f"{at} topic of its commands?", usual, rule)
    question = f"{at} topic on which it says its state (- for none)?"
    rule = partial(_state, stage.answers, mat.command)
    said = await asked_text(stage, question, f"{mat.command}/state", rule)
    mat.says = "" if said == "-" else said
    if mat.relay == "plain":
        mat.on = await stage.person.ask(f"{at} its word for on?", "ON")
        rule = partial(_off, mat.on)
        mat.off = await asked_text(stage, f"{at} its word for off?", "OFF", rule)
    mat.card = await _card(stage, mat)


async def _card(stage: Stage, mat: MatAnswers) -> str:
    """Ask whether a relay is on a board that has a card; return whose that is."""
    before = [
        one.name
        for one in stage.answers.mats
        if one.relay in ON_BROKER and not one.card
    ]
    if not before:
        return ""
    on = ", ".join(before)
    question = f"  {mat.name}: on the same board as the relay of {on} (- for none)?"

    def rule(said: object) -> None:
        if said not in {*before, "-"}:
            raise ValueError(f"one of: {on}, -")

    said = await asked_text(stage, question, "-", rule)
    return "" if said == "-" else said


def relay_topics(found: Sequence[MatAnswers]) -> Iterator[RelayTopics]:
    """Yield the topics of the relays that are on the broker."""
    for mat in found:
        if mat.relay in ON_BROKER:
            says = (mat.says,) if mat.says else ()
            yield RelayTopics(mat.name, mat.command, says, mat.card)
