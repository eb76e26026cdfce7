"""What the commands for other boards share: the broker's options, and the end."""

import argparse
import asyncio
import signal
import sys
from collections.abc import Callable, Coroutine, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.mqtt import Door

_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
"""SIGHUP too: a terminal that is closed must not leave a relay on."""


def add_broker_options(parser: argparse.ArgumentParser) -> None:
    """Add how the broker is reached."""
    parser.add_argument(
        "--broker",
        metavar="URL",
        default="mqtt://127.0.0.1:1883",
        help="mqtt://host:port, or mqtts:// for TLS (default: %(default)s)",
    )
    parser.add_argument("--username", metavar="NAME", help="if the broker wants one")
    parser.add_argument(
        "--password-file",
        type=Path,
        metavar="FILE",
        help="its first line is the password",
    )
    parser.add_argument(
        "--ca-file",
        type=Path,
        metavar="FILE",
        help="certificates to trust instead of the system's",
    )


def door_of(args: argparse.Namespace, keepalive_s: int) -> "Door":
    """Return how the broker is entered.

    Raises:
        ValueError: The options do not fit; the message says which and why.
        WiringError: A file cannot be read.
    """
    from controller.adapters.mqtt import Door
    from controller.adapters.mqtt_address import broker_address
    from controller.wiring import BrokerWire

    address = broker_address(args.broker)
    if address is None:
        shown = "a URL with a name or password in it" if "@" in args.broker else None
        message = (
            f"--broker {shown or args.broker}: write mqtt://host or"
            " mqtts://host:8883; name and password have options of their own"
        )
        raise ValueError(message)
    scheme, host, port = address
    if args.ca_file is not None and scheme != "mqtts":
        message = "--ca-file: leave it out: certificates belong to mqtts://"
        raise ValueError(message)
    if args.password_file is not None and not args.username:
        message = "--password-file: write --username beside it"
        raise ValueError(message)
    broker = BrokerWire(
        host=host,
        port=port,
        tls=scheme == "mqtts",
        username=args.username,
        password_file=args.password_file,
        ca_file=args.ca_file,
    )
    return Door(broker, keepalive_s)


def pairs(option: str, words: Sequence[str], what: str) -> dict[str, str]:
    """Return what was given as TOPIC=…, by topic.

    Args:
        option: Its name, for people.
        words: What was given.
        what: What stands after the "=", for people.

    Raises:
        ValueError: One is no such pair, or two are alike.
    """
    from controller.adapters.mqtt_address import topic as checked

    found: dict[str, str] = {}
    for word in words:
        topic, sign, value = word.rpartition("=")
        if not sign or not value:
            message = f"{option} {word}: write the topic, =, and {what}"
            raise ValueError(message)
        try:
            checked(topic)
        except ValueError as error:
            message = f"{option} {word}: {error}"
            raise ValueError(message) from error
        if topic in found or value in found.values():
            message = f"{option} {word}: this topic, or {what}, is given twice"
            raise ValueError(message)
        found[topic] = value
    return found


async def until_told(
    work: Coroutine[object, object, None], at_once: Callable[[], None]
) -> None:
    """Run until SIGTERM, SIGINT or SIGHUP.

    Args:
        work: What is run, and cancelled then.
        at_once: Called first, before anything waits.
    """
    loop, task = asyncio.get_running_loop(), asyncio.ensure_future(work)

    def stop() -> None:
        at_once()
        task.cancel()

    for number in _SIGNALS:
        loop.add_signal_handler(number, stop)
    with suppress(asyncio.CancelledError):
        await task


def sayer(command: str) -> Callable[[str], None]:
    """Return what prints a line for a person; the same line not twice in a row."""
    last = ""

    def say(text: str) -> None:
        nonlocal last
        if text != last:
            last = text
            print(f"bottomheat {command}: {text}", file=sys.stderr, flush=True)

    return say
