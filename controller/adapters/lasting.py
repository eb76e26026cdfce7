"""Connections that are made again and again, and what runs while one stands.

What may live here: when to try again, and how the parts of a connection end
together. Nothing of MQTT: a lost connection is a ConnectionError.
"""

import asyncio
import random
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import AbstractAsyncContextManager
from typing import TypeVar

from controller.ports import Clock

SHORTEST_WAIT_MS = 1_000
LONGEST_WAIT_MS = 30_000
"""Waits between attempts to connect double from the one to the other."""

STEADY_MS = 10_000
"""A connection that ends sooner does not make the next wait short again: two
clients of one name would else take it from each other without a pause."""

Connection = TypeVar("Connection")


async def first_to_end(*parts: Coroutine[object, object, None]) -> None:
    """Run parts side by side; when one ends, end all, and raise what it raised."""
    tasks = [asyncio.ensure_future(part) for part in parts]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()


async def pause(clock: Clock, wait_ms: int) -> None:
    """Wait for half of a time up to all of it, so that not all come at once."""
    jitter_ms = random.uniform(0.5, 1.0) * wait_ms  # noqa: S311 (no secret)
    await clock.sleep_until(clock.now().run_ms + round(jitter_ms))


async def connected_for_ever(
    connect: Callable[[], AbstractAsyncContextManager[Connection]],
    use: Callable[[Connection], Awaitable[None]],
    clock: Clock,
    say: Callable[[str], None],
) -> None:
    """Connect, use the connection until it is lost, wait, and connect anew.

    Args:
        connect: Makes a connection, a new client each time.
        use: What is done with it; ends by a ConnectionError when it is lost.
        clock: Where time comes from.
        say: Told in words why a connection ended, or cannot be made: once.
    """
    wait_ms, said = SHORTEST_WAIT_MS, ""
    while True:
        since_ms, hint = clock.now().run_ms, ""
        try:
            async with connect() as connection:
                said = ""
                hint = ", soon: does another program connect by the same name?"
                await use(connection)
        except ConnectionError as error:
            steady = clock.now().run_ms - since_ms >= STEADY_MS
            text = f"{error}{'' if steady else hint}"
            if text != said:
                said = text
                say(text)
        steady = clock.now().run_ms - since_ms >= STEADY_MS
        wait_ms = SHORTEST_WAIT_MS if steady else min(2 * wait_ms, LONGEST_WAIT_MS)
        await pause(clock, wait_ms)
