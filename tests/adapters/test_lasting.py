"""Connections that are made again and again."""

import asyncio
from contextlib import asynccontextmanager

import pytest

from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.lasting import (
    LONGEST_WAIT_MS,
    STEADY_MS,
    connected_for_ever,
    first_to_end,
)


class Line:
    """A connection that lasts for so long, or cannot be made."""

    def __init__(self) -> None:
        self.clock = ManualClock()
        self.lasts_ms: int | None = None
        self.why = "nobody is there"
        self.said: list[str] = []
        self.made = 0

    @asynccontextmanager
    async def connect(self):
        if self.lasts_ms is None:
            raise ConnectionError(self.why)
        self.made += 1
        yield self

    async def use(self, _) -> None:
        await self.clock.sleep_until(self.clock.now().run_ms + (self.lasts_ms or 0))
        raise ConnectionError(self.why)

    async def waits_ms(self) -> int:
        """Return what it waits for now [ms]; then let it come about."""
        real = SystemClock("UTC")
        async with asyncio.timeout(10):
            while (at_ms := self.clock.wakes_at()) is None:
                await real.sleep_until(real.now().run_ms + 1)
        wait_ms = at_ms - self.clock.now().run_ms
        self.clock.advance(wait_ms)
        return wait_ms


@pytest.fixture
async def line():
    line = Line()
    task = asyncio.create_task(
        connected_for_ever(line.connect, line.use, line.clock, line.said.append)
    )
    yield line
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def test_attempts_grow_rarer_and_the_reason_is_said_once(line):
    longest = [2_000, 4_000, 8_000, 16_000, 30_000, 30_000]
    for longest_ms in longest:
        assert longest_ms / 2 <= await line.waits_ms() <= longest_ms
    assert line.said == ["nobody is there"]
    line.why = "the name is not known"
    await line.waits_ms()
    await line.waits_ms()
    assert line.said == ["nobody is there", "the name is not known"]


async def test_after_a_connection_that_lasted_the_next_comes_soon(line):
    for _ in range(6):
        await line.waits_ms()
    line.lasts_ms, line.why = STEADY_MS, "lost"
    waits = [await line.waits_ms() for _ in range(4)]
    lasted = waits.index(STEADY_MS)
    assert waits[lasted + 1] <= 1_000
    assert line.said[-1] == "lost"


async def test_two_of_one_name_do_not_fight_without_a_pause(line):
    line.lasts_ms, line.why = 10, "lost"
    waits = [await line.waits_ms() for _ in range(14)]
    assert max(waits[-2:]) >= LONGEST_WAIT_MS / 2
    assert line.said[-1] == "lost, soon: does another program connect by the same name?"


async def test_the_first_part_that_ends_ends_all():
    ended = []

    async def lasting() -> None:
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("lasting")

    async def short() -> None:
        raise ConnectionError("lost")

    with pytest.raises(ConnectionError, match="lost"):
        await first_to_end(lasting(), short())
    assert ended == ["lasting"]
