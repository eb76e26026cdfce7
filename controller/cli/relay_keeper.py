"""`bottomheat relay-keeper`: relays of another board, obeying by a lease."""

import argparse
import asyncio
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.nodes import add_broker_options, door_of, pairs, sayer, until_told

if TYPE_CHECKING:
    from controller.adapters.contact_trace import ContactTrace
    from controller.adapters.gpio import Pin
    from controller.adapters.mqtt import Door

ENDED_BY_ITSELF = 3
"""Exit status when a relay could not be switched."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "relay-keeper",
        help="keep relays on this board's pins for a controller elsewhere",
        description=(
            "Switches relays on pins of this board as a controller says over MQTT,"
            ' with "lease = true" and the same topic in its configuration; there,'
            ' reports_on is the topic with "/state" after it. A relay drops out by'
            " itself when the controller's last word has run out, also while the"
            " broker is away; it is off at the start and at the end. A program"
            " that was killed cannot switch anything: let a service manager start"
            " it again at once, which switches off. This is not a safety device:"
            " keep an independent thermal cut-out before the mat."
            " Exit 0: stopped; 2: usage or pins; 3: a relay could not be switched."
        ),
    )
    parser.add_argument(
        "--relay",
        action="append",
        required=True,
        metavar="TOPIC=PIN",
        help="for each relay: its topic and pin, such as lean-to/relay/north=GPIO17",
    )
    parser.add_argument(
        "--active-low",
        action="store_true",
        help="the relays are on while their pins are low, as on many relay boards",
    )
    add_broker_options(parser)
    parser.add_argument(
        "--trace",
        type=Path,
        metavar="FILE",
        help="append a line at each switching: nanoseconds since the board started,"
        " on or off, why, topic",
    )


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.contact_trace import ContactTrace
    from controller.adapters.gpio import Pin
    from controller.adapters.mqtt import PEER_KEEPALIVE_S

    try:
        pins = pairs("--relay", args.relay, "a pin")
        # Off first: the keeper before this one may have been killed while it was on,
        # and whatever else is wrong must not leave it so.
        outputs = {t: Pin(pin, active_low=args.active_low) for t, pin in pins.items()}
        door = door_of(args, PEER_KEEPALIVE_S)
    except ValueError as error:
        print(f"bottomheat relay-keeper: {error}", file=sys.stderr)
        return 2
    trace = None if args.trace is None else ContactTrace(args.trace)
    try:
        return asyncio.run(_keep(outputs, door, trace))
    finally:
        if trace is not None:
            trace.close()


async def _keep(
    outputs: "dict[str, Pin]", door: "Door", trace: "ContactTrace | None"
) -> int:
    from controller.adapters.clocks import SystemClock
    from controller.adapters.relay_node import RelayError, RelayNode

    say = sayer("relay-keeper")
    record = (lambda *_: None) if trace is None else trace.note
    node = RelayNode(outputs, door, SystemClock("UTC"), say, record)
    try:
        await until_told(node.serve(), node.drop)
    except* RelayError as group:
        for error in group.exceptions:
            say(f"{error}; every relay was told to switch off")
        return_code = ENDED_BY_ITSELF
    else:
        return_code = 0
    return return_code
