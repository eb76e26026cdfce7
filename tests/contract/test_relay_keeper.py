"""A relay node as a process on a real broker: it obeys, drops out, and says so.

Its pins are gpiozero's mock pins; its own trace tells what the contact did.
"""

import asyncio
import json
import os
import signal
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from controller.adapters.clocks import SystemClock, run_clock_ns
from controller.cli import main

pytestmark = pytest.mark.broker

ROOT = Path(__file__).parents[2]
COMMAND, STATE = "lean-to/relay/north", "lean-to/relay/north/state"
LEASE_S = 2.0
"""Long enough for a machine that is busy, shorter than a node is frozen."""


class Node:
    """A relay node in a process of its own, and a hand on its broker."""

    def __init__(self, folder: Path, port: int) -> None:
        self.trace = folder / "trace.txt"
        self.port = port
        self.seq = 0
        self.process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        self.process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "controller", "relay-keeper"),
            *("--broker", f"mqtt://127.0.0.1:{self.port}"),
            *("--relay", f"{COMMAND}=GPIO17", "--trace", str(self.trace)),
            cwd=ROOT,
            env={**os.environ, "GPIOZERO_PIN_FACTORY": "mock"},
            stderr=asyncio.subprocess.DEVNULL,
        )

    def send(self, number: int) -> None:
        assert self.process is not None
        self.process.send_signal(number)

    async def end(self, number: signal.Signals) -> int:
        assert self.process is not None
        if self.process.returncode is None:
            self.process.send_signal(number)
        return await self.process.wait()

    def switchings(self) -> list[tuple[int, str, str]]:
        """Return nanoseconds, on or off, and why, of each."""
        text = self.trace.read_text(encoding="utf-8") if self.trace.exists() else ""
        words = [line.split() for line in text.splitlines()]
        return [(int(w[0]), w[1], w[2]) for w in words]

    def is_on(self) -> bool:
        return [word for _, word, _ in self.switchings()][-1:] == ["on"]

    async def until(self, *, on: bool) -> int:
        """Wait until the contact is so; return since when [ns]."""
        clock = SystemClock("UTC")
        async with asyncio.timeout(15):
            while not self.switchings() or self.is_on() is not on:
                await clock.sleep_until(clock.now().run_ms + 5)
        return self.switchings()[-1][0]

    def says(self, energised, run: str = "r1", **more) -> str:
        self.seq += 1
        body = {"energised": energised, "run": run, "seq": self.seq}
        lease = {"valid_for_s": LEASE_S} if energised else {}
        return json.dumps({**body, **lease, **more})


@asynccontextmanager
async def hand(port: int):
    async with aiomqtt.Client("127.0.0.1", port, identifier="hand") as client:
        await client.subscribe(STATE, qos=1)
        yield client


async def told(client: aiomqtt.Client, *, retained: bool | None = None, **wanted):
    """Return the relay's next report that says what is wanted."""
    async with asyncio.timeout(20):
        async for message in client.messages:
            said = json.loads(message.payload)
            if retained in (None, message.retain) and wanted.items() <= said.items():
                return said
    raise AssertionError("the broker ended")


@asynccontextmanager
async def insisting(client: aiomqtt.Client, node: Node, **more):
    """Say "on" again and again, as a controller does."""
    clock = SystemClock("UTC")

    async def insist() -> None:
        while True:
            await client.publish(COMMAND, node.says(True, **more), qos=1)
            await clock.sleep_until(clock.now().run_ms + 50)

    task = asyncio.create_task(insist())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.fixture
async def node(broker_port, tmp_path):
    node = Node(tmp_path, broker_port)
    yield node
    if node.process is not None:
        await node.end(signal.SIGKILL)


@pytest.fixture
async def lone(mosquitto, tmp_path):
    """A node on a mosquitto that may be killed."""
    node = Node(tmp_path, mosquitto.port)
    yield node
    if node.process is not None:
        await node.end(signal.SIGKILL)


async def test_it_obeys_reports_and_is_off_at_the_end(node):
    async with hand(node.port) as client:
        await node.start()
        assert await told(client, energised=False, reason="start")
        await client.publish(COMMAND, node.says(True, valid_for_s=60))
        on = await told(client, energised=True)
        assert on == {"energised": True, "run": "r1", "seq": 1, "reason": "command"}
        await client.publish(COMMAND, node.says(False))
        off = await told(client, energised=False)
        assert off == {"energised": False, "run": "r1", "seq": 2, "reason": "command"}
        await node.until(on=False)  # the trace comes later than the report
        await client.publish(COMMAND, node.says(True, valid_for_s=60))
        await node.until(on=True)
        assert await node.end(signal.SIGTERM) == 0
        assert await told(client, energised=False, reason="lost", run="r1")
    async with hand(node.port) as later:  # and the broker has kept it
        assert (await told(later, retained=True))["reason"] == "lost"
    assert not node.is_on()


async def test_the_lease_ends_by_itself_with_the_broker_dead(lone, mosquitto):
    """Nobody can say "off" any more: the relay's own clock does."""
    async with hand(lone.port) as client:
        await lone.start()
        await told(client, reason="start")
        await client.publish(COMMAND, lone.says(True))
        on_ns = await lone.until(on=True)
        await mosquitto.kill()
        off_ns = await lone.until(on=False)
        assert off_ns - on_ns >= LEASE_S * 1e9 * 0.95  # the link alone opens nothing
        assert lone.switchings()[-1][2] == "lease"
        await mosquitto.start()
    async with hand(lone.port) as again:  # found again, with what is true
        assert await told(again, energised=False, run="r1", reason="lease")
        await again.publish(COMMAND, lone.says(True))
        await lone.until(on=True)


async def test_what_the_broker_kept_switches_nothing_on(node):
    async with hand(node.port) as client:
        kept = node.says(True, valid_for_s=60)
        await client.publish(COMMAND, kept, qos=1, retain=True)
        await node.start()
        await told(client, reason="start")
        await client.publish(COMMAND, node.says(False))
        await told(client, reason="command")  # the kept one came before
        assert [word for _, word, _ in node.switchings()] == ["off"]
        await client.publish(COMMAND, b"", qos=1, retain=True)


async def test_a_new_run_waits_for_the_lease_of_the_old_one(node):
    async with hand(node.port) as client:
        await node.start()
        await told(client, reason="start")
        await client.publish(COMMAND, node.says(True, run="old", valid_for_s=2))
        on_ns = await node.until(on=True)
        async with insisting(client, node, run="new"):
            assert await told(client, energised=True, run="new")
        assert run_clock_ns() - on_ns >= 2e9 * 0.95


async def test_the_broker_says_so_when_a_relay_node_is_killed(lone):
    async with hand(lone.port) as client:
        await lone.start()
        await told(client, reason="start")
        await lone.end(signal.SIGKILL)
        assert await told(client, energised=False, reason="lost")
        await lone.start()  # as a service manager would
        assert await told(client, energised=False, reason="start")


async def test_a_node_that_was_frozen_obeys_no_command_that_waited(lone):
    """Commands from before the freeze would else hold for a lease after it."""
    async with hand(lone.port) as client:
        await lone.start()
        await told(client, reason="start")
        await client.publish(COMMAND, lone.says(True))
        await lone.until(on=True)
        lone.send(signal.SIGSTOP)
        await client.publish(COMMAND, lone.says(True, valid_for_s=60), qos=1)
        clock = SystemClock("UTC")
        await clock.sleep_until(clock.now().run_ms + 3_000)
        thawed_ns = run_clock_ns()
        lone.send(signal.SIGCONT)
        off_ns = await lone.until(on=False)
        assert off_ns - thawed_ns < 1e9
        # As news, or when it has connected anew, or both: whichever comes first.
        await told(client, energised=False, reason="lease")
        waited = lone.seq
        async with insisting(client, lone):
            assert (await told(client, energised=True))["seq"] > waited
            await lone.until(on=True)
        thawed = [word for at, word, _ in lone.switchings() if at > thawed_ns]
        assert thawed[:2] == ["off", "on"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--relay", "north"], "--relay north: write the topic, =, and a pin"),
        (["--relay", "a/#=GPIO17"], "--relay a/#=GPIO17: write one MQTT topic"),
        (
            ["--relay", "a=GPIO17", "--relay", "b=GPIO17"],
            "--relay b=GPIO17: this topic, or a pin, is given twice",
        ),
        (["--relay", "a=GPIO99"], "pin GPIO99 cannot be used"),
        (["--relay", "a=1", "--broker", "http://x"], "--broker http://x: write mqtt:"),
        (
            ["--relay", "a=1", "--broker", "mqtt://me:secret@x"],
            "--broker a URL with a name or password in it: write mqtt:",
        ),
        (
            ["--relay", "a=1", "--password-file", "p"],
            "--password-file: write --username",
        ),
        (["--relay", "a=1", "--ca-file", "c"], "--ca-file: leave it out"),
        (
            ["--relay", "a=1", "--username", "me", "--password-file", "none.txt"],
            "broker password_file none.txt: cannot be read",
        ),
        (["--relay", "a=GPIO17", "--trace", "none/x"], "none/x: No such file"),
    ],
)
def test_wrong_options_are_told_in_words(words, says, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(Device, "pin_factory", MockFactory())
    assert main(["relay-keeper", *words]) == 2
    assert capsys.readouterr().err.startswith(f"bottomheat relay-keeper: {says}")
