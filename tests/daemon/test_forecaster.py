"""The forecast beside a running daemon: when it is due, and whatever goes wrong."""

import asyncio
import json
import sys

import pytest

from controller.adapters.clocks import ManualClock
from controller.cli.forecast_job import forecast_beside
from controller.cli.forecaster import AGAIN_MS, FIRST_MS, LOOK_MS, Forecaster

DAY_MS = 86_400_000
CHILD = """
import json, pathlib, sys
result = pathlib.Path(sys.argv[2])
count = json.loads(result.read_text())["count"] + 1 if result.exists() else 1
result.write_text(json.dumps({"count": count, "newest": 7, "words": sys.argv[3:]}))
"""


class World:
    """A forecaster, its clock, and a child of a test's own making."""

    def __init__(self, tmp_path, child: str = CHILD, **changes: object) -> None:
        self.clock = ManualClock("UTC", utc_ms=1_800_000_000_000)
        self.said: list[str] = []
        self.told: list[object] = []
        self.log = tmp_path / "season.db"
        self.result = forecast_beside(self.log)
        fields = {
            "crops": None,
            "changes": lambda after: self.told,
            "command": (sys.executable, "-c", child),
            **changes,
        }
        self.forecaster = Forecaster(
            log=self.log, clock=self.clock, say=self.said.append, **fields
        )

    async def run(self, *steps_ms: int) -> None:
        """Let it serve while the clock goes on, step by step."""
        task = asyncio.create_task(self.forecaster.serve())
        try:
            for step_ms in steps_ms:
                await self.at_rest(task)
                self.clock.advance(step_ms)
            await self.at_rest(task)
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    async def at_rest(self, task: asyncio.Task[None]) -> None:
        """Wait until it sleeps on the clock again."""
        async with asyncio.timeout(60):
            while self.clock.wakes_at() is None:
                assert not task.done(), task
                await asyncio.wait({task}, timeout=0.01)

    def count(self) -> int:
        kept = self.forecaster.kept().result
        return kept["count"] if isinstance(kept, dict) else 0


@pytest.fixture
def world(tmp_path):
    return World(tmp_path)


async def test_it_is_worked_out_soon_after_a_start_and_then_daily(world):
    assert world.forecaster.kept().result is None
    await world.run(FIRST_MS, *[LOOK_MS] * 3)
    assert world.count() == 1
    await world.run(FIRST_MS, DAY_MS, LOOK_MS)
    assert world.count() == 2


async def test_what_was_told_of_batches_makes_it_due(world):
    await world.run(FIRST_MS)
    world.told.append("a look")
    await world.run(FIRST_MS)
    assert world.count() == 2


async def test_the_child_is_given_the_bench_s_time_and_its_crops(tmp_path):
    world = World(tmp_path, crops=tmp_path / "mine.toml")
    await world.run(FIRST_MS)
    kept = world.forecaster.kept().result
    assert kept["words"] == [
        "--at",
        str(1_800_000_000_000 + FIRST_MS),
        "--crops",
        str(tmp_path / "mine.toml"),
    ]


async def test_an_unset_clock_is_waited_for_an_hour(world):
    world.clock.clock_ok = False
    await world.run(FIRST_MS, LOOK_MS)
    assert world.count() == 0
    world.clock.clock_ok = True
    await world.run(FIRST_MS)
    assert world.count() == 1


async def test_a_failure_is_told_once_and_what_was_is_kept(world):
    await world.run(FIRST_MS)
    broken = "import sys; sys.exit('the crop file is no good')"
    world.forecaster.command = (sys.executable, "-c", broken)
    world.told.append("a look")
    await world.run(FIRST_MS, LOOK_MS, AGAIN_MS)
    kept = world.forecaster.kept()
    assert kept.why_failed == "the crop file is no good"
    assert kept.result["count"] == 1
    assert world.said == [
        "the rooting forecast was not worked out: the crop file is no good"
    ]
    world.forecaster.command = (sys.executable, "-c", CHILD)
    await world.run(FIRST_MS, AGAIN_MS)
    assert world.forecaster.kept().failed_utc_ms is None
    assert world.count() == 2


async def test_after_a_failure_it_is_left_alone_for_an_hour(tmp_path):
    counting = (
        "import pathlib, sys; p = pathlib.Path(sys.argv[2]);"
        "p.write_text(p.read_text() + 'x' if p.exists() else 'x'); sys.exit(2)"
    )
    world = World(tmp_path, counting)
    await world.run(FIRST_MS, *[LOOK_MS] * 5)
    assert world.result.read_text() == "x"
    assert world.forecaster.kept().why_failed == "it ended with exit status 2"


async def test_a_child_that_never_ends_is_ended(tmp_path):
    world = World(tmp_path, "while True: pass", wall_s=0.5)
    await world.run(FIRST_MS)
    assert (
        world.forecaster.kept().why_failed == "it took longer than 0.5 s and was ended"
    )


async def test_a_child_that_is_killed_is_told_of(tmp_path):
    world = World(tmp_path, "import os; os.kill(os.getpid(), 9)")
    await world.run(FIRST_MS)
    assert "ended by signal 9" in world.forecaster.kept().why_failed


async def test_what_cannot_even_be_started_ends_nothing(tmp_path):
    world = World(tmp_path, command=(str(tmp_path / "no-such-program"),))
    await world.run(FIRST_MS, LOOK_MS)
    assert "FileNotFoundError" in world.forecaster.kept().why_failed


async def test_records_that_cannot_be_read_end_nothing(tmp_path):
    def broken(_after: int) -> list[object]:
        raise OSError("the disk is gone")

    world = World(tmp_path, changes=broken)
    await world.run(FIRST_MS, LOOK_MS)
    assert "the disk is gone" in world.forecaster.kept().why_failed
    assert world.count() == 1


async def test_a_damaged_file_is_as_none(world):
    await world.run(FIRST_MS)
    world.result.write_text("{", encoding="utf-8")
    assert world.forecaster.kept().result is None
    world.result.write_text(json.dumps({"count": 9}), encoding="utf-8")
    assert world.count() == 9
    world.result.unlink()
    assert world.forecaster.kept().result is None
