"""A bench as its season log left it: for the API on a file that nobody writes.

What may live here: from a log to the last look at its bench.
"""

from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

from controller.adapters.clocks import SystemClock
from controller.adapters.season_log import LogError, SeasonLogReader
from controller.core.decisions import Answer, Decisions
from controller.core.scan import Scan, Wish
from controller.core.state import State
from controller.core.units import Millis, UtcMillis
from controller.ports import Instant, RunHeader, Snapshot


def zone_of(path: Path) -> str:
    """Return the time zone of a log's newest run.

    Raises:
        LogError: There is no run, or it cannot be read.
    """
    return _newest(path).timezone


def name_of(path: Path) -> str:
    """Return the name of the bench in a log's newest run; raise as zone_of."""
    return _newest(path).plan.bench


def _newest(path: Path) -> RunHeader:
    headers = SeasonLogReader(path).runs()
    if not headers:
        raise _without_run(path)
    return headers[-1]


def _without_run(path: Path) -> LogError:
    return LogError(f"{path} has no run: start the bench once, then write")


class LogBench:
    """Implements ports.Bench and Clock for a log: it takes no wishes."""

    def __init__(self, path: Path, reader: SeasonLogReader) -> None:
        """Look at the newest run.

        Raises:
            LogError: There is no run, or it cannot be read.
        """
        headers = reader.runs()
        if not headers:
            raise _without_run(path)
        self._header = headers[-1]
        self._snapshot = _snapshot(reader, self._header)
        self._clock = SystemClock(self._header.timezone)

    def snapshot(self) -> Snapshot | None:
        """Return the bench after the last scan of the log."""
        return self._snapshot

    def request(self, who: str, wish: Wish) -> int:
        """Take no wish: nobody decides here."""
        raise OverflowError(f"nobody runs this bench, so {wish} of {who} helps nobody")

    def answer(self, request_id: int) -> Answer | None:
        """Return None: nothing was asked."""
        del request_id
        return None

    async def subscribe(self) -> AsyncIterator[Snapshot]:
        """Yield the one look that there is."""
        yield self._snapshot

    def now(self) -> Instant:
        """Return the present; the bench's clock stands where the log ends.

        The wall clock is this machine's, and right unless it lies before that.
        """
        now, last = self._clock.now(), self._snapshot.scan
        return replace(now, run_ms=last.run_ms, clock_ok=now.utc_ms >= last.utc_ms)

    async def sleep_until(self, run_ms: int) -> None:
        """Wait on the system's clock."""
        await self._clock.sleep_until(run_ms)


def _snapshot(reader: SeasonLogReader, header: RunHeader) -> Snapshot:
    state: State = reader.last_state(header.run)[1]
    last_seq = reader.last_seq(header.run)
    found = next(reader.scans(header.run, max(0, last_seq - 1)), None)
    return Snapshot(
        run=header.run,
        plan=header.plan,
        scan=_first(header) if found is None else found.scan,
        state=state,
        decisions=Decisions(()),
        timezone=header.timezone,
        display_unit="°C",
        refused=0,
    )


def _first(header: RunHeader) -> Scan:
    """Return what stands for the scan of a run that has none."""
    minutes = header.started_utc_ms // 60_000
    return Scan(
        seq=0,
        run_ms=Millis(header.started_run_ms),
        utc_ms=UtcMillis(header.started_utc_ms),
        clock_ok=True,
        local_day=minutes // 1_440,
        local_minute=minutes % 1_440,
    )
