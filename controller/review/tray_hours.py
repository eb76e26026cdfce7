"""Hourly mean temperatures of trays, from the log: what forecasts count with.

An hour of which less than half was measured has none. What may live here: reading
them, once for each tray, and filling what was not measured.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.core.plan import MatPlan, Plan
from controller.core.units import HOUR_MS
from controller.ports import SeasonReader
from controller.review.degree_hours import NoSuchTrayError, recount
from controller.review.local_days import EvenHours
from controller.review.recounted import Span, Thresholds

Hours = Mapping[int, float]
"""Mean temperature [°C] by full hours of UTC since 1970."""

_WHOLE = Thresholds(0)


@dataclass(slots=True)
class TrayHours:
    """Hourly means of every tray that is asked for, read once.

    Attributes:
        reader: The log.
        plan: The newest plan, for which trays stand on which mat.
        from_utc_ms: From when [ms].
        to_utc_ms: To when [ms].
    """

    reader: SeasonReader
    plan: Plan
    from_utc_ms: int
    to_utc_ms: int
    _known: dict[str, Hours] = field(default_factory=dict)

    def of(self, tray: str) -> Hours:
        """Return a tray's own hourly means; none: it has no probe, or is not there."""
        if tray not in self._known:
            self._known[tray] = self._read(tray)
        return self._known[tray]

    def beside(self, tray: str) -> Hours:
        """Return hourly means of the other trays on a tray's mat, one of all."""
        mat = mat_of(self.plan, tray)
        others = [one.name for one in mat.trays if one.name != tray] if mat else []
        found = [hours for hours in map(self.of, others) if hours]
        keys = sorted({hour for hours in found for hour in hours})
        return {hour: _mean([h[hour] for h in found if hour in h]) for hour in keys}

    def _read(self, tray: str) -> Hours:
        ends = self.from_utc_ms, self.to_utc_ms
        if ends[0] >= ends[1]:
            return {}
        span = Span(*ends, newest_utc_ms=self.to_utc_ms)
        try:
            found = recount(self.reader, tray, _WHOLE, span, EvenHours(*ends))
        except NoSuchTrayError:
            return {}
        return {
            hour.day: hour.warmth_mk_ms / hour.measured_ms / 1000
            for hour in found.days
            if 2 * hour.measured_ms >= HOUR_MS
        }


def mat_of(plan: Plan, tray: str) -> MatPlan | None:
    """Return the mat that a tray stands on; None: on none."""
    stands = (mat for mat in plan.mats if tray in {one.name for one in mat.trays})
    return next(stands, None)


def filled(hours: Hours, first: int, last: int) -> tuple[list[float], int]:
    """Return the means from one hour to before another, and how many were missing.

    Between two that were measured a missing one lies on the line; at the ends it is
    like the nearest.

    Args:
        hours: What was measured; at least one.
        first: The first hour.
        last: The hour behind the last.
    """
    known = sorted(hours)
    if not known:
        raise ValueError("nothing was measured: there is nothing to fill from")
    found: list[float] = []
    missing, at = 0, 0
    for hour in range(first, last):
        own = hours.get(hour)
        if own is not None:
            found.append(own)
            continue
        missing += 1
        while at < len(known) and known[at] < hour:
            at += 1
        found.append(_between(hours, known, at, hour))
    return found, missing


def _between(hours: Hours, known: list[int], at: int, hour: int) -> float:
    if at == 0:
        return hours[known[0]]
    if at == len(known):
        return hours[known[-1]]
    before, after = known[at - 1], known[at]
    part = (hour - before) / (after - before)
    return hours[before] + part * (hours[after] - hours[before])


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
