"""`bottomheat probe-reader`: one-wire probes of another board, on MQTT."""

import argparse
import asyncio
import json
import re
import sys
from pathlib import Path

from controller.cli.nodes import add_broker_options, door_of, pairs, sayer, until_told

DEVICES = Path("/sys/bus/w1/devices")

_ADDRESS = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
_SHORTEST_MS, _LONGEST_MS = 1_000, 3_600_000

_NO_MEASUREMENT = {
    # Linux kernel, Documentation/ABI/testing/sysfs-driver-w1_therm
    85_000: "85.0: its value at power-up, usually no measurement",
    127_937: "127.94: it has too little power",
}


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "probe-reader",
        help="read one-wire probes on this board for a controller elsewhere",
        description=(
            "Reads one-wire temperature probes through the kernel and publishes each"
            " value in °C as a plain number, not kept by the broker. A damaged frame"
            " is told on stderr and not sent. --list shows the probes that are there"
            " with what they measure now: warm one in your hand to tell which it is."
            " Exit 0: stopped; 1: --list found no probe; 2: usage."
        ),
    )
    parser.add_argument(
        "--probe",
        action="append",
        default=[],
        metavar="TOPIC=ADDRESS",
        help="for each probe: its topic and address, such as"
        " lean-to/N1=28-0000051d3a2f",
    )
    parser.add_argument(
        "--every",
        default="30 s",
        metavar="TIME",
        help='how often each is read, such as "10 s" (default: %(default)s)',
    )
    parser.add_argument(
        "--list", action="store_true", help="show which probes are there, and end"
    )
    parser.add_argument("--json", action="store_true", help="--list prints JSON")
    parser.add_argument(
        "--devices",
        type=Path,
        default=DEVICES,
        metavar="FOLDER",
        help="where the kernel shows the probes (default: %(default)s)",
    )
    add_broker_options(parser)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.mqtt import KEEPALIVE_S

    if args.list:
        return asyncio.run(_list(args.devices, as_json=args.json))
    try:
        addresses = _addresses(args.probe)
        every_ms = _every_ms(args.every)
        door = door_of(args, KEEPALIVE_S)
    except ValueError as error:
        print(f"bottomheat probe-reader: {error}", file=sys.stderr)
        return 2
    from controller.adapters.clocks import SystemClock
    from controller.adapters.probe_node import ProbeNode

    node = ProbeNode(
        addresses,
        every_ms,
        door,
        SystemClock("UTC"),
        say=sayer("probe-reader"),
        devices=args.devices,
    )
    asyncio.run(until_told(node.serve(), lambda: None))
    return 0


def _addresses(words: list[str]) -> dict[str, str]:
    if not words:
        message = "--probe is missing: give one for each probe; --list shows them"
        raise ValueError(message)
    found = pairs("--probe", words, "an address")
    for topic, address in found.items():
        if not _ADDRESS.fullmatch(address):
            message = (
                f"--probe {topic}={address}: write the address as the board shows it,"
                " such as 28-0000051d3a2f; --list shows what is there"
            )
            raise ValueError(message)
    return found


def _every_ms(text: str) -> int:
    from controller.adapters.settings.quantities import duration

    try:
        every_ms = duration(text).milli
    except ValueError as error:
        message = f"--every {text}: {error}"
        raise ValueError(message) from error
    if not _SHORTEST_MS <= every_ms <= _LONGEST_MS:
        message = f"--every {text}: from 1 s to 1 h"
        raise ValueError(message)
    return every_ms


async def _list(devices: Path, *, as_json: bool) -> int:
    """Show what is on the bus; return 1 if there is nothing."""
    from controller.adapters.one_wire import measured, probes_on

    try:
        there = probes_on(devices)
    except OSError:
        there = []
    found: list[tuple[str, int | None, str]] = []
    for address in there:
        try:
            milli = await measured(address, devices)
            found.append((address, milli, _NO_MEASUREMENT.get(milli, "")))
        except ValueError as error:
            found.append((address, None, str(error)))
    print(_as_json(found) if as_json else _as_table(found, devices))
    return 0 if found else 1


def _as_json(found: list[tuple[str, int | None, str]]) -> str:
    probes = [
        {
            "address": address,
            "temp_c": None if milli is None else milli / 1000,
            "note": note or None,
        }
        for address, milli, note in found
    ]
    return json.dumps({"probes": probes}, indent=2)


def _as_table(found: list[tuple[str, int | None, str]], devices: Path) -> str:
    from controller.cli.output import figure, table

    if not found:
        return (
            f"No one-wire probe under {devices}. Is the bus switched on (on a"
            " Raspberry Pi: dtoverlay=w1-gpio in config.txt, then a restart), is its"
            " pull-up of about 4.7 kΩ there, are the probes wired?"
        )
    rows = [
        [address, figure(None if milli is None else milli / 1000, 2, " °C"), note]
        for address, milli, note in found
    ]
    return table(["probe", "now", "note"], rows)
