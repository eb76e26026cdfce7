"""What a recount is made of: lines that midnight cuts, days, and gaps.

What may live here: these shapes and the arithmetic of a single one.
"""

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from controller.core.thermal_time import heat_along


class Why(Enum):
    """Why nothing was measured for a while."""

    SILENT = "silent"
    """No reading came."""
    DOUBTED = "doubted"
    """Readings came, and none could be used."""
    RUN_ENDED = "run ended"
    """The controller did not run."""


@dataclass(frozen=True, slots=True)
class Gap:
    """An interval that is too long to be bridged.

    Attributes:
        from_utc_ms: Where it begins, on the wall clock of its end [ms].
        to_utc_ms: The reading that ended it [ms].
        lasting_ms: Its length by the run clock [ms]; None: the bench's clock
            was not known to be right, so that nobody can say.
        why: Why.
    """

    from_utc_ms: int
    to_utc_ms: int
    lasting_ms: int | None
    why: Why


@dataclass(frozen=True, slots=True)
class ThermalDay:
    """What one local day holds; units as in ThermalAccount.

    Attributes:
        day: Days since 1970-01-01, local.
        heat_mk_ms: Thermal time [mK·ms].
        warmth_mk_ms: Integral of the temperature [m°C·ms].
        measured_ms: Time covered by readings [ms].
        gap_ms: Time of gaps [ms].
        gaps: Gaps that begin in it.
        readings: Readings that were counted.
        low_mc: The lowest of them [m°C]; None without one.
        high_mc: The highest [m°C].
    """

    day: int
    heat_mk_ms: int
    warmth_mk_ms: int
    measured_ms: int
    gap_ms: int
    gaps: int
    readings: int
    low_mc: int | None
    high_mc: int | None


class Line(NamedTuple):
    """The first part of a straight line between two samples."""

    from_mc: int
    to_mc: int
    lasting_ms: int
    part_ms: int

    def heat(self, base_mc: int, upper_mc: int) -> int:
        """Return its thermal time [mK·ms], rounded half to even."""
        if self.part_ms == self.lasting_ms:
            return heat_along(
                self.from_mc, self.to_mc, base_mc, upper_mc, self.lasting_ms
            )
        above = self._above(base_mc) - self._above(upper_mc)
        return round(above * self.part_ms)

    def warmth(self) -> int:
        """Return its integral of the temperature [m°C·ms], rounded half to even."""
        return round((self.from_mc + self._end_mc()) / 2 * self.part_ms)

    def _end_mc(self) -> Fraction:
        rise_mk = self.to_mc - self.from_mc
        return self.from_mc + Fraction(rise_mk * self.part_ms, self.lasting_ms)

    def _above(self, threshold_mc: int) -> Fraction:
        """Return the mean height above a threshold [mK]."""
        start = Fraction(max(0, self.from_mc - threshold_mc))
        end_mc = self._end_mc()
        end = max(Fraction(0), end_mc - threshold_mc)
        if end_mc == self.from_mc:
            return start
        return abs(end * end - start * start) / (2 * abs(end_mc - self.from_mc))


def together(one: ThermalDay, other: ThermalDay) -> ThermalDay:
    """Return a day that was written down twice as one."""
    lows = [day.low_mc for day in (one, other) if day.low_mc is not None]
    highs = [day.high_mc for day in (one, other) if day.high_mc is not None]
    return ThermalDay(
        one.day,
        one.heat_mk_ms + other.heat_mk_ms,
        one.warmth_mk_ms + other.warmth_mk_ms,
        one.measured_ms + other.measured_ms,
        one.gap_ms + other.gap_ms,
        one.gaps + other.gaps,
        one.readings + other.readings,
        min(lows, default=None),
        max(highs, default=None),
    )


def inside(gap: Gap, from_ms: int, to_ms: int) -> Gap | None:
    """Return what of a gap lies in a span of the wall clock [ms]; None: nothing."""
    start_ms, end_ms = max(gap.from_utc_ms, from_ms), min(gap.to_utc_ms, to_ms)
    if start_ms >= end_ms and (gap.lasting_ms is not None or end_ms < from_ms):
        return None
    lasting_ms = None if gap.lasting_ms is None else end_ms - start_ms
    return Gap(start_ms, end_ms, lasting_ms, gap.why)
