"""Local days and minutes of many instants, quickly. No command."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS, MINUTE_MS
from controller.ports import Instant

_QUARTER_MS = 15 * MINUTE_MS
"""Every offset from UTC in use is a whole number of quarter-hours, and changes
at one."""


class LocalTime:
    """Local day and minute of instants that come in order, quickly."""

    def __init__(self, timezone: str) -> None:
        self._zone = ZoneInfo(timezone)
        self._quarter = -1
        self._offset_ms = 0

    def at(self, utc_ms: int) -> tuple[int, int]:
        """Return the local day (since 1970-01-01) and the minute of it."""
        quarter = utc_ms // _QUARTER_MS
        if quarter != self._quarter:
            self._quarter = quarter
            here = datetime.fromtimestamp(utc_ms // 1000, UTC).astimezone(self._zone)
            offset = here.utcoffset()
            self._offset_ms = int(offset.total_seconds() * 1000) if offset else 0
        local_ms = utc_ms + self._offset_ms
        return local_ms // DAY_MS, local_ms % DAY_MS // MINUTE_MS

    def instant(self, run_ms: int, utc_ms: int) -> Instant:
        """Return an instant whose wall clock is right."""
        return Instant(run_ms, utc_ms, True, *self.at(utc_ms))  # noqa: FBT003
