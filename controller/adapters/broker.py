"""A small MQTT broker in this process, on this machine only: for the demo.

For a real bench use a broker that enforces keepalives and runs by itself.
"""

import asyncio
import logging
import socket
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from contextlib import asynccontextmanager

STOPPING_S = 1.0
"""How long the broker has to stop before its connections are told so again [s]."""


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
        # It forgets its connections before they have stopped.
        handlers = [handler for _, handler in broker._sessions.values()]  # noqa: SLF001
        await _stopped(broker.shutdown(), [handler.stop for handler in handlers])


async def _stopped(
    shutdown: Coroutine[object, object, None],
    again: Sequence[Callable[[], Coroutine[object, object, None]]],
) -> None:
    """Wait for the broker's end, and see that it comes.

    Each of its connections reads by asyncio.wait_for, which before Python 3.12
    takes a cancellation for done when a packet comes in the same moment. Then
    the broker would wait for ever for one that goes on reading: so it is told again.
    """
    ending = asyncio.ensure_future(shutdown)
    tellings: list[asyncio.Future[None]] = []
    try:
        while not (await asyncio.wait({ending}, timeout=STOPPING_S))[0]:
            tellings += [asyncio.ensure_future(tell()) for tell in again]
        ending.result()
    finally:
        for task in (ending, *tellings):
            task.cancel()
        await asyncio.gather(*tellings, return_exceptions=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
