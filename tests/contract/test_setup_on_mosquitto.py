"""Setup on a real broker: its cards copied to boards, which then speak and obey."""

import asyncio
import re
import subprocess
from contextlib import suppress
from pathlib import Path

import pytest

from controller.adapters.clocks import SystemClock
from controller.adapters.mqtt import Door, connected_peer
from controller.adapters.relay_node import RelayNode
from controller.adapters.settings import load
from controller.cli import setup
from controller.cli.settling import heat, naming, probes
from controller.cli.settling.answers import loaded, saved
from controller.cli.settling.senses import board_senses
from controller.cli.settling.stage import Stage
from controller.cli.settling.system import Board
from controller.wiring import BrokerWire
from tests.cli.people import Scripted
from tests.contract.conftest import MOSQUITTO, free_port, needs_mosquitto
from tests.contract.test_check_live import Broker, Contact

pytestmark = [pytest.mark.broker, pytest.mark.timeout(60)]

CARD = re.compile(r"Card for the .*?name +(\S+)\s.*?password +(\S+)", re.DOTALL)


class Bench:
    """A board in a folder, its broker, and two boards that get cards."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.contact = Contact()
        self.warm = {"N1": 18.0, "N2": 18.0}
        self.process: subprocess.Popen[bytes] | None = None
        self.tasks: list[asyncio.Task[None]] = []

    def restart_broker(self) -> bool:
        assert MOSQUITTO is not None
        at = self.folder / "etc/mosquitto"
        text = (at / "conf.d/bottomheat.conf").read_text(encoding="utf-8")
        text = text.replace("/etc/mosquitto", str(at))
        text = text.replace(f"listener {self.port}", f"listener {self.port} 127.0.0.1")
        conf = self.folder / "mosquitto.conf"
        conf.write_text(f"{text}user root\n", encoding="utf-8")
        quiet = subprocess.DEVNULL
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", str(conf)], stdout=quiet, stderr=quiet
        )
        return True

    def copied(self, cards: str) -> None:
        """Copy what is on the cards to the boards, and start them."""
        found = dict(CARD.findall(cards))
        clock = SystemClock("UTC")
        door = self.door("relay-north", found["relay-north"])
        node = RelayNode(
            {"test/relay/north": self.contact}, door, clock, lambda _: None
        )
        self.tasks += [
            asyncio.create_task(node.serve()),
            asyncio.create_task(self.speak(self.door("node-1", found["node-1"]))),
        ]

    def door(self, name: str, password: str) -> Door:
        file = self.folder / f"{name}.txt"
        file.write_text(password, encoding="utf-8")
        return Door(BrokerWire(port=self.port, username=name, password_file=file))

    async def speak(self, door: Door) -> None:
        clock = SystemClock("UTC")
        while True:
            with suppress(ConnectionError):
                async with connected_peer(door, "node-1") as peer:
                    while True:
                        for probe, warm in self.warm.items():
                            await peer.publish(f"test/node-1/{probe}", f"{warm:.2f}")
                        await clock.sleep_until(clock.now().run_ms + 250)
            await clock.sleep_until(clock.now().run_ms + 100)

    async def end(self) -> None:
        for task in self.tasks:
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)
        if self.process is not None:
            self.process.terminate()
            await asyncio.to_thread(self.process.wait)


class Folder(Board):
    def __init__(self, bench: Bench, tell) -> None:
        super().__init__(bench.folder, tell)
        self.bench = bench

    def name(self) -> str:
        return "127.0.0.1"

    def run(self, *words: str) -> bool:
        if words == ("systemctl", "restart", "mosquitto"):
            return self.bench.restart_broker()
        return super().run(*words)


class Grower(Scripted):
    def __init__(self, bench: Bench, *answers) -> None:
        super().__init__(*answers)
        self.bench = bench

    def tell(self, text: str) -> None:
        super().tell(text)
        if "in your fist" in text:
            self.bench.warm["N2"] = 24.0

    async def ask(self, question: str, usual: str = "") -> str:
        if "on each board's own page" in question:
            self.bench.copied("\n".join(self.told))
        if "Did it click" in question:
            async with asyncio.timeout(5):
                while not self.bench.contact.was_on:
                    await asyncio.to_thread(int)
        named = re.search(r"Its name \(test/node-1/(\S+)\)", question)
        return named[1] if named else await super().ask(question, usual)


@needs_mosquitto
async def test_cards_that_are_copied_make_a_bench(tmp_path, monkeypatch):
    monkeypatch.setattr(probes, "LISTEN_MS", 2_000)
    monkeypatch.setattr(naming, "LOOK_MS", 300)
    bench, file = Bench(tmp_path), tmp_path / setup.ANSWERS
    answers = loaded(file)
    person = Grower(
        bench,
        ("bench be called", "test"),
        ("wired to this board", "n"),
        ("Mat 1: its name", "north"),
        ("1, 2, 3 or 4", "1"),
        ("other boards publish", "1"),
        ("Are these all", "y"),
        ("one cup of water", "s"),
        ("for a moment", "y"),
        ("Did it click", "y"),
        ("Test mat", "n"),
    )
    clock = SystemClock("UTC")
    board = Folder(bench, person.tell)
    reached = setup.Reached(board, tmp_path, clock, bench.port)
    stage = Stage(
        answers=answers,
        keep=lambda: saved(answers, file),
        person=person,
        clock=clock,
        system=board,
        senses=lambda: reached.senses(stage),
        hand=reached.hand,
        random=lambda n: bytes(range(n)),
        port=bench.port,
    )
    try:
        await setup.evening(stage, reached.login)
        async with asyncio.timeout(5):  # the last "off" is on its way
            while bench.contact.is_on:
                await asyncio.to_thread(int)
    finally:
        await bench.end()
    assert bench.contact.was_on
    settings = load(tmp_path / "etc/bottomheat/bench.toml", {})
    topics = {wire.probe: wire.topic for wire in settings.wiring.probes}
    assert topics == {"N1": "test/node-1/N1", "N2": "test/node-1/N2"}
    assert {wire.every_s for wire in answers.probes} == {1}
    assert settings.wiring.relays[0].reports_on == "test/relay/north/state"
    assert heat.AGAIN_MS < 5_000  # "on" is said again well within a lease


@needs_mosquitto
async def test_a_broker_that_is_lost_is_no_silence(tmp_path):
    """Whoever listens on would wait for ever for probes that speak."""
    async with Broker(tmp_path, secured=True).running() as broker:
        wire = broker.wire(broker.accounts["bottomheat"])
        clock = SystemClock("UTC")
        async with board_senses(wire, clock, bench="test", wired=False) as senses:
            await senses.listen(0)
            assert broker.process is not None
            broker.process.terminate()
            with pytest.raises(ConnectionError, match="the broker was lost"):
                await senses.listen(30_000)
