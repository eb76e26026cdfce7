"""A small MQTT broker in this process, on this machine only: for the demo.

For a real bench use a broker that enforces keepalives and runs by itself.
"""

import logging
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager


class BrokerMissingError(ImportError):
    """The embedded broker is not installed; the message says what to install."""


@asynccontextmanager
async def embedded_broker(port: int = 0) -> AsyncIterator[int]:
    """Run a broker on 127.0.0.1; give its port; stop it at the end.

    Args:
        port: TCP port; 0: any free one.

    Raises:
        BrokerMissingError: It needs the extra bottomheat[demo].
    """
    try:
        from amqtt.broker import Broker  # noqa: PLC0415 (an extra)
    except ImportError as error:
        message = "the embedded broker is not installed; it needs bottomheat[demo]"
        raise BrokerMissingError(message) from error
    for name in ("amqtt", "transitions"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    chosen = port or _free_port()
    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{chosen}"}},
            "plugins": {
                "amqtt.plugins.authentication.AnonymousAuthPlugin": {
                    "allow_anonymous": True
                }
            },
        }
    )
    await broker.start()
    try:
        yield chosen
    finally:
        await broker.shutdown()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
