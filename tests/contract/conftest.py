"""Brokers to hold the MQTT adapter against: our embedded one and mosquitto."""

import asyncio
import gc
import os
import shutil
import signal
import socket
import subprocess
import warnings
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters.broker import embedded_broker

MOSQUITTO = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


class Mosquitto:
    """A mosquitto on a port of its own that a test may kill and start again."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._conf = folder / "mosquitto.conf"
        self._conf.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\n"
            "persistence false\nuser root\n",
            encoding="utf-8",
        )
        self._process: subprocess.Popen[bytes] | None = None

    async def start(self) -> None:
        assert MOSQUITTO is not None
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self._conf)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        async with asyncio.timeout(10):
            while not self._answers():
                await asyncio.to_thread(self._process.poll)

    def _answers(self) -> bool:
        try:
            socket.create_connection(("127.0.0.1", self.port), 1).close()
        except OSError:
            return False
        return True

    async def kill(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            await asyncio.to_thread(self._process.wait)
            self._process = None


@asynccontextmanager
async def running_mosquitto(folder: Path) -> AsyncIterator[Mosquitto]:
    broker = Mosquitto(folder)
    await broker.start()
    try:
        yield broker
    finally:
        await broker.kill()


needs_mosquitto = pytest.mark.skipif(
    MOSQUITTO is None, reason="mosquitto is not installed"
)


GIVEN = os.environ.get("TEST_BROKER")
"""A broker that somebody else has started, as 127.0.0.1:port."""


async def forget_kept(port: int) -> None:
    """Make a broker that outlives a test forget all that tests left on it."""
    kept = set()
    async with aiomqtt.Client("127.0.0.1", port, identifier="tidy") as client:
        await client.subscribe("#", qos=1)
        await client.publish("tidy/end", b"", qos=1)
        async for message in client.messages:
            if str(message.topic) == "tidy/end":
                break
            kept.add(str(message.topic))
        for topic in kept:
            await client.publish(topic, b"", qos=1, retain=True)


KINDS = [
    "embedded",
    pytest.param("mosquitto", marks=[needs_mosquitto]),
    *(["given"] if GIVEN else []),
]


@pytest.fixture(params=KINDS)
async def broker_port(request, tmp_path) -> AsyncIterator[int]:
    """A broker of each kind."""
    if request.param == "embedded":
        async with embedded_broker() as port:
            yield port
        # It leaves the sockets of its last clients to the collector, whose warnings
        # would be some later test's failure.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)
            gc.collect()
    elif request.param == "given":
        assert GIVEN is not None
        port = int(GIVEN.rpartition(":")[2])
        await forget_kept(port)
        yield port
    else:
        async with running_mosquitto(tmp_path) as broker:
            yield broker.port


@pytest.fixture
async def mosquitto(tmp_path) -> AsyncIterator[Mosquitto]:
    """A mosquitto that the test may kill."""
    async with running_mosquitto(tmp_path) as broker:
        yield broker
