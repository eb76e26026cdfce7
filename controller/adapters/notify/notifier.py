"""Tells people of alarms, beside the scans and never in their way.

The daemon hands every snapshot over, which costs it nothing; tasks of our own
judge it, write the book and send. Trouble with sending is said on standard
error and tried again; it ends nothing. What may live here: the order of those
things.
"""

import asyncio
import sys
import uuid
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from controller.adapters.notify.book import BookFile
from controller.adapters.notify.letters import Paper, alarm_letter, plain_letter
from controller.adapters.notify.line import NotSentError
from controller.adapters.notify.mail import (
    is_blocked,
    knocked,
    lost,
    next_letter,
    tried_in_vain,
    without,
)
from controller.adapters.notify.memory import Book, Letter, Memory, resumed
from controller.adapters.notify.scope import cold_mats, mat_about
from controller.adapters.notify.senders import Sender
from controller.adapters.notify.tell import Moment, all_is_well_due, dealt_with, tell
from controller.core.state import Alarm
from controller.ports import Snapshot
from controller.wiring import NotifyWire

KEEP_WAIT_S = 2.0
"""A message waits at most this long for the book to be written: what a disk
that hangs has to tell must get out all the same."""

_BEHIND = 1_000
"""Snapshots that may wait to be judged; none does for longer than a moment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How a snapshot is put into words.

    Attributes:
        alarm: An alarm as a sentence.
        clock: An instant [ms] by the bench's own clock.
        well: How the bench is, in a few lines.
    """

    alarm: Callable[[Alarm], str]
    clock: Callable[[int], str]
    well: Callable[[], str]


@dataclass(frozen=True, slots=True)
class Target:
    """Who is told, and what brings letters there."""

    wire: NotifyWire
    sender: Sender


def _to_standard_error(text: str) -> None:
    sys.stderr.write(f"{text}\n")


class Notifier:
    """Tells each target what it wants to know.

    Args:
        targets: Who is told.
        file: Where the book is kept.
        words: Puts a snapshot into words.
        say: Says something to whoever reads the daemon's own messages.
    """

    def __init__(
        self,
        targets: Sequence[Target],
        file: BookFile,
        words: Callable[[Snapshot], Words],
        say: Callable[[str], None] = _to_standard_error,
    ) -> None:
        self._targets = {target.wire.name: target for target in targets}
        self._file = file
        self._words = words
        self._say = say
        self._waiting: deque[Snapshot] = deque(maxlen=_BEHIND)
        self._arrived = asyncio.Event()
        self._due = {name: asyncio.Event() for name in self._targets}
        self._trouble: dict[str, str] = {}
        self._now_ms: int | None = None
        self._memories: dict[str, Memory] = {}
        self._letters: list[Letter] = []
        self._kept, problem = file.load()
        self._writing: asyncio.Future[None] | None = None
        self._unwritable = False
        if problem is not None:
            say(problem)

    def __call__(self, snapshot: Snapshot) -> None:
        """Take a scan to be told of. Never waits."""
        self._waiting.append(snapshot)
        self._arrived.set()

    async def serve(self) -> None:
        """Judge, write and send until cancelled."""
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._judge_for_ever())
                for name in self._targets:
                    group.create_task(self._send_for_ever(name))
        finally:
            await self._keep()

    # ---------------------------------------------------------------- judging

    async def _judge_for_ever(self) -> None:
        while True:
            await self._arrived.wait()
            self._arrived.clear()
            while self._waiting:
                self._judge(self._waiting.popleft())
            await self._keep()
            for due in self._due.values():
                due.set()

    def _judge(self, snapshot: Snapshot) -> None:
        scan = snapshot.scan
        if self._now_ms is None:
            self._take_up(resumed(self._kept, scan.run_ms))
        self._now_ms = scan.run_ms
        words = self._words(snapshot)
        paper = Paper(
            bench=snapshot.plan.bench,
            run_ms=scan.run_ms,
            utc_ms=scan.utc_ms,
            clock_ok=scan.clock_ok,
            clock=words.clock,
            new_id=lambda: uuid.uuid4().hex,
        )
        for name in self._targets:
            self._tell(name, _moment(snapshot, words), words, paper)
        for letter, why in lost(self._letters, self._targets, scan.run_ms):
            self._letters = without(self._letters, letter)
            self._say(f"notify {letter.target}: {why}: {letter.text}")

    def _take_up(self, book: Book) -> None:
        self._letters = list(book.letters)
        self._memories = {
            name: book.targets.get(name, Memory()) for name in self._targets
        }

    def _tell(self, name: str, moment: Moment, words: Words, paper: Paper) -> None:
        wire = self._targets[name].wire
        moment = replace(moment, blocked=is_blocked(self._letters, name))
        memory, items = tell(wire, self._memories[name], moment)
        memory, well = all_is_well_due(wire, memory, moment)
        self._memories[name] = memory
        if items:
            self._letters.append(alarm_letter(name, items, paper))
        if well:
            letter = plain_letter(name, "all-is-well", words.well(), paper)
            self._letters.append(letter)

    # ----------------------------------------------------------------- sending

    async def _send_for_ever(self, name: str) -> None:
        while True:
            await self._due[name].wait()
            self._due[name].clear()
            while (letter := self._next(name)) is not None:
                await self._attempt(letter)

    def _next(self, name: str) -> Letter | None:
        return next_letter(self._letters, name, self._now_ms or 0)

    async def _attempt(self, letter: Letter) -> None:
        try:
            await self._targets[letter.target].sender.send(letter)
        except NotSentError as error:
            self._failed(letter, str(error))
        else:
            self._letters = without(self._letters, letter)
            self._letters = knocked(self._letters, letter.target, self._now_ms or 0)
            if self._trouble.pop(letter.target, None) is not None:
                self._say(f"{self._at(letter.target)}: works again")
        await self._keep()

    def _failed(self, letter: Letter, why: str) -> None:
        again = tried_in_vain(letter, self._now_ms or 0)
        self._letters = [again if x.id == letter.id else x for x in self._letters]
        if self._trouble.get(letter.target) != why:
            self._say(f"{self._at(letter.target)}: {why}; it is tried again")
        self._trouble[letter.target] = why

    def _at(self, name: str) -> str:
        return f"notify {name} ({self._targets[name].sender.shown})"

    # ---------------------------------------------------------------- the book

    def _book(self) -> Book:
        if self._now_ms is None:
            return self._kept
        return Book(dict(self._memories), tuple(self._letters))

    async def _keep(self) -> None:
        """Write the book down if it has changed, waiting only so long for it."""
        while (before := self._writing) is not None:  # it may be of an older book
            await asyncio.wait({before}, timeout=KEEP_WAIT_S)
            if not before.done():
                return
            if self._writing is before:
                self._writing = None
        book = self._book()
        if book != self._kept:
            write = asyncio.ensure_future(asyncio.to_thread(self._write, book))
            self._writing = write
            await asyncio.wait({write}, timeout=KEEP_WAIT_S)
            if write.done():
                write.result()

    def _write(self, book: Book) -> None:
        try:
            self._file.save(book)
        except OSError as error:
            if not self._unwritable:
                self._say(f"the book of messages could not be written: {error}")
            self._unwritable = True
        else:
            self._kept, self._unwritable = book, False


def _moment(snapshot: Snapshot, words: Words) -> Moment:
    scan, plan = snapshot.scan, snapshot.plan
    return Moment(
        run_ms=scan.run_ms,
        utc_ms=scan.utc_ms,
        clock_ok=scan.clock_ok,
        local_day=scan.local_day,
        local_minute=scan.local_minute,
        alarms=snapshot.state.alarms,
        dealt_with=dealt_with(snapshot.decisions.alarm_changes),
        sentence=words.alarm,
        mat_of=lambda alarm: mat_about(plan, alarm),
        cold_of=lambda alarm: cold_mats(plan, alarm),
    )
