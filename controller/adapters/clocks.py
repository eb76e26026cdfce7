"""Clocks: the only module of the project that reads one, or sleeps.

Three ways of telling the time behind one port: the machine's clock, the same
sped up for a demo, and one that stands still until a test moves it.
"""

import asyncio
import ctypes
import heapq
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import count
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS, MINUTE_MS
from controller.ports import Instant

# Linux, adjtimex(2) and its header sys/timex.h
_TIME_ERROR = 5
_TIMEX_BYTES = 512  # struct timex has 208 on 64-bit machines, fewer on others

# CLOCK_MONOTONIC stands still while a board is suspended, and a reading would
# look fresh after a night of sleep; CLOCK_BOOTTIME goes on (clock_gettime(2)).
_RUN_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


def run_clock_ns() -> int:
    """Return the time since the board started, sleep and all [ns].

    For durations, in any thread; /proc/uptime shows the same clock in seconds.
    """
    return time.clock_gettime_ns(_RUN_CLOCK)


class SystemClock:
    """The machine's own clock.

    Args:
        timezone: IANA name of the bench's time zone.
        origin_run_ms: What the bench clock shows now [ms]: where the run
            before ended, or later.

    Raises:
        ZoneInfoNotFoundError: There is no such time zone.
    """

    def __init__(self, timezone: str, origin_run_ms: int = 0) -> None:
        self._zone = ZoneInfo(timezone)
        self._origin_run_ms = origin_run_ms
        self._started_ns = run_clock_ns()
        self._kernel = _KernelTime()

    def now(self) -> Instant:
        """Return the present instant."""
        passed_ns = run_clock_ns() - self._started_ns
        return _instant(
            self._origin_run_ms + passed_ns // 1_000_000,
            time.time_ns() // 1_000_000,
            self._zone,
            clock_ok=self._kernel.synchronised(),
        )

    async def sleep_until(self, run_ms: int) -> None:
        """Return when the bench clock has reached run_ms [ms], not before."""
        while (left_ms := run_ms - self.now().run_ms) > 0:  # noqa: ASYNC110
            # it may wake a little early, hence the loop
            await asyncio.sleep(left_ms / 1000)


class FastClock:
    """The machine's clock sped up, from a wall-clock time of one's choice.

    Args:
        speed: Bench seconds for each real second.
        start_utc_ms: What the wall clock shows now [ms].
        timezone: IANA name of the bench's time zone.
        origin_run_ms: What the bench clock shows now [ms].

    Raises:
        ValueError: The speed is not above 0.
        ZoneInfoNotFoundError: There is no such time zone.
    """

    def __init__(
        self, speed: float, start_utc_ms: int, timezone: str, origin_run_ms: int = 0
    ) -> None:
        if not speed > 0:
            raise ValueError(f"speed = {speed}: must be above 0")
        self._zone = ZoneInfo(timezone)
        self._speed = speed
        self._start_utc_ms = start_utc_ms
        self._origin_run_ms = origin_run_ms
        self._started_ns = time.monotonic_ns()

    def now(self) -> Instant:
        """Return the present instant; its wall clock counts as right."""
        passed_ns = time.monotonic_ns() - self._started_ns
        passed_ms = int(passed_ns * self._speed / 1_000_000)
        return _instant(
            self._origin_run_ms + passed_ms,
            self._start_utc_ms + passed_ms,
            self._zone,
            clock_ok=True,
        )

    async def sleep_until(self, run_ms: int) -> None:
        """Return when the bench clock has reached run_ms [ms], not before."""
        while (left_ms := run_ms - self.now().run_ms) > 0:  # noqa: ASYNC110
            await asyncio.sleep(left_ms / self._speed / 1000)


class ManualClock:
    """A clock that stands still until it is advanced: for tests.

    Args:
        timezone: IANA name of the bench's time zone.
        run_ms: What the bench clock shows [ms].
        utc_ms: What the wall clock shows [ms].

    Attributes:
        clock_ok: Whether the wall clock counts as right; may be changed.
    """

    def __init__(self, timezone: str = "UTC", run_ms: int = 0, utc_ms: int = 0) -> None:
        self.clock_ok = True
        self._zone = ZoneInfo(timezone)
        self._run_ms = run_ms
        self._utc_ms = utc_ms
        self._order = count()
        self._sleepers: list[tuple[int, int, asyncio.Event]] = []

    def now(self) -> Instant:
        """Return the instant at which the clock stands."""
        return _instant(self._run_ms, self._utc_ms, self._zone, clock_ok=self.clock_ok)

    async def sleep_until(self, run_ms: int) -> None:
        """Return when the clock has been advanced to run_ms [ms]."""
        if run_ms <= self._run_ms:
            return
        woken = asyncio.Event()
        sleeper = (run_ms, next(self._order), woken)
        heapq.heappush(self._sleepers, sleeper)
        try:
            await woken.wait()
        except asyncio.CancelledError:
            self._forget(sleeper)
            raise

    def advance(self, by_ms: int) -> None:
        """Move both clocks on and release those who slept until then, in order."""
        self._run_ms += by_ms
        self._utc_ms += by_ms
        while self._sleepers and self._sleepers[0][0] <= self._run_ms:
            _, _, woken = heapq.heappop(self._sleepers)
            woken.set()

    def step_wall_clock(self, by_ms: int) -> None:
        """Move the wall clock alone, as a time server or a person may."""
        self._utc_ms += by_ms

    def wakes_at(self) -> int | None:
        """Return when the first sleeper wakes, bench clock [ms]; None: nobody."""
        return self._sleepers[0][0] if self._sleepers else None

    def _forget(self, sleeper: tuple[int, int, asyncio.Event]) -> None:
        if sleeper in self._sleepers:
            self._sleepers.remove(sleeper)
            heapq.heapify(self._sleepers)


def utc_ms_of(day: date, minute: int, timezone: str) -> int:
    """Return the instant at which a local clock shows a minute of a day [ms].

    Args:
        day: The local day.
        minute: The minute of it, 0 to 1439; of two equal ones the first.
        timezone: IANA name of the time zone.
    """
    local = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(timezone))
    local += timedelta(minutes=minute)  # wall-clock arithmetic within one zone
    return int(local.timestamp()) * 1000


def _instant(run_ms: int, utc_ms: int, zone: ZoneInfo, *, clock_ok: bool) -> Instant:
    offset = datetime.fromtimestamp(utc_ms // 1000, UTC).astimezone(zone).utcoffset()
    local_ms = utc_ms + int((offset or timedelta()).total_seconds() * 1000)
    return Instant(
        run_ms=run_ms,
        utc_ms=utc_ms,
        clock_ok=clock_ok,
        local_day=local_ms // DAY_MS,
        local_minute=local_ms % DAY_MS // MINUTE_MS,
    )


class _KernelTime:
    """Asks the kernel whether a time server keeps the wall clock right."""

    def __init__(self) -> None:
        self._ask = _adjtimex()

    def synchronised(self) -> bool:
        """Whether the kernel says so; False where it cannot be asked."""
        if self._ask is None:
            return False
        # All zero, so "modes" is 0: ask and change nothing. The kernel answers
        # TIME_ERROR while STA_UNSYNC is set, so the struct need not be read.
        state = self._ask(ctypes.create_string_buffer(_TIMEX_BYTES))
        return 0 <= state < _TIME_ERROR


def _adjtimex() -> Callable[[ctypes.Array[ctypes.c_char]], int] | None:
    """Return the C library's call, or None where there is none."""
    try:
        call: Callable[[ctypes.Array[ctypes.c_char]], int] = ctypes.CDLL(None).adjtimex
    except (AttributeError, OSError, TypeError):
        return None
    return call
