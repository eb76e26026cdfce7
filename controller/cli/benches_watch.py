"""Many benches kept in view: each asked again and again, what it said last kept.

One that does not answer is asked less often, and what it said last is kept, with
its age. What may live here: when who is asked, and what is known of each.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass

from controller.cli.asking import Json
from controller.cli.bench_glance import Glance, glanced
from controller.cli.bench_list import Asked
from controller.cli.bench_told import (
    LONGEST,
    Due,
    StrangerError,
    Told,
    bench_told,
    due_told,
    shortened,
    without,
)
from controller.cli.many_asked import answered
from controller.cli.over_http import AskError, token_in
from controller.ports import Clock

DUE_EVERY_MS = 300_000
"""Chosen: what is due changes with the days, and with what is told [ms]."""

PATIENT_MS = 60_000
"""Chosen: how often a bench is asked that does not answer, or not to us; ten wrong
tokens a minute would lock others out who ask from the same address [ms]."""

FORGIVEN = 1
"""Chosen: so many answers of a bench that was heard may be missed in a row before it
is said not to answer; a word lost on the air is nobody's business."""

Ask = Callable[[str, str, str | None], Awaitable[Json]]
"""Asks an address for a path, with a token; raises AskError."""


@dataclass(slots=True)
class _Seat:
    """What is known of one bench."""

    asked: Asked
    told: Told | None = None
    heard_ms: int = 0
    failed: int = 0
    trouble: str | None = None
    silent_since_ms: int = 0
    due: tuple[Due, ...] = ()
    due_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """One bench as it is known at a moment.

    Attributes:
        asked: Which one.
        glance: It at a glance.
        silent_s: How long it has not answered [s]; None: it answers.
        heard_s: How long ago it said what it said last [s]; None: it never did.
    """

    asked: Asked
    glance: Glance
    silent_s: float | None
    heard_s: float | None


class Watch:
    """Keeps many benches in view.

    Args:
        benches: Which ones.
        clock: A clock of real time.
        at_once: How many are asked at a time.
        within_s: How long each may take to answer [s].
        stale_s: From which age on a last scan is stale [s].
        every_s: How often a bench is asked that answers [s].
        ask: How to ask.
    """

    def __init__(
        self,
        benches: Sequence[Asked],
        clock: Clock,
        *,
        at_once: int,
        within_s: float,
        stale_s: float,
        every_s: float,
        ask: Ask | None = None,
    ) -> None:
        self._seats = [_Seat(one) for one in benches]
        self._clock, self._stale_s = clock, stale_s
        self._every_ms = round(every_s * 1000)
        self._gate = asyncio.Semaphore(at_once)
        self._ask = ask or _over_http(within_s)

    def seen(self) -> list[Seen]:
        """Return each bench as it is known now, in the order of the list."""
        now_ms = self._clock.now().run_ms
        return [self._seen(seat, now_ms) for seat in self._seats]

    def _seen(self, seat: _Seat, now_ms: int) -> Seen:
        silent_s = (now_ms - seat.silent_since_ms) / 1000 if seat.trouble else None
        heard_s = (now_ms - seat.heard_ms) / 1000 if seat.told else None
        glance = glanced(
            seat.asked.name,
            seat.asked.url,
            seat.told,
            self._stale_s,
            trouble=seat.trouble,
            silent_s=silent_s or 0.0,
            heard_s=heard_s or 0.0,
            due=seat.due,
        )
        return Seen(seat.asked, glance, silent_s, heard_s)

    async def look(self) -> None:
        """Ask every bench once."""
        await asyncio.gather(*(self._look(seat) for seat in self._seats))

    async def serve(self) -> None:
        """Ask each again and again, until cancelled."""
        async with asyncio.TaskGroup() as group:
            for seat in self._seats:
                group.create_task(self._kept(seat))

    async def _kept(self, seat: _Seat) -> None:
        while True:
            await self._look(seat, with_due=True)
            slower = min(max(0, seat.failed - FORGIVEN), 16)
            wait_ms = max(min(self._every_ms << slower, PATIENT_MS), self._every_ms)
            await self._clock.sleep_until(self._clock.now().run_ms + wait_ms)

    async def _look(self, seat: _Seat, *, with_due: bool = False) -> None:
        async with self._gate:
            secret = None
            try:
                secret = _secret(seat.asked)
                found = await self._ask(seat.asked.url, "/v1/bench", secret)
                seat.told = bench_told(found, secret)
            except (AskError, StrangerError) as error:
                self._missed(seat, shortened(without(str(error), secret), LONGEST))
                return
            seat.heard_ms = self._clock.now().run_ms
            seat.failed, seat.trouble = 0, None
            if with_due:
                await self._look_what_is_due(seat, secret)

    def _missed(self, seat: _Seat, why: str) -> None:
        if seat.failed == 0:
            seat.silent_since_ms = self._clock.now().run_ms
        seat.failed += 1
        if seat.told is None or seat.failed > FORGIVEN:
            seat.trouble = why

    async def _look_what_is_due(self, seat: _Seat, secret: str | None) -> None:
        now_ms = self._clock.now().run_ms
        if seat.due_ms is not None and now_ms - seat.due_ms < DUE_EVERY_MS:
            return
        seat.due_ms = now_ms
        try:
            found = await self._ask(seat.asked.url, "/v1/reminders", secret)
            seat.due = due_told(found, secret)
        except AskError:
            seat.due = ()  # this interface may not tell it


def _secret(asked: Asked) -> str | None:
    """Return the token for a bench: of its own file, and of nowhere else."""
    if asked.token_file is None:
        return None
    try:
        return token_in(asked.token_file)
    except AskError as error:
        # Where the file lies is nothing for a page.
        why = str(error).rpartition(": ")[2]
        raise AskError(f"its token_file is of no use: {why}") from None


def _over_http(within_s: float) -> Ask:
    async def ask(url: str, path: str, secret: str | None) -> Json:
        return await answered(url, path, secret, within_s)

    return ask
