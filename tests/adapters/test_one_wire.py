"""One-wire probes of this board: whole frames only."""

import asyncio

import pytest

from controller.adapters.clocks import ManualClock
from controller.adapters.one_wire import (
    OneWire,
    crc8,
    measured,
    parse_frame,
    probes_on,
)

# A 12-bit reading of 21.375 °C (0x0156): our own bytes, checksum by crc8, whose
# own correctness tests/oracle/test_crc8.py shows.
BYTES = bytes([0x56, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10])


def frame(data: bytes = BYTES, verdict: str = "YES", milli: int = 21_375) -> str:
    words = " ".join(f"{byte:02x}" for byte in (*data, crc8(data)))
    return f"{words} : crc={crc8(data):02x} {verdict}\n{words} t={milli}\n"


def test_a_whole_frame_gives_its_thousandths():
    assert parse_frame(frame()) == 21_375
    assert parse_frame(frame(milli=-62)) == -62


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "must be two lines"),
        ("rubbish", "must be two lines"),
        (frame(verdict="NO"), "checksum is wrong"),
        (frame().replace("56", "57"), "checksum is wrong"),
        (frame(bytes(8)), "the data line is shorted"),
        (frame().replace("t=21375", "t=warm"), "must be two lines"),
    ],
)
def test_a_broken_frame_is_refused_by_name(text, says):
    with pytest.raises(ValueError, match=says):
        parse_frame(text)


async def others() -> None:
    await asyncio.to_thread(lambda: None)


async def test_probes_are_read_in_turn_and_a_missing_one_is_refused(tmp_path):
    device = tmp_path / "28-1"
    device.mkdir()
    (device / "w1_slave").write_text(frame(), encoding="ascii")
    clock = ManualClock()
    source = OneWire(
        {"a": "28-1", "b": "28-2"}, {"a": 10_000, "b": 10_000}, clock, tmp_path
    )
    task = asyncio.create_task(source.serve())
    readings, refusals = [], []
    async with asyncio.timeout(10):
        while len(readings) + len(refusals) < 4:
            await others()
            arrived = source.take()
            readings += arrived.readings
            refusals += arrived.refusals
            if clock.wakes_at() is not None:
                clock.advance(10_000)
    task.cancel()
    assert [r.milli for r in readings] == [21_375, 21_375]
    assert readings[1].at_ms - readings[0].at_ms == 10_000
    assert "28-2" in refusals[0].reason
    assert source.link_up()


async def test_a_probe_is_measured_by_its_address(tmp_path):
    (tmp_path / "28-1").mkdir()
    (tmp_path / "28-1" / "w1_slave").write_text(frame(), encoding="ascii")
    assert await measured("28-1", tmp_path) == 21_375
    with pytest.raises(ValueError, match=r"28-2/w1_slave cannot be read: No such"):
        await measured("28-2", tmp_path)


def test_what_has_no_temperature_is_no_probe(tmp_path):
    """The bus's own master, and other devices."""
    for name in ("w1_bus_master1", "28-2", "28-1"):
        (tmp_path / name).mkdir()
    for name in ("28-2", "28-1"):
        (tmp_path / name / "w1_slave").touch()
    assert probes_on(tmp_path) == ["28-1", "28-2"]
    with pytest.raises(OSError, match="No such file"):
        probes_on(tmp_path / "none")
