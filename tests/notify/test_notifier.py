"""The notifier beside a daemon: what is sent, kept, tried again and never lost."""

import asyncio
import json
import threading
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from controller.adapters.clocks import SystemClock
from controller.adapters.notify import BookFile, Notifier, Target, notifier
from controller.adapters.notify.line import NotSentError
from controller.cli.telling import words_of
from controller.core.decisions import AlarmKind, Decisions
from controller.core.scan import Scan
from controller.core.state import Alarm
from controller.ports import Snapshot
from tests.builders import Bench
from tests.notify.people import COLD, HOT, LOST, a_wire, instant

CLOCK = SystemClock("UTC")
NOON_MS = instant("2027-02-01T12:00:00Z")
NOW_MS = 1_000_000


async def until(condition) -> None:
    """Wait for something that another task brings about."""
    async with asyncio.timeout(10):
        while not condition():
            await CLOCK.sleep_until(CLOCK.now().run_ms + 2)


class Phone:
    """A target that a test may put out of reach.

    Attributes:
        got: The letters that arrived.
        tries: How many attempts were made.
        down: Why none arrives; None: it does.
        refuses: Alarms that never arrive.
    """

    shown = "https://hooks.example"

    def __init__(self) -> None:
        self.got = []
        self.tries = 0
        self.down: str | None = None
        self.refuses = ""

    async def send(self, letter) -> None:
        self.tries += 1
        if self.down or (self.refuses and self.refuses in letter.text):
            raise NotSentError(self.down or "it answered 400")
        self.got.append(letter)

    @property
    def texts(self) -> list[str]:
        return [letter.text for letter in self.got]


class Scene:
    """A notifier with its targets, scanned by a test."""

    def __init__(self, folder, wires=(), after_ms: int = 0) -> None:
        self.wires = wires or (a_wire(),)
        self.phones = {wire.name: Phone() for wire in self.wires}
        self.phone = next(iter(self.phones.values()))
        self.path = folder / "season.notices.json"
        self.said: list[str] = []
        self.bench = Bench()
        self.now_ms = NOW_MS + after_ms
        self.day = 20_000
        self.alarms: dict[tuple[AlarmKind, str], Alarm] = {}
        targets = [Target(wire, self.phones[wire.name]) for wire in self.wires]
        self.notifier = Notifier(
            targets, BookFile(self.path), words_of, self.said.append
        )

    def raise_(self, kind, subject="north") -> None:
        utc_ms = NOON_MS + self.now_ms - NOW_MS
        self.alarms[kind, subject] = Alarm(kind, subject, self.now_ms, utc_ms)

    def scan(self, after_s: float = 5) -> None:
        self.now_ms += round(after_s * 1000)
        utc_ms = NOON_MS + self.now_ms - NOW_MS
        state = replace(self.bench.state, alarms=tuple(self.alarms.values()))
        self.notifier(
            Snapshot(
                run="r1",
                plan=self.bench.plan,
                scan=Scan(1, self.now_ms, utc_ms, True, self.day, 720),
                state=replace(state, run_ms=self.now_ms),
                decisions=Decisions(()),
                timezone="UTC",
                display_unit="°C",
                refused=0,
            )
        )

    async def told(self, count: int) -> list[str]:
        await until(lambda: len(self.phone.got) >= count)
        return self.phone.texts

    async def tried(self, count: int) -> None:
        await until(lambda: self.phone.tries >= count)
        await self.kept()

    async def kept(self) -> None:
        await until(lambda: self.notifier._book() == self.notifier._kept)

    def book(self):
        return json.loads(self.path.read_text(encoding="utf-8"))


@asynccontextmanager
async def serving(scene: Scene):
    """Run a scene's notifier until the end of the block."""
    task = asyncio.ensure_future(scene.notifier.serve())
    try:
        yield scene
    finally:
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


# ------------------------------------------------------------------------- telling


async def test_an_alarm_reaches_everybody_who_wants_it(tmp_path):
    wires = (a_wire(), a_wire(name="hot-only", tells=frozenset({HOT})))
    async with serving(Scene(tmp_path, wires)) as scene:
        scene.scan()
        scene.raise_(COLD)
        scene.scan()
        assert await scene.told(1) == [
            "Mat north has no tray with a good reading to drive it."
        ]
        scene.raise_(HOT)
        scene.scan()
        hot = scene.phones["hot-only"]
        await until(lambda: hot.got)
        assert hot.texts == ["Mat north is locked off until you reset it."]
    assert scene.said == []
    body = json.loads(scene.phone.got[0].body)
    assert body["bench"] == "invented"
    assert body["at"] == "2027-02-01T12:00:10Z"
    assert body["mat"] == "north"


async def test_the_daily_word_is_sent_once_a_day(tmp_path):
    async with serving(Scene(tmp_path, (a_wire(all_is_well=720),))) as scene:
        scene.scan()
        scene.day += 1
        scene.scan()
        scene.scan()
        assert await scene.told(1) == ["All is well.\nN1 no reading, N2 no reading."]
        scene.day += 1
        scene.scan()
        await scene.told(2)
    assert json.loads(scene.phone.got[0].body)["kind"] == "all-is-well"


def test_the_daily_word_says_how_the_bench_is():
    bench = Bench().heating()
    scan = Scan(bench.seq, bench.state.run_ms, NOON_MS, True, 20_000, 720)
    snapshot = Snapshot(
        run="r1",
        plan=bench.plan,
        scan=scan,
        state=bench.state,
        decisions=bench.decisions,
        timezone="UTC",
        display_unit="°F",
        refused=0,
    )
    assert words_of(snapshot).well() == "All is well.\nN1 68.0 °F, N2 68.0 °F."
    alarm = Alarm(AlarmKind.LINK_DOWN, "", 0, 0)
    once = replace(snapshot, state=replace(bench.state, alarms=(alarm,)))
    assert words_of(once).well() == (
        "1 alarm:\nThe broker is out of reach.\nN1 68.0 °F, N2 68.0 °F."
    )
    twice = replace(snapshot, state=replace(bench.state, alarms=(alarm, alarm)))
    assert words_of(twice).well().startswith("2 alarms:\n")
    assert words_of(snapshot).clock(NOON_MS - 60_000) == "11:59"


async def test_one_target_that_hangs_does_not_delay_another(tmp_path):
    wires = (a_wire(), a_wire(name="hanging"))
    scene = Scene(tmp_path, wires)
    for_ever = asyncio.Event()

    async def hang(letter) -> None:
        await for_ever.wait()

    scene.phones["hanging"].send = hang  # type: ignore[method-assign]
    async with serving(scene):
        scene.raise_(COLD)
        scene.scan()
        await scene.told(1)
        scene.scan()
        scene.raise_(HOT)
        scene.scan()
        await scene.told(2)


async def test_a_scan_costs_nothing_while_nobody_listens(tmp_path):
    """The hook only puts the snapshot down, however many there are."""
    scene = Scene(tmp_path)
    for _ in range(2_000):
        scene.scan()
    assert len(scene.notifier._waiting) == 1_000


async def test_a_mistake_of_our_own_ends_it(tmp_path):
    scene = Scene(tmp_path)

    async def broken(letter) -> None:
        raise ZeroDivisionError

    scene.phone.send = broken  # type: ignore[method-assign]
    scene.raise_(COLD)
    scene.scan()
    with pytest.raises(ExceptionGroup) as caught:
        await scene.notifier.serve()
    assert caught.group_contains(ZeroDivisionError)


# -------------------------------------------------------------------- trying again


async def test_what_did_not_arrive_is_tried_again_with_longer_waits(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "it answered 500"
        scene.raise_(COLD)
        scene.scan()
        await scene.tried(1)
        scene.scan(9)
        scene.scan(1)  # 10 s after the first
        await scene.tried(2)
        scene.scan(19)
        scene.scan(1)  # 20 s after the second
        await scene.tried(3)
        scene.phone.down = None
        scene.scan(40)
        assert len(await scene.told(1)) == 1
        await scene.kept()
        assert scene.phone.tries == 4
    assert scene.said == [
        "notify phone (https://hooks.example): it answered 500; it is tried again",
        "notify phone (https://hooks.example): works again",
    ]
    assert scene.book()["letters"] == []


async def test_what_came_while_it_was_out_of_reach_is_one_message(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "no answer"
        for number in range(10):
            scene.raise_(LOST, f"n{number}")
            scene.scan()
            await scene.tried(1)
        scene.phone.down = None
        scene.scan(3_600)
        await scene.told(2)
        scene.scan()
        texts = await scene.told(3)
    lines = [text.splitlines() for text in texts]
    assert [len(line) for line in lines] == [1, 1, 6]
    assert lines[2][-1] == "And 3 more."


async def test_one_that_is_refused_does_not_hold_up_the_rest(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.refuses = "n1"
        scene.raise_(LOST, "n1")
        scene.scan()
        await scene.tried(1)
        scene.raise_(COLD)
        scene.scan(10)
        assert len(await scene.told(1)) == 1


async def test_after_a_day_it_is_given_up_and_that_is_said(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "no answer"
        scene.raise_(COLD)
        scene.scan()
        await scene.tried(1)
        scene.scan(24 * 3_600)
        await until(lambda: len(scene.said) > 1)
        await scene.kept()
    assert scene.said[1:] == [
        "notify phone: not delivered within 24 h, and given up: Mat north has no tray"
        " with a good reading to drive it."
    ]
    assert scene.book()["letters"] == []


# ----------------------------------------------------------------------- restarts


async def test_a_restart_in_the_middle_loses_nothing_and_keeps_the_id(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "no answer"
        scene.raise_(COLD)
        scene.scan()
        await scene.tried(1)
    (waiting,) = scene.book()["letters"]
    async with serving(Scene(tmp_path, after_ms=60_000)) as after:
        after.scan()
        await after.told(1)
        assert [letter.id for letter in after.phone.got] == [waiting["id"]]
        after.raise_(COLD)
        after.scan()
        await after.kept()
        assert len(after.phone.got) == 1
    assert after.book()["letters"] == []


async def test_stopped_before_the_first_scan_the_book_stands(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "no answer"
        scene.raise_(COLD)
        scene.scan()
        await scene.tried(1)
    before = scene.path.read_bytes()
    async with serving(Scene(tmp_path)):
        pass
    assert scene.path.read_bytes() == before


async def test_letters_to_somebody_who_is_not_named_any_more(tmp_path):
    async with serving(Scene(tmp_path)) as scene:
        scene.phone.down = "no answer"
        scene.raise_(COLD)
        scene.scan()
        await scene.tried(1)
    async with serving(Scene(tmp_path, (a_wire(name="mail"),))) as after:
        after.scan()
        await until(lambda: after.said)
    assert after.said == [
        "notify phone: the configuration does not name it any more: Mat north has no"
        " tray with a good reading to drive it."
    ]


async def test_a_damaged_book_is_said_and_alarms_are_told_again(tmp_path):
    (tmp_path / "season.notices.json").write_text("{")
    async with serving(Scene(tmp_path)) as scene:
        scene.raise_(COLD)
        scene.scan()
        await scene.told(1)
    assert "season.notices.json is damaged: " in scene.said[0]


# ------------------------------------------------------------------------ the disk


async def test_a_disk_that_refuses_is_said_once_and_keeps_nobody_from_being_told(
    tmp_path,
):
    scene = Scene(tmp_path / "away")
    async with serving(scene):
        scene.raise_(COLD)
        scene.scan()
        await scene.told(1)
        scene.raise_(HOT)
        scene.scan()
        await scene.told(2)
        scene.path.parent.mkdir()
        scene.scan()
        await scene.kept()
    assert len(scene.said) == 1
    assert scene.said[0].startswith("the book of messages could not be written: ")
    assert scene.book()["letters"] == []


async def test_a_disk_that_hangs_keeps_nobody_from_being_told(tmp_path, monkeypatch):
    monkeypatch.setattr(notifier, "KEEP_WAIT_S", 0.05)
    scene = Scene(tmp_path)
    free = threading.Event()
    save = scene.notifier._file.save

    def hang(book) -> None:
        free.wait(10)
        save(book)

    monkeypatch.setattr(scene.notifier._file, "save", hang)
    async with serving(scene):
        scene.raise_(COLD)
        scene.scan()
        await scene.told(1)
        scene.raise_(HOT)
        scene.scan()
        await scene.told(2)
        free.set()
        scene.scan()
        await scene.kept()
    assert scene.book()["letters"] == []
