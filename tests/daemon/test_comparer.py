"""Comparisons beside a running daemon: worked out once, one at a time, by a child."""

import asyncio
import os
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from controller.adapters.clocks import ManualClock
from controller.cli.comparer import AGAIN_MS, KEPT, Comparer
from controller.ports import Compared, Comparison

COUNTING = """
import json, pathlib, sys
log = pathlib.Path(sys.argv[1])
log.write_text(log.read_text() + "x")
print(json.dumps({"words": sys.argv[2:]}))
"""
WAITING = """
import pathlib, sys, time
log = pathlib.Path(sys.argv[1])
log.write_text("begun")
while log.read_text() != "go on":
    time.sleep(0.01)
print('{"done": true}')
"""
ONE = Comparison("1", newest=3)


class World:
    """A comparer, its clock, and a child of a test's own making."""

    def __init__(self, tmp_path, child: str = COUNTING, **changes: object) -> None:
        self.log = tmp_path / "season.db"
        self.log.write_text("")
        self.clock = ManualClock("UTC", utc_ms=1_800_000_000_000)
        fields = {"wait_s": 25.0, **changes}
        self.comparer = Comparer(
            self.log, self.clock, (sys.executable, "-c", child), **fields
        )

    def now(self, child: str) -> None:
        self.comparer.command = (sys.executable, "-c", child)

    @asynccontextmanager
    async def serving(self) -> AsyncIterator[Comparer]:
        task = asyncio.create_task(self.comparer.serve())
        try:
            yield self.comparer
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


@pytest.fixture
def world(tmp_path):
    return World(tmp_path)


async def test_it_is_worked_out_once_and_anew_when_more_was_told(world):
    async with world.serving() as comparer:
        first = await comparer.compared(ONE)
        assert first.result == {"words": ["1"]}
        assert await comparer.compared(ONE) == first
        assert world.log.read_text() == "x"
        await comparer.compared(Comparison("1", newest=4))
        assert world.log.read_text() == "xx"


async def test_the_child_is_told_what_was_asked(world):
    asked = Comparison("2", 3, "boschloo", days=35.0, base_c=-1.5, upper_c=30.0)
    async with world.serving() as comparer:
        found = await comparer.compared(asked)
    words = ["2", "--test=boschloo", "--days=35.0", "--base=-1.5", "--upper=30.0"]
    assert found.result == {"words": words}


async def test_whoever_asks_meanwhile_is_told_to_ask_again(tmp_path):
    world = World(tmp_path, WAITING, wait_s=0.0)
    async with world.serving() as comparer:
        assert "is being worked out" in (await comparer.compared(ONE)).working
        other = await comparer.compared(Comparison("2", newest=3))
        assert other.working.startswith("another comparison")
        async with asyncio.timeout(25):
            while world.log.read_text() != "begun":
                await asyncio.to_thread(world.log.read_text)
        world.log.write_text("go on")
        comparer.wait_s = 25.0
        assert (await comparer.compared(ONE)).result == {"done": True}


async def test_what_cannot_be_compared_is_told_by_the_child_s_exit(world):
    world.now("import sys; print('nothing was stuck', file=sys.stderr); sys.exit(3)")
    async with world.serving() as comparer:
        assert await comparer.compared(ONE) == Compared(cannot="nothing was stuck")


@pytest.mark.parametrize(
    ("child", "why"),
    [
        ("import sys; sys.exit(2)", "exit status 2"),
        ("import no_such_module", "no_such_module"),
        ("import sys; print('damaged', file=sys.stderr); sys.exit(2)", "damaged"),
        ("import os; os.kill(os.getpid(), 9)", "ended by signal 9"),
        ("print('rubbish')", "JSONDecodeError"),
    ],
)
async def test_a_failure_is_told_and_tried_again_after_a_while(world, child, why):
    world.now(child)
    async with world.serving() as comparer:
        assert why in (await comparer.compared(ONE)).failed
        world.now(COUNTING)
        assert why in (await comparer.compared(ONE)).failed
        world.clock.advance(AGAIN_MS)
        assert (await comparer.compared(ONE)).result == {"words": ["1"]}


async def test_a_child_that_takes_too_long_is_ended(tmp_path):
    world = World(tmp_path, WAITING, wall_s=0.5)
    async with world.serving() as comparer:
        assert "longer than 0.5 s" in (await comparer.compared(ONE)).failed


async def test_at_the_daemon_s_end_no_child_is_left(tmp_path):
    child = WAITING.replace('"begun"', "str(__import__('os').getpid())")
    world = World(tmp_path, child, wait_s=0.0)
    async with world.serving() as comparer:
        await comparer.compared(ONE)
        async with asyncio.timeout(25):
            while not (text := await asyncio.to_thread(world.log.read_text)):
                pass
    with pytest.raises(ProcessLookupError):
        os.kill(int(text), 0)


async def test_only_so_many_are_remembered(world):
    world.now("import sys; print('{}')")
    async with world.serving() as comparer:
        for number in range(KEPT + 1):
            await comparer.compared(Comparison(str(number), newest=1))
        world.now(COUNTING)
        assert (await comparer.compared(Comparison("1", newest=1))).result == {}
        again = await comparer.compared(Comparison("0", newest=1))
        assert again.result == {"words": ["0"]}
