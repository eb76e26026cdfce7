"""The rooting forecast beside a running daemon: when it is worked out, and by whom.

Daily, and after something was told of batches, a child process reads the log and
writes the result beside it. It gives way to everything else; whatever goes wrong with
it is told and harms nothing. What may live here: that schedule, and the child. No
command.
"""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from controller.cli.forecast_job import forecast_beside, read_result
from controller.cli.niced import in_a_child, this_module
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.ports import Clock, ForecastKept, Instant
from controller.records.changes import Change

FIRST_MS = 2 * MINUTE_MS
"""Chosen: after a start the scans come first."""

LOOK_MS = 5 * MINUTE_MS
"""Chosen: so often it is looked whether something is due; so that several things
told one after the other are worked out at once."""

AGAIN_MS = HOUR_MS
"""Chosen: after a failure it is tried again no sooner."""

CLOCK_MS = HOUR_MS
"""Chosen: a wall clock that is not known to be right is waited for so long."""

WALL_S = 1_800
"""Chosen: twice its limit of processor time; then it is ended."""

Changes = Callable[[int], Sequence[Change]]


@dataclass(slots=True)
class Forecaster:
    """Keeps the forecast of a bench fresh.

    Attributes:
        log: The season log.
        crops: A crop file of one's own; None: there is none.
        clock: The bench's clock.
        changes: Reads what was told after a change, called in a thread.
        say: Told in words when it fails.
        command: What is run, before its arguments.
    """

    log: Path
    crops: Path | None
    clock: Clock
    changes: Changes
    say: Callable[[str], None]
    command: tuple[str, ...] = this_module("controller.cli.forecast_job")
    wall_s: float = WALL_S
    _failed: tuple[int, str] | None = None
    _tried_ms: int | None = None
    _known: tuple[int, object] | None = None
    _done_day: int | None = None
    _done_newest: int = field(default=-1)

    @property
    def _result(self) -> Path:
        return forecast_beside(self.log)

    def kept(self) -> ForecastKept:
        """Return the forecast as it is kept; reads a file, and only a new one."""
        try:
            changed = self._result.stat().st_mtime_ns
        except OSError:
            changed, self._known = 0, None
        if changed and (self._known is None or self._known[0] != changed):
            self._known = changed, read_result(self._result) or None
        result = None if self._known is None else self._known[1]
        if self._failed is None:
            return ForecastKept(result)
        return ForecastKept(result, *self._failed)

    async def serve(self) -> None:
        """Work it out whenever it is due, for ever."""
        start_ms = self.clock.now().run_ms
        await self.clock.sleep_until(start_ms + FIRST_MS)
        while True:
            now = self.clock.now()
            waited = now.clock_ok or now.run_ms - start_ms >= CLOCK_MS
            try:
                if waited and await self._due(now):
                    await self._work_out(now)
            except Exception as error:  # noqa: BLE001  # it must not end the daemon
                self._fail(now, f"{type(error).__name__}: {error}")
            await self.clock.sleep_until(self.clock.now().run_ms + LOOK_MS)

    async def _due(self, now: Instant) -> bool:
        tried_ms = self._tried_ms
        if self._failed and tried_ms is not None and now.run_ms - tried_ms < AGAIN_MS:
            return False
        if self._failed or self._done_day != now.local_day:
            return True
        return bool(await asyncio.to_thread(self.changes, self._done_newest))

    async def _work_out(self, now: Instant) -> None:
        self._tried_ms = now.run_ms
        words = [*self.command, str(self.log), str(self._result)]
        words += ["--at", str(now.utc_ms)]
        words += ["--crops", str(self.crops)] if self.crops is not None else []
        ended = await in_a_child(words, self.wall_s)
        if ended.why:
            self._fail(now, ended.why)
            return
        self._failed = None
        self._done_day = now.local_day
        result = await asyncio.to_thread(read_result, self._result)
        newest = result.get("newest")
        self._done_newest = newest if isinstance(newest, int) else 0

    def _fail(self, now: Instant, why: str) -> None:
        before = self._failed
        self._failed, self._tried_ms = (now.utc_ms, why), now.run_ms
        if before is None or before[1] != why:
            self.say(f"the rooting forecast was not worked out: {why}")
