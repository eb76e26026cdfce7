"""`check --live` on a real broker with the files that setup writes for it."""

import asyncio
import json
import os
import subprocess
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.clocks import SystemClock
from controller.adapters.mqtt import Door, connected_peer
from controller.adapters.relay_node import RelayNode, state_topic
from controller.adapters.settings import load
from controller.cli import broker_files, live_check
from controller.cli.broker_files import Account, RelayTopics
from controller.cli.live_check import Wishes, met
from controller.cli.paths import config_dir
from controller.wiring import BrokerWire
from tests.cli.people import Scripted
from tests.contract.conftest import MOSQUITTO, free_port, needs_mosquitto

pytestmark = [pytest.mark.broker, pytest.mark.timeout(60)]

BENCH = """
[bench]
name = "test"
scan = "1 s"
[broker]
url = "mqtt://127.0.0.1:{port}"
{login}
[log]
path = "{log}"
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "21 °C"
stale_after = "10 s"
[mat.relay]
topic = "test/relay/north"
lease = true
reports_on = "test/relay/north/state"
[[tray]]
name = "N1"
mat = "north"
[[probe]]
name = "N1"
tray = "N1"
topic = "test/node-1/N1"
every = "1 s"
[[probe]]
name = "room"
room = true
topic = "test/node-1/room"
every = "1 s"
"""
COMMAND = "test/relay/north"
RELAYS = [RelayTopics("north", COMMAND, (state_topic(COMMAND),))]
LISTEN = Wishes(listen_ms=3_500, reaches_out=lambda _: True)


class Contact:
    """A contact, and whether it was ever closed."""

    def __init__(self) -> None:
        self.is_on = self.was_on = False

    def on(self) -> None:
        self.is_on = self.was_on = True

    def off(self) -> None:
        self.is_on = False


class Broker:
    """A mosquitto by the files of setup, or one that lets anybody in."""

    def __init__(self, folder: Path, *, secured: bool) -> None:
        self.folder, self.port = folder, free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self.accounts = {
            one.name: one for one in broker_files.accounts(RELAYS, 1, os.urandom)
        }
        text = f"listener {self.port} 127.0.0.1\nallow_anonymous true\n"
        if secured:
            text = broker_files.conf(f"{self.port} 127.0.0.1", folder)
            text = text.replace(
                f"listener {self.port}", f"listener {self.port} 127.0.0.1"
            )
        found = list(self.accounts.values())
        acl = broker_files.acl("test", RELAYS)
        passwd = broker_files.passwd(found, os.urandom)
        (folder / "bottomheat.acl").write_text(acl, encoding="utf-8")
        (folder / "bottomheat.passwd").write_text(passwd, encoding="utf-8")
        self.conf = folder / "mosquitto.conf"
        self.conf.write_text(f"{text}user root\n", encoding="utf-8")
        self.secured = secured

    def door(self, name: str) -> Door:
        return Door(self.wire(self.accounts[name]) if self.secured else self.wire(None))

    def wire(self, account: Account | None) -> BrokerWire:
        wire = BrokerWire(port=self.port)
        if account is None:
            return wire
        file = self.folder / account.name
        file.write_text(account.password + "\n", encoding="utf-8")
        return replace(wire, username=account.name, password_file=file)

    @asynccontextmanager
    async def running(self):
        assert MOSQUITTO is not None
        self.process = process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self.conf)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            async with asyncio.timeout(10):
                while True:
                    with suppress(OSError):
                        _, writer = await asyncio.open_connection(
                            "127.0.0.1", self.port
                        )
                        writer.close()
                        break
            yield self
        finally:
            process.terminate()
            await asyncio.to_thread(process.wait)

    def settings(self):
        wire = self.wire(self.accounts["bottomheat"])
        login = f'username = "bottomheat"\npassword_file = "{wire.password_file}"'
        file = self.folder / "bench.toml"
        text = BENCH.format(
            port=self.port,
            login=login if self.secured else "",
            log=self.folder / "season.db",
        )
        file.write_text(text, encoding="utf-8")
        return load(file, {})


@asynccontextmanager
async def playing(broker: Broker, contact: Contact | None, probes=("N1", "room")):
    """Play a relay node, and a node with probes, each by its own account."""
    clock = SystemClock("UTC")

    async def speak() -> None:
        async with connected_peer(broker.door("node-1"), "node-1") as peer:
            while True:
                for probe in probes:
                    await peer.publish(f"test/node-1/{probe}", "20.5")
                await clock.sleep_until(clock.now().run_ms + 1_000)

    tasks = [asyncio.create_task(speak())]
    if contact is not None:
        node = RelayNode(
            {COMMAND: contact}, broker.door("relay-north"), clock, lambda _: None
        )
        tasks.append(asyncio.create_task(node.serve()))
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


@pytest.fixture
def at_once(monkeypatch):
    """Look for another controller as long as one of a second's scans takes."""
    monkeypatch.setattr(live_check, "PRESENCE_MS", 1_500)


@needs_mosquitto
async def test_a_bench_as_setup_leaves_it_has_nothing_to_see_to(tmp_path, at_once):
    contact, person = Contact(), Scripted(("may heat be on", "y"), ("pull its", "y"))
    broker, wishes = Broker(tmp_path, secured=True), replace(LISTEN, with_heat=True)
    async with broker.running(), playing(broker, contact):
        found = await met(broker.settings(), SystemClock("UTC"), person, wishes)
        async with asyncio.timeout(5):  # the last "off" is on its way
            while contact.is_on:
                await asyncio.to_thread(os.sched_yield)
    bench = [f for f in found.findings if f.place not in {"clock", "supply"}]
    assert bench == []
    assert contact.was_on
    assert [one.plan.name for one in found.probes] == ["N1", "room"]
    assert all(len(one.live_at_ms) >= 3 for one in found.probes)
    assert "off by its lease" in found.tried[0]


@needs_mosquitto
async def test_an_open_broker_a_deaf_relay_and_a_silent_probe_are_found(
    tmp_path, at_once
):
    person, broker = Scripted(), Broker(tmp_path, secured=False)
    async with broker.running(), playing(broker, None, probes=("N1",)):
        found = await met(broker.settings(), SystemClock("UTC"), person, LISTEN)
    texts = "\n".join(map(str, found.findings))
    assert "anybody in your network may enter it" in texts
    assert "may command the relay of mat north" in texts
    assert "probe room: said nothing in 4 s" in texts
    assert 'was told "off" and said nothing' in texts


@needs_mosquitto
@pytest.mark.parametrize(
    ("kept", "told"),
    [
        ('{"energised": true, "valid_for_s": 9}', True),
        ("ON", True),
        ('{"energised": false}', False),
    ],
)
async def test_a_command_that_the_broker_keeps_is_found(tmp_path, at_once, kept, told):
    """A plain relay that gets its power back connects, gets it, and heats."""
    broker, wishes = Broker(tmp_path, secured=True), replace(LISTEN, listen_ms=500)
    async with broker.running(), playing(broker, Contact()):
        async with connected_peer(broker.door("bottomheat"), "of-old") as peer:
            await peer.publish(COMMAND, kept, kept=True, sure=True)
        found = await met(broker.settings(), SystemClock("UTC"), Scripted(), wishes)
    texts = "\n".join(map(str, found.findings))
    assert (f"the broker keeps a command on {COMMAND} that is no" in texts) is told


@needs_mosquitto
async def test_where_a_controller_runs_its_relays_are_left_alone(tmp_path, at_once):
    contact, broker = Contact(), Broker(tmp_path, secured=False)
    wishes = replace(LISTEN, listen_ms=500, with_heat=True)
    word = json.dumps({"run": "of-other", "held_ms": 9})
    async with (
        broker.running(),
        playing(broker, contact),
        connected_peer(Door(broker.wire(None)), "other") as other,
    ):
        speaking = asyncio.create_task(said_often(other, word))
        found = await met(broker.settings(), SystemClock("UTC"), Scripted(), wishes)
        speaking.cancel()
    assert "run of-other): relays were not tried" in "".join(map(str, found.findings))
    assert not contact.was_on


async def said_often(peer, word: str) -> None:
    clock = SystemClock("UTC")
    while True:
        await peer.publish("bottomheat/test/controller", word)
        await clock.sleep_until(clock.now().run_ms + 300)


@needs_mosquitto
async def test_the_list_lets_each_say_only_what_is_its_own(tmp_path):
    """mosquitto itself refuses: what is not allowed arrives nowhere."""
    async with Broker(tmp_path, secured=True).running() as broker:
        with pytest.raises(ConnectionError):
            async with connected_peer(Door(broker.wire(None)), "nobody"):
                pass
        arrived = []
        async with connected_peer(broker.door("bottomheat"), "daemon") as daemon:
            await daemon.subscribe("#")
            tries = [
                ("node-1", "test/node-1/N1", True),
                ("node-1", COMMAND, False),
                ("node-1", "test/node-2/N1", False),
                ("node-1", state_topic(COMMAND), False),
                ("relay-north", state_topic(COMMAND), True),
                ("relay-north", COMMAND, False),
                ("relay-north", "bottomheat/test/alive", False),
            ]
            for name, topic, _ in tries:
                async with connected_peer(broker.door(name), f"{name}-peer") as peer:
                    await peer.publish(topic, f"of {name}", sure=True)
            await daemon.publish("bottomheat/test/end", "", sure=True)
            async for topic, payload, _ in daemon.messages():
                if topic == "bottomheat/test/end":
                    break
                arrived.append((payload.decode().removeprefix("of "), topic))
    assert arrived == [(name, topic) for name, topic, allowed in tries if allowed]


def test_the_example_in_the_guides_is_what_setup_writes():
    example = (config_dir() / "mosquitto" / "example.acl").read_text(encoding="utf-8")
    relays = [
        RelayTopics(m, f"lean-to/relay/{m}", (f"lean-to/relay/{m}/state",))
        for m in ("north", "south")
    ]
    assert example.partition("\n")[2] == broker_files.acl("lean-to", relays)


def test_a_password_is_never_shown_with_its_account():
    (account, *_) = broker_files.accounts(RELAYS, 0, os.urandom)
    assert account.password not in f"{account!r} {account}"
    assert len(account.password) == 24
    assert account.password.isalnum()
