"""The embedded broker's end comes, also when a connection of it did not hear of it."""

import asyncio

import pytest

from controller.adapters import broker


async def test_a_connection_that_missed_the_end_is_told_again(monkeypatch):
    """As where a cancellation was lost: nobody but a second telling frees it."""
    monkeypatch.setattr(broker, "STOPPING_S", 0.001)
    told = asyncio.Event()
    tellings = 0

    async def tell() -> None:
        nonlocal tellings
        tellings += 1
        if tellings == 2:
            told.set()
        await asyncio.Event().wait()  # it may hang as well

    async def shutdown() -> None:
        await told.wait()

    async with asyncio.timeout(10):
        await broker._stopped(shutdown(), [tell])
    assert tellings == 2


async def test_what_the_broker_dies_of_is_raised():
    async def shutdown() -> None:
        raise OSError("the port is gone")

    with pytest.raises(OSError, match="the port is gone"):
        await broker._stopped(shutdown(), [])
