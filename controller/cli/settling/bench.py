"""The first steps: what the bench is called, what hangs on it, who may talk there."""

from collections.abc import Iterator
from pathlib import Path

from controller.adapters.settings import words
from controller.cli import broker_files
from controller.cli.broker_files import Account, RelayTopics
from controller.cli.check import CAUTIONS
from controller.cli.person import yes
from controller.cli.settling.config_text import BROKER_PASSWORD
from controller.cli.settling.mats import relay_topics
from controller.cli.settling.stage import LaterError, Stage, asked_name, asked_text

OVERLAY = "dtoverlay=w1-gpio"
MOSQUITTO = Path("/etc/mosquitto")


async def who(stage: Stage) -> None:
    """Ask what the bench is called and where it stands."""
    answers, person = stage.answers, stage.person
    person.tell("Before anything is plugged in:")
    for caution in CAUTIONS:
        person.tell(f"  - {caution}")
    answers.bench = await asked_name(
        stage, "What shall the bench be called?", answers.bench or "bench"
    )
    answers.timezone = await asked_text(
        stage, "Time zone?", stage.system.timezone(), words.timezone
    )
    fahrenheit = await yes(person, "Do you think in °F?", "n")
    answers.unit = "°F" if fahrenheit else "°C"


async def one_wire(stage: Stage) -> None:
    """See that the kernel drives the bus, if probes hang on this board."""
    person = stage.person
    wired = await yes(person, "Are one-wire probes wired to this board?", "y")
    stage.answers.wired = wired is True
    if wired is not True or stage.system.one_wire_bus():
        return
    config = stage.system.boot_config()
    if config is None:
        raise LaterError(
            "This board shows no one-wire bus, and how its kind switches one on is not"
            " known here. Look it up for your board, then run setup again"
        )
    if OVERLAY in _lines(config):
        raise LaterError(
            f"{config} has {OVERLAY} already, and there is no bus: restart the board"
            " if that line is new; else look at the pull-up of about 4.7 kΩ and at the"
            " pin. Then run setup again: it goes on here"
        )
    raise LaterError(
        f"The one-wire bus is off. Add this line to {config}:\n\n    {OVERLAY}\n\n"
        f"for example by: echo {OVERLAY} | sudo tee -a {config}\n"
        "then: sudo reboot. After that run setup again: it goes on here"
    )


def _lines(config: Path) -> set[str]:
    text = config.read_text(encoding="utf-8", errors="replace")
    return {line.split("#")[0].split(",")[0].strip() for line in text.splitlines()}


async def broker(stage: Stage) -> None:
    """Give the broker its names, passwords and list; print a card for each."""
    answers = stage.answers
    relays = list(relay_topics(answers.mats))
    found = broker_files.accounts(relays, answers.nodes, stage.random)
    # Only where somebody else has to come in is the network let in.
    lan = bool(relays) or answers.nodes > 0
    port = f"{stage.port}" if lan else f"{stage.port} 127.0.0.1"
    write = stage.system.write
    write(BROKER_PASSWORD, found[0].password + "\n", 0o600)
    passwd = broker_files.passwd(found, stage.random)
    write(f"{MOSQUITTO}/bottomheat.passwd", passwd, 0o640)
    write(f"{MOSQUITTO}/bottomheat.acl", broker_files.acl(answers.bench, relays), 0o640)
    text = broker_files.conf(port, MOSQUITTO)
    write(f"{MOSQUITTO}/conf.d/bottomheat.conf", text, 0o644)
    files = [f"{MOSQUITTO}/bottomheat.{end}" for end in ("passwd", "acl")]
    stage.system.run("chgrp", "mosquitto", *files)
    if not stage.system.run("systemctl", "restart", "mosquitto"):
        raise LaterError(
            "mosquitto does not start. Is it there (sudo apt-get install mosquitto)?"
            " What it says: journalctl -u mosquitto. Then run setup again"
        )
    for account in found[1:]:
        for line in card(stage, account, relays):
            stage.person.tell(line)
    if found[1:]:
        stage.person.tell(
            "Let your router give this board the same address always: boards look for"
            f" it at {stage.system.name()}, and find nobody where that changes."
        )
        await stage.person.ask("Enter these on each board's own page, then Enter", "")


def card(stage: Stage, account: Account, relays: list[RelayTopics]) -> Iterator[str]:
    """Yield what is to be copied into a relay's or a node's own page.

    Passwords are shown here and kept nowhere in plain words but the daemon's own.
    """
    mine = [relay for relay in relays if relay.account == account.name]
    mats = " and ".join(relay.mat for relay in mine)
    title = f"relay of mat {mats}" if mine else f"board {account.name}"
    yield ""
    yield f"+-- Card for the {title} " + "-" * max(0, 44 - len(title))
    yield f"|  broker    {stage.system.name()}   port {stage.port}   (no TLS)"
    yield f"|  name      {account.name}"
    yield f"|  password  {account.password}"
    if not mine:
        bench = stage.answers.bench
        yield f"|  publish   {bench}/{account.name}/PROBE   one number, °C"
    for relay in mine:
        yield f"|  hears     {relay.command}"
        yield f"|  says      {', '.join(relay.says) or '-'}   (kept: retained)"
    if mine:
        yield "|  when power comes back: off.   own auto-off timer: 2 to 5 minutes"
    yield "+" + "-" * 66
