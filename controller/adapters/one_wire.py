"""One-wire thermometers of this board, through the kernel's files.

The kernel measures when its file is read, which takes up to 750 ms a probe:
that is done in a thread. What the values mean (85.0 is a power-up, and so on)
is judged by the core; here a frame must be whole.
"""

import asyncio
import re
from collections.abc import Mapping
from pathlib import Path

from controller.core.scan import Reading, Refusal
from controller.core.units import Millis
from controller.ports import Arrivals, Clock

DEVICES = Path("/sys/bus/w1/devices")

_FRAME = re.compile(
    r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)\n"
    r"(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,7})\s*"
)
"""The kernel's w1_slave: nine bytes of scratchpad, its verdict on their
checksum, and thousandths of a degree (docs.kernel.org, w1_therm)."""

_POLYNOMIAL = 0x8C
"""x⁸ + x⁵ + x⁴ + 1, reflected, as one-wire devices compute it."""


def crc8(data: bytes) -> int:
    """Return the one-wire checksum of some bytes; 0 where it is among them."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ _POLYNOMIAL if crc & 1 else crc >> 1
    return crc


def parse_frame(text: str) -> int:
    """Return the thousandths of a degree Celsius of a w1_slave file.

    Raises:
        ValueError: The frame is not whole; the message says how.
    """
    match = _FRAME.fullmatch(text)
    if match is None:
        message = f"found {text[:40]!r}: must be two lines that end in YES and t=…"
        raise ValueError(message)
    scratchpad = bytes.fromhex(match[1])
    if match[2] != "YES" or crc8(scratchpad) != 0:
        message = "the checksum is wrong: a bad contact, a long lead or a weak pull-up"
        raise ValueError(message)
    if not any(scratchpad):
        message = "nine zero bytes: no probe answers, the data line is shorted"
        raise ValueError(message)
    return int(match[3])


def probes_on(devices: Path) -> list[str]:
    """Return the addresses of what has a temperature on the bus, in order.

    Raises:
        OSError: There is no such folder: the kernel drives no one-wire bus.
    """
    return sorted(p.name for p in devices.iterdir() if (p / "w1_slave").exists())


async def measured(address: str, devices: Path = DEVICES) -> int:
    """Return what a probe measures now, in thousandths of a degree Celsius.

    Raises:
        ValueError: It cannot be read, or what it says is not whole.
    """
    file = devices / address / "w1_slave"
    try:
        return parse_frame(await asyncio.to_thread(file.read_text, "ascii"))
    except OSError as error:
        message = f"{file} cannot be read: {error.strerror}"
        raise ValueError(message) from error
    except ValueError as error:
        message = f"{file}: {error}"
        raise ValueError(message) from error


class OneWire:
    """Implements ports.ScanSource for the probes of this board.

    Args:
        addresses: The kernel's address of each probe, by its name.
        every_ms: How often each is read, by its name [ms].
        clock: The bench's clock.
        devices: Where the kernel shows them.
    """

    def __init__(
        self,
        addresses: Mapping[str, str],
        every_ms: Mapping[str, int],
        clock: Clock,
        devices: Path = DEVICES,
    ) -> None:
        self._addresses = addresses
        self._every_ms = every_ms
        self._clock = clock
        self._devices = devices
        self._arrived: list[Reading | Refusal] = []

    def take(self) -> Arrivals:
        """Return what was read since and forget it."""
        arrived, self._arrived = self._arrived, []
        return Arrivals(
            tuple(a for a in arrived if isinstance(a, Reading)),
            tuple(a for a in arrived if isinstance(a, Refusal)),
        )

    def link_up(self) -> bool:
        """There is no link to lose: a probe that is gone is refused by name."""
        return True

    async def serve(self) -> None:
        """Read every probe at its times, until cancelled."""
        due = dict.fromkeys(self._addresses, self._clock.now().run_ms)
        while True:
            probe = min(due, key=lambda name: due[name])
            await self._clock.sleep_until(due[probe])
            found = await self._measured(probe)
            self._arrived.append(found)  # to the list of now: take() swaps it
            due[probe] = max(
                due[probe] + self._every_ms[probe], self._clock.now().run_ms
            )

    async def _measured(self, probe: str) -> Reading | Refusal:
        try:
            milli = await measured(self._addresses[probe], self._devices)
        except ValueError as error:
            return Refusal(probe, Millis(self._clock.now().run_ms), str(error))
        return Reading(probe, Millis(self._clock.now().run_ms), milli)
