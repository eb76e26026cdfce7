"""Times of scans, as small deviations from a straight line.

Scans come every few seconds, so that most of a time is known beforehand. A
stretch says when its scans are due; a scan adds by how little it missed that.
Whatever does not lie near the line, or changes a flag, begins a new stretch.
All of it is exact: what goes in comes out, to the millisecond.
"""

from typing import NamedTuple

from controller.core.scan import LogHealth, Scan
from controller.core.units import MINUTE_MS

LATEST_MS = 32_767
"""What two bytes hold: a scan further off its time begins a new stretch."""

SKEW_MS = 2_000
"""Chosen: a wall clock that moved by more than this was set, not disciplined."""

_DAY_MIN = 24 * 60


class Stretch(NamedTuple):
    """A row of the table `clock`: see schema."""

    scan: int
    run_ms: int
    utc_ms: int
    every_ms: int
    zone_min: int
    clock_ok: int
    link_up: int
    log_ok: int


class Moment(NamedTuple):
    """The times of one scan, as the core sees them."""

    run_ms: int
    utc_ms: int
    local_day: int
    local_minute: int


def stretch_from(scan_id: int, scan: Scan, every_ms: int) -> Stretch:
    """Return a stretch that begins with a scan."""
    return Stretch(
        scan_id,
        scan.run_ms,
        scan.utc_ms,
        every_ms,
        _zone_min(scan),
        int(scan.clock_ok),
        int(scan.link_up),
        int(scan.log_health is LogHealth.OK),
    )


def deviation(stretch: Stretch, scan_id: int, scan: Scan) -> tuple[int, int] | None:
    """Return a scan's late_ms and skew_ms; None: it needs a stretch of its own."""
    due_ms = stretch.run_ms + (scan_id - stretch.scan) * stretch.every_ms
    late_ms = scan.run_ms - due_ms
    skew_ms = (scan.utc_ms - scan.run_ms) - (stretch.utc_ms - stretch.run_ms)
    if (
        -LATEST_MS <= late_ms <= LATEST_MS
        and -SKEW_MS <= skew_ms <= SKEW_MS
        and stretch.zone_min == _zone_min(scan)
        and stretch.clock_ok == scan.clock_ok
        and stretch.link_up == scan.link_up
        and stretch.log_ok == (scan.log_health is LogHealth.OK)
    ):
        return late_ms, skew_ms
    return None


def moment(stretch: Stretch, scan_id: int, late_ms: int, skew_ms: int) -> Moment:
    """Return the times of a scan of a stretch."""
    elapsed_ms = (scan_id - stretch.scan) * stretch.every_ms + late_ms
    utc_ms = stretch.utc_ms + elapsed_ms + skew_ms
    day, minute = divmod(utc_ms // MINUTE_MS + stretch.zone_min, _DAY_MIN)
    return Moment(stretch.run_ms + elapsed_ms, utc_ms, day, minute)


def _zone_min(scan: Scan) -> int:
    local_min = scan.local_day * _DAY_MIN + scan.local_minute
    return local_min - scan.utc_ms // MINUTE_MS
