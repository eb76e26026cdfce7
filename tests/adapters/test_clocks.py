"""Clocks: bench time, wall time, local time, and sleeping on them."""

import asyncio
import ctypes
from datetime import UTC, date, datetime

import pytest

from controller.adapters import clocks
from controller.adapters.clocks import FastClock, ManualClock, SystemClock, utc_ms_of


def utc_ms(*when: int) -> int:
    return int(datetime(*when, tzinfo=UTC).timestamp()) * 1000


def days(*when: int) -> int:
    return (date(*when) - date(1970, 1, 1)).days


async def test_system_clock_goes_on_from_where_the_last_run_ended():
    clock = SystemClock("UTC", origin_run_ms=5_000)
    first = clock.now()
    await clock.sleep_until(first.run_ms + 20)
    assert first.run_ms >= 5_000
    assert clock.now().run_ms >= first.run_ms + 20


def test_system_clock_tells_the_wall_clock_of_the_machine():
    before_ms = int(datetime.now(UTC).timestamp() * 1000)  # noqa: TID251
    assert 0 <= SystemClock("UTC").now().utc_ms - before_ms < 5_000


async def test_sleeping_until_the_past_returns_at_once():
    await SystemClock("UTC").sleep_until(-1)
    await FastClock(60, 0, "UTC").sleep_until(-1)
    await ManualClock(run_ms=10).sleep_until(10)


async def test_fast_clock_runs_both_its_clocks_at_its_speed():
    clock = FastClock(1_000, utc_ms(2027, 2, 20), "UTC", origin_run_ms=7)
    start = clock.now()
    await clock.sleep_until(start.run_ms + 20_000)
    later = clock.now()
    assert later.run_ms - start.run_ms >= 20_000
    assert later.utc_ms - utc_ms(2027, 2, 20) == later.run_ms - 7
    assert later.clock_ok


@pytest.mark.parametrize("speed", [0, -1, float("nan")])
def test_fast_clock_refuses_a_speed_that_does_not_go_on(speed):
    with pytest.raises(ValueError, match=r"^speed = .*: must be above 0$"):
        FastClock(speed, 0, "UTC")


@pytest.mark.parametrize(
    ("zone", "when", "day", "minute"),
    [
        ("UTC", (2027, 2, 20, 9, 30), (2027, 2, 20), 570),
        ("Europe/Berlin", (2027, 2, 20, 23, 30), (2027, 2, 21), 30),
        ("America/New_York", (2027, 2, 20, 3, 0), (2027, 2, 19), 22 * 60),
        ("Asia/Kolkata", (2027, 2, 20, 18, 29, 59), (2027, 2, 20), 24 * 60 - 1),
        ("Asia/Kolkata", (2027, 2, 20, 18, 30), (2027, 2, 21), 0),
        # the hour that is there twice, and the one that is not, in spring 2027
        ("Europe/Berlin", (2027, 10, 31, 0, 30), (2027, 10, 31), 150),
        ("Europe/Berlin", (2027, 10, 31, 1, 30), (2027, 10, 31), 150),
        ("Europe/Berlin", (2027, 3, 28, 0, 59), (2027, 3, 28), 119),
        ("Europe/Berlin", (2027, 3, 28, 1, 0), (2027, 3, 28), 180),
        ("UTC", (1969, 12, 31, 23, 59), (1969, 12, 31), 24 * 60 - 1),
    ],
)
def test_local_day_and_minute_follow_the_time_zone(zone, when, day, minute):
    now = ManualClock(zone, utc_ms=utc_ms(*when)).now()
    assert (now.local_day, now.local_minute) == (days(*day), minute)


def test_nine_in_the_morning_can_be_chosen_in_any_zone():
    start_ms = utc_ms_of(date(2027, 2, 20), 9 * 60, "Europe/Berlin")
    assert start_ms == utc_ms(2027, 2, 20, 8, 0)
    assert FastClock(60, start_ms, "Europe/Berlin").now().local_minute == 9 * 60


async def test_manual_clock_wakes_only_those_whose_time_has_come_in_order():
    clock, woken = ManualClock(), []

    async def sleeper(until_ms: int) -> None:
        await clock.sleep_until(until_ms)
        woken.append((until_ms, clock.now().run_ms))

    async with asyncio.TaskGroup() as tasks:
        for until_ms in (300, 100, 200):
            tasks.create_task(sleeper(until_ms))
        await asyncio.wait_for(until_asleep(clock, 100), 5)
        clock.advance(250)
        await asyncio.wait_for(until_asleep(clock, 300), 5)
        while len(woken) < 2:
            await yield_once()
        assert woken == [(100, 250), (200, 250)]
        clock.advance(50)
    assert woken[-1] == (300, 300)


async def until_asleep(clock: ManualClock, until_ms: int) -> None:
    while clock.wakes_at() != until_ms:
        await yield_once()


async def yield_once() -> None:
    await asyncio.get_running_loop().run_in_executor(None, lambda: None)


async def test_manual_clock_forgets_a_cancelled_sleeper():
    clock = ManualClock()
    task = asyncio.create_task(clock.sleep_until(100))
    await asyncio.wait_for(until_asleep(clock, 100), 5)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert clock.wakes_at() is None


def test_a_stepped_wall_clock_leaves_the_bench_clock_alone():
    clock = ManualClock(utc_ms=1_000_000)
    clock.step_wall_clock(-500_000)
    clock.advance(10)
    assert (clock.now().run_ms, clock.now().utc_ms) == (10, 500_010)


@pytest.mark.parametrize(
    ("state", "ok"), [(0, True), (1, True), (4, True), (5, False), (-1, False)]
)
def test_clock_is_right_unless_the_kernel_says_unsynchronised(monkeypatch, state, ok):
    """adjtimex(2): TIME_OK to TIME_WAIT are 0 to 4, TIME_ERROR 5, failure -1."""
    monkeypatch.setattr(clocks, "_adjtimex", lambda: lambda _buffer: state)
    assert SystemClock("UTC").now().clock_ok is ok


def test_clock_is_not_trusted_where_the_kernel_cannot_be_asked(monkeypatch):
    monkeypatch.setattr(ctypes, "CDLL", lambda _name: object())
    assert SystemClock("UTC").now().clock_ok is False


def test_asking_the_kernel_gives_an_answer_it_knows():
    ask = clocks._adjtimex()
    assert ask is None or 0 <= ask(ctypes.create_string_buffer(512)) <= 5
