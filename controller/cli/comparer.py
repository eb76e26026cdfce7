"""Comparisons of trials beside a running daemon: when they are worked out, and kept.

A child process reads the log and gives way to everything else, one at a time;
whatever goes wrong with it is told and harms nothing. What may live here: what is
asked, which is known already, and the child. No command.
"""

import asyncio
import json
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from controller.cli.comparison_job import CANNOT
from controller.cli.niced import in_a_child, this_module
from controller.core.units import MINUTE_MS
from controller.ports import Clock, Compared, Comparison

WALL_S = 600.0
"""Chosen: twice its limit of processor time; then it is ended."""

WAIT_S = 4.0
"""Chosen: so long an answer is waited for at once; most are there by then."""

AGAIN_MS = MINUTE_MS
"""Chosen: after a failure it is tried again no sooner."""

KEPT = 16
"""Chosen: so many are remembered, the oldest is forgotten first."""

_BUSY = "another comparison is being worked out: ask again soon"
_WORKING = "it is being worked out: ask again soon"


@dataclass(slots=True)
class _Job:
    asked: Comparison
    done: asyncio.Event = field(default_factory=asyncio.Event)


@dataclass(slots=True)
class Comparer:
    """Works comparisons out; implements ports.Comparer.

    Attributes:
        log: The season log.
        clock: The bench's clock.
        command: What is run, before its arguments.
        wall_s: So long one may take [s].
        wait_s: So long an answer is waited for at once [s].
    """

    log: Path
    clock: Clock
    command: tuple[str, ...] = this_module("controller.cli.comparison_job")
    wall_s: float = WALL_S
    wait_s: float = WAIT_S
    _known: OrderedDict[Comparison, tuple[int, Compared]] = field(
        default_factory=OrderedDict
    )
    _job: _Job | None = None
    _wanted: asyncio.Event = field(default_factory=asyncio.Event)

    async def compared(self, asked: Comparison) -> Compared:
        """Return what a trial tells, if it is known or soon is."""
        known = self._still_good(asked)
        if known is not None:
            return known
        if self._job is None:
            self._job = _Job(asked)
            self._wanted.set()
        job = self._job
        if job.asked != asked:
            return Compared(working=_BUSY)
        try:
            async with asyncio.timeout(self.wait_s):
                await job.done.wait()
        except TimeoutError:
            return Compared(working=_WORKING)
        return self._still_good(asked) or Compared(working=_WORKING)

    def _still_good(self, asked: Comparison) -> Compared | None:
        """Return what is known; a failure only for a while."""
        found = self._known.get(asked)
        if found is None:
            return None
        at_ms, known = found
        if known.failed and self.clock.now().run_ms - at_ms >= AGAIN_MS:
            del self._known[asked]
            return None
        return known

    async def serve(self) -> None:
        """Work out whatever is asked, one after the other, for ever."""
        while True:
            await self._wanted.wait()
            self._wanted.clear()
            job = self._job
            if job is None:
                continue
            try:
                found = await self._worked_out(job.asked)
            except Exception as error:  # noqa: BLE001  # it must not end the daemon
                found = Compared(failed=f"{type(error).__name__}: {error}")
            self._keep(job.asked, found)
            self._job = None
            job.done.set()

    def _keep(self, asked: Comparison, found: Compared) -> None:
        self._known[asked] = self.clock.now().run_ms, found
        while len(self._known) > KEPT:
            self._known.popitem(last=False)

    async def _worked_out(self, asked: Comparison) -> Compared:
        words = [*self.command, str(self.log), asked.trial, *_options(asked)]
        ended = await in_a_child(words, self.wall_s)
        if ended.code == CANNOT:
            return Compared(cannot=ended.why)
        if ended.why:
            return Compared(failed=ended.why)
        return Compared(result=json.loads(ended.said))


def _options(asked: Comparison) -> Sequence[str]:
    said = {
        "--test": asked.test,
        "--days": asked.days,
        "--base": asked.base_c,
        "--upper": asked.upper_c,
    }
    # With "=", or a base below zero would be taken for an option.
    return [f"{name}={value}" for name, value in said.items() if value is not None]
