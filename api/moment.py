"""One look at the bench: the last finished scan, and how long ago that is.

What may live here: turning instants of the run clock into text, and the reader
for whom sentences are written. No judgement.
"""

from dataclasses import dataclass

from api.formats import local_text, utc_text
from api.sentences import Reader
from controller.core.units import Millis
from controller.ports import Instant, Snapshot


@dataclass(frozen=True, slots=True)
class Moment:
    """What every view is made from.

    Attributes:
        snapshot: The bench at the last finished scan.
        now_ms: The present on the run clock, not before that scan [ms].
    """

    snapshot: Snapshot
    now_ms: Millis


def moment(snapshot: Snapshot, now: Instant) -> Moment:
    """Return a look at a snapshot at an instant."""
    return Moment(snapshot, Millis(max(now.run_ms, snapshot.scan.run_ms)))


def scan_age_ms(look: Moment) -> int:
    """Return how long ago the last scan was made [ms]."""
    return look.now_ms - look.snapshot.scan.run_ms


def reader_of(look: Moment) -> Reader:
    """Return for whom and when sentences of this look are written."""
    scan = look.snapshot.scan
    return Reader(look.snapshot.display_unit, scan.run_ms, scan.utc_ms)


def wall_ms(look: Moment, run_ms: int) -> int:
    """Return an instant of the run clock [ms] on the last scan's wall clock [ms]."""
    scan = look.snapshot.scan
    return scan.utc_ms + run_ms - scan.run_ms


def at_text(look: Moment, run_ms: int | None) -> str | None:
    """Return an instant of the run clock [ms] as RFC 3339; None stays None."""
    return None if run_ms is None else utc_text(wall_ms(look, run_ms))


def clock_text(look: Moment, run_ms: int) -> str:
    """Return an instant of the run clock [ms] as the bench's clock shows it."""
    snapshot = look.snapshot
    return local_text(wall_ms(look, run_ms), snapshot.scan.utc_ms, snapshot.timezone)
