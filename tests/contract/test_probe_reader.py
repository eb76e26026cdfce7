"""Probes of another board on MQTT: a process, a fake tree of the kernel's files."""

import asyncio
import json
import os
import signal
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.mqtt import Door
from controller.adapters.one_wire import crc8
from controller.adapters.probe_node import LATEST_MS, ProbeNode
from controller.cli import main
from controller.wiring import BrokerWire

ROOT = Path(__file__).parents[2]
WARM, COLD = "28-0000051d3a2f", "28-0000051d3a30"


def frame(milli: int, *, verdict: str = "YES", data: bytes | None = None) -> str:
    """Return a w1_slave file as docs.kernel.org, w1_therm, shows it."""
    raw = round(milli * 16 / 1000).to_bytes(2, "little", signed=True)
    data = data or raw + bytes([0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10])
    words = " ".join(f"{byte:02x}" for byte in (*data, crc8(data)))
    return f"{words} : crc={crc8(data):02x} {verdict}\n{words} t={milli}\n"


@pytest.fixture
def bus(tmp_path):
    """Put frames where the kernel would."""
    (tmp_path / "w1_bus_master1").mkdir()

    def put(address: str, text: str) -> Path:
        (tmp_path / address).mkdir(exist_ok=True)
        (tmp_path / address / "w1_slave").write_text(text, encoding="ascii")
        return tmp_path

    put(WARM, frame(21_375))
    put(COLD, frame(-62))
    return put


@asynccontextmanager
async def reading(port: int, devices: Path, clock, said: list[str]):
    addresses = {"t/N1": WARM, "t/N2": COLD}
    door = Door(BrokerWire(port=port))
    node = ProbeNode(addresses, 10_000, door, clock, say=said.append, devices=devices)
    task = asyncio.create_task(node.serve())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def heard(client: aiomqtt.Client, count: int) -> list[tuple[str, str]]:
    found = []
    async with asyncio.timeout(15):
        async for message in client.messages:
            assert not message.retain
            assert message.qos == 1
            found.append((str(message.topic), message.payload.decode()))
            if len(found) == count:
                return found
    raise AssertionError("the broker ended")


async def until(condition) -> None:
    clock = SystemClock("UTC")
    async with asyncio.timeout(15):
        while not condition():
            await clock.sleep_until(clock.now().run_ms + 5)


async def test_values_are_plain_numbers_at_their_times(broker_port, bus, tmp_path):
    clock, said = ManualClock(), []
    async with aiomqtt.Client("127.0.0.1", broker_port, identifier="hand") as client:
        await client.subscribe("t/#", qos=1)
        async with reading(broker_port, tmp_path, clock, said):
            assert await heard(client, 2) == [("t/N1", "21.375"), ("t/N2", "-0.062")]
            await until(lambda: clock.wakes_at() == 10_000)
            bus(WARM, frame(22_000))
            clock.advance(10_000)
            assert (await heard(client, 1)) == [("t/N1", "22.000")]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (frame(21_375, verdict="NO"), "checksum is wrong"),
        (frame(0, data=bytes(8)), "the data line is shorted"),
        ("", "must be two lines"),
    ],
)
async def test_a_broken_frame_is_told_once_and_never_sent(
    mosquitto, bus, tmp_path, text, why
):
    clock, said = ManualClock(), []
    bus(WARM, text)
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe("t/#", qos=1)
        async with reading(mosquitto.port, tmp_path, clock, said):
            for _ in range(3):
                assert await heard(client, 1) == [("t/N2", "-0.062")]
                await until(lambda: clock.wakes_at() is not None)
                clock.advance(10_000)
            bus(WARM, frame(21_000))
            while ("t/N1", "21.000") not in await heard(client, 1):
                await until(lambda: clock.wakes_at() is not None)
                clock.advance(10_000)
    assert len([line for line in said if why in line]) == 1
    assert "t/N1: is read again" in said


@pytest.mark.parametrize("milli", [85_000, 127_937, -127_000])
async def test_values_that_are_no_measurement_are_left_to_the_controller(
    mosquitto, bus, tmp_path, milli
):
    """It knows them by value, and tells a person what they mean."""
    bus(WARM, frame(milli, data=bytes([1, 2, 3, 4, 5, 6, 7, 8])))
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe("t/N1", qos=1)
        async with reading(mosquitto.port, tmp_path, ManualClock(), []):
            ((_, payload),) = await heard(client, 1)
    assert float(payload) * 1000 == milli


async def test_a_reading_that_was_held_up_is_not_sent(mosquitto, bus, tmp_path):
    """It has no time of its own, and would pass for new."""

    class Slow(ManualClock):
        """The first probe takes too long each time."""

        looks = 0

        def now(self):
            self.looks += 1
            if self.looks == 4:  # the second look of the first reading
                self.advance(LATEST_MS + 1)
            return super().now()

    said: list[str] = []
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe("t/#", qos=1)
        async with reading(mosquitto.port, tmp_path, Slow(), said):
            assert await heard(client, 1) == [("t/N2", "-0.062")]
    assert any(line.startswith("t/N1: took more than 5 s") for line in said)


async def test_the_command_reads_until_it_is_told_to_stop(mosquitto, bus, tmp_path):
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe("t/#", qos=1)
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "controller", "probe-reader", "--probe", f"t/N1={WARM}"),
            *("--broker", f"mqtt://127.0.0.1:{mosquitto.port}"),
            *("--devices", str(tmp_path), "--every", "1s"),
            cwd=ROOT,
            env=os.environ.copy(),
            stderr=asyncio.subprocess.PIPE,
        )
        assert await heard(client, 2) == [("t/N1", "21.375")] * 2
        process.send_signal(signal.SIGTERM)
        _, said = await process.communicate()
        assert process.returncode == 0
        assert b"connected to the broker at 127.0.0.1:" in said


def test_list_shows_what_is_there_and_what_it_measures(bus, tmp_path, capsys):
    bus(COLD, frame(85_000))
    bus("28-0000051d3a31", frame(20_000, verdict="NO"))
    assert main(["probe-reader", "--list", "--devices", str(tmp_path)]) == 0
    warm, cold, broken = capsys.readouterr().out.splitlines()[2:]
    assert warm.split()[:3] == [WARM, "21.38", "°C"]
    assert cold.split()[:3] == [COLD, "85.00", "°C"]
    assert "at power-up, usually no measurement" in cold
    assert "checksum is wrong" in broken


def test_list_as_json(bus, tmp_path, capsys):
    words = ["probe-reader", "--list", "--json", "--devices", str(tmp_path)]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["probes"][0] == {"address": WARM, "temp_c": 21.375, "note": None}


@pytest.mark.parametrize("folder", ["", "none"])
def test_an_empty_bus_is_a_finding_with_advice(folder, tmp_path, capsys):
    devices = str(tmp_path / folder)
    assert main(["probe-reader", "--list", "--devices", devices]) == 1
    assert "dtoverlay=w1-gpio" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "--probe is missing"),
        (["--probe", "t/N1"], "--probe t/N1: write the topic, =, and an address"),
        (["--probe", "t/N1=29"], "--probe t/N1=29: write the address as the board"),
        (["--probe", f"t={WARM}", "--every", "30"], "--every 30: "),
        (["--probe", f"t={WARM}", "--every", "1 d"], "--every 1 d: from 1 s to 1 h"),
        (["--probe", f"t={WARM}", "--broker", "x"], "--broker x: write mqtt://host"),
    ],
)
def test_wrong_options_are_told_in_words(words, says, capsys):
    assert main(["probe-reader", *words]) == 2
    assert capsys.readouterr().err.startswith(f"bottomheat probe-reader: {says}")
