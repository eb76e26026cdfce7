"""The same promises of every store of records: on disk and in memory."""

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.adapters.memory_records import MemoryRecords
from controller.adapters.season_log import (
    DirectRecords,
    SeasonLogReader,
    SeasonLogWriter,
)
from controller.ports import MovedOnError, NotKeptError, RecordKeeper, RecordReader
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind


def change(number: int, subject: int | None = None, text: str = "seen") -> Change:
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=number, text=text)
    return Change(number, 1_000 + number, "a test", str(subject or number), value)


class Store:
    """One store, and how a reader of its own sees it."""

    def __init__(
        self, keeper: RecordKeeper, reader: RecordReader, refuse: Callable[[], None]
    ) -> None:
        self.keep = keeper.keep
        self.changes = reader.changes
        self.refuse = refuse


@pytest.fixture(params=["memory", "disk", "disk at rest"])
def store(request, tmp_path: Path) -> Iterator[Store]:
    if request.param == "memory":
        memory = MemoryRecords()

        def refuse() -> None:
            memory.refuses = "there is no room"

        yield Store(memory, memory, refuse)
        return
    path = tmp_path / "season.db"
    writer: SeasonLogWriter | DirectRecords = SeasonLogWriter(path, retry_s=3_600.0)
    if request.param == "disk at rest":
        writer.close()
        writer = DirectRecords(path)

    def taken_away() -> None:
        path.rename(tmp_path / "elsewhere.db")

    yield Store(writer, SeasonLogReader(path), taken_away)
    writer.close()


async def test_what_was_kept_is_read_back_exactly_and_in_order(store):
    first = [change(1), change(2, text="two\nlines, “quotes” and ü")]
    await store.keep(first)
    await store.keep([change(3, subject=1)])
    assert list(store.changes(0)) == [*first, change(3, subject=1)]
    assert list(store.changes(2)) == [change(3, subject=1)]
    assert list(store.changes(3)) == []


async def test_nothing_is_kept_of_changes_that_do_not_follow(store):
    await store.keep([change(1)])
    for wrong in ([change(1)], [change(3)], [change(2), change(4)]):
        with pytest.raises(MovedOnError, match="does not follow"):
            await store.keep(wrong)
    await store.keep([change(2)])
    assert list(store.changes(0)) == [change(1), change(2)]


async def test_of_those_who_write_at_once_only_one_is_taken(store):
    tried = [store.keep([change(1, text=f"writer {n}")]) for n in range(5)]
    ended = await asyncio.gather(*tried, return_exceptions=True)
    assert [type(one) for one in ended if one] == [MovedOnError] * 4
    assert len(store.changes(0)) == 1


async def test_a_store_that_refuses_says_so_and_keeps_nothing(store):
    await store.keep([change(1)])
    store.refuse()
    with pytest.raises(NotKeptError) as refused:
        await store.keep([change(2)])
    assert refused.value.certain
    assert len(str(refused.value)) > 10
    assert "there" in str(refused.value) or "taken away" in str(refused.value)


async def test_to_keep_nothing_is_no_mistake(store):
    await store.keep([])
    assert list(store.changes(0)) == []
