"""What the scans of a log tell when they are gone through once, in order.

What may live here: times on, setpoints in force, alarms, and time without a scan.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from controller.core.decisions import AlarmChange, AlarmTurn
from controller.core.units import DAY_MS, MINUTE_MS
from controller.ports import RecordedScan, RunHeader
from controller.review.heating import Heating
from controller.review.local_days import LocalDays, Stretch
from controller.review.report.story import AlarmStory

SILENT_MS = 5 * MINUTE_MS
"""Chosen: scans further apart than this were not watched between."""

SKEW_MS = 1_000
"""Chosen: a wall clock that is off by less has not been set."""


@dataclass(slots=True)
class WatchedMat:
    """What the scans tell of a mat.

    Attributes:
        heating: Believes it on or off.
        setpoints: From when on which setpoint was in force [ms, m°C].
        on_by_day: How long it was on, by local day [ms].
        operations: How often it went on.
    """

    heating: Heating
    setpoints: list[tuple[int, int]] = field(default_factory=list)
    on_by_day: dict[int, int] = field(default_factory=dict)
    operations: int = 0


class Watched:
    """Scans, gone through in order.

    Args:
        timezone: Whose days are counted.
        alarm_words: What an alarm says.
    """

    def __init__(
        self, timezone: str, alarm_words: Callable[[AlarmChange], str]
    ) -> None:
        self._days, self._alarm_words = LocalDays(timezone), alarm_words
        self._day = Stretch(None, 0, 0)
        self._clocks: list[tuple[int, int]] = []
        self._alarms: list[AlarmStory] = []
        self._active: dict[tuple[str, str], AlarmStory] = {}
        self._origin = ""
        self._fresh = False
        self.mats: dict[str, WatchedMat] = {}
        self.origins: set[str] = set()
        self.runs = self.scans = self.silent_ms = 0
        self.first_ms: int | None = None
        self.last_ms: int | None = None

    def begin(self, header: RunHeader) -> None:
        """Begin a run; it counts with its first scan."""
        for mat in header.plan.mats:
            known = self.mats.setdefault(mat.name, WatchedMat(Heating(mat.name)))
            known.heating.begin(header.plan)
        self._origin, self._fresh = header.origin, True

    def take(self, recorded: RecordedScan) -> None:
        """Take a scan."""
        scan = recorded.scan
        if self._fresh:
            self.runs, self._fresh = self.runs + 1, False
            self.origins.add(self._origin)
        if self.last_ms is not None and scan.utc_ms - self.last_ms > SILENT_MS:
            self.silent_ms += scan.utc_ms - self.last_ms
        self.first_ms = scan.utc_ms if self.first_ms is None else self.first_ms
        self.last_ms = scan.utc_ms
        self.scans += 1
        self.pass_by(recorded)
        for change in recorded.decisions.alarm_changes:
            self._alarm(change, scan.utc_ms)

    def pass_by(self, recorded: RecordedScan) -> None:
        """Take of a scan what may still hold later: heat, setpoints, the clock."""
        scan = recorded.scan
        skew_ms = scan.utc_ms - scan.run_ms
        if not self._clocks or abs(self._clocks[-1][1] - skew_ms) > SKEW_MS:
            self._clocks.append((scan.run_ms, skew_ms))
        for mat in self.mats.values():
            mat.heating.take(recorded)
        for command in recorded.commands:
            self._setpoint(command.mat, dict(command.numbers), scan.utc_ms)

    def _setpoint(self, mat: str, numbers: dict[str, float], utc_ms: int) -> None:
        setpoint_mc = numbers.get("setpoint_mc")
        known = self.mats.get(mat)
        if setpoint_mc is None or known is None:
            return
        if not known.setpoints or known.setpoints[-1][1] != round(setpoint_mc):
            known.setpoints.append((utc_ms, round(setpoint_mc)))

    # ------------------------------------------------------------------------ alarms

    def _alarm(self, change: AlarmChange, utc_ms: int) -> None:
        key = change.kind.value, change.subject
        if change.turn is AlarmTurn.RAISED and key not in self._active:
            words = self._alarm_words(change)
            self._active[key] = AlarmStory(*key, utc_ms, None, words)
        elif change.turn is AlarmTurn.CLEARED and key in self._active:
            came = self._active.pop(key)
            done = AlarmStory(*key, came.from_utc_ms, utc_ms, came.words)
            self._alarms.append(done)

    def alarms(self) -> tuple[AlarmStory, ...]:
        """Return the alarms in order of when they came."""
        every = [*self._alarms, *self._active.values()]
        return tuple(sorted(every, key=lambda one: (one.from_utc_ms, one.kind)))

    # ------------------------------------------------------------------------- heat

    def end(self) -> None:
        """Count how long each mat was on, day by day, and cut what was before."""
        for mat in self.mats.values():
            mat.setpoints[:] = self._in_force(mat.setpoints)
            since_ms: int | None = None
            for run_ms, on in mat.heating.ended():
                if on:
                    since_ms = run_ms
                elif since_ms is not None:
                    self._count(mat, since_ms, run_ms)
                    since_ms = None

    def _in_force(self, setpoints: list[tuple[int, int]]) -> list[tuple[int, int]]:
        """Return setpoints with the one that held at the beginning as the first."""
        first_ms = self.first_ms or 0
        before = [temp_mc for at_ms, temp_mc in setpoints if at_ms < first_ms]
        later = [told for told in setpoints if told[0] >= first_ms]
        return ([(first_ms, before[-1])] if before else []) + later

    def _count(self, mat: WatchedMat, from_run_ms: int, to_run_ms: int) -> None:
        """Add a stretch of heat to the days that it lies in."""
        begin_ms = self._wall_ms(from_run_ms)
        end_ms = begin_ms + to_run_ms - from_run_ms
        at_ms = max(begin_ms, self.first_ms or begin_ms)
        mat.operations += at_ms == begin_ms
        while at_ms < end_ms:
            if not self._day.start_utc_ms <= at_ms < self._day.end_utc_ms:
                self._day = self._days.at(at_ms)
            upto_ms = min(end_ms, self._day.end_utc_ms)
            day = at_ms // DAY_MS if self._day.day is None else self._day.day
            mat.on_by_day[day] = mat.on_by_day.get(day, 0) + upto_ms - at_ms
            at_ms = upto_ms

    def _wall_ms(self, run_ms: int) -> int:
        """Return a time of the bench clock on the wall clock [ms]."""
        low, high = 0, len(self._clocks)
        while high - low > 1:
            middle = (low + high) // 2
            if self._clocks[middle][0] <= run_ms:
                low = middle
            else:
                high = middle
        return run_ms + self._clocks[low][1]
