"""Thermal time that was counted again from the season log, as the API shows it.

What may live here: from a recount to plain dicts. No requests.
"""

from dataclasses import dataclass

from api.formats import utc_text
from api.moment import Moment
from api.shapes import (
    DegreeHoursView,
    GapBoundsView,
    ThermalDayView,
    ThermalGapView,
)
from api.tray_views import degree_hours_view
from controller.core.plan import TrayPlan
from controller.core.units import HOUR_MS, kelvin_hours
from controller.review.day_shapes import Cutoff
from controller.review.day_table import DayRow, day_rows, methods_for
from controller.review.recounted import Bounds, Recount, bounds
from controller.review.thermal_days import Gap

MOST_GAPS = 500
"""Chosen: an answer lists no more gaps than this, the longest; all are counted."""

DAILY_METHOD = "from each day's highest and lowest reading, whatever was measured"

_LONGEST_MS = 2**62


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was asked for.

    Attributes:
        from_ms: Beginning of the stretch, wall clock [ms].
        to_ms: Its end [ms].
        days: Whether to tell each day.
        cutoff: How daily methods take the upper.
    """

    from_ms: int
    to_ms: int
    days: bool
    cutoff: Cutoff


def logged_degree_hours(
    look: Moment, tray: TrayPlan, counted: Recount, asked: Stretch
) -> DegreeHoursView:
    """Return thermal time that was counted again from the season log."""
    view = degree_hours_view(look, tray, counted.account)
    view["source"] = "season log"
    view["start"], view["end"] = utc_text(asked.from_ms), utc_text(asked.to_ms)
    view["readings"] = counted.readings
    gap_ms = sum(gap.lasting_ms or 0 for gap in counted.gaps)
    view["gaps_would_add"] = _bounds_view(bounds(counted, gap_ms))
    listed = _longest(counted.gaps)
    view["gap_list"] = [_gap_view(counted, gap) for gap in listed]
    if asked.days:
        methods = methods_for(counted.account.upper_mc, asked.cutoff)
        rows = day_rows(counted, methods, asked.cutoff)
        view["timezone"] = counted.timezone
        view["daily_method"] = DAILY_METHOD
        view["cutoff"] = asked.cutoff.value
        view["days"] = [_day_view(row) for row in rows]
    return view


def _longest(gaps: tuple[Gap, ...]) -> list[Gap]:
    """Return the longest gaps in their order; those of unknown length first."""
    by_length = sorted(range(len(gaps)), key=lambda at: -_length(gaps[at]))
    return [gaps[at] for at in sorted(by_length[:MOST_GAPS])]


def _length(gap: Gap) -> int:
    return _LONGEST_MS if gap.lasting_ms is None else gap.lasting_ms


def _gap_view(counted: Recount, gap: Gap) -> ThermalGapView:
    hours, could = None, None
    if gap.lasting_ms is not None:
        hours = round(gap.lasting_ms / HOUR_MS, 4)
        could = _bounds_view(bounds(counted, gap.lasting_ms))
    return ThermalGapView(
        start=utc_text(gap.from_utc_ms),
        end=utc_text(gap.to_utc_ms),
        hours=hours,
        why=gap.why.value,
        would_add=could,
    )


def _bounds_view(could: Bounds) -> GapBoundsView:
    above = could.never_above
    return GapBoundsView(
        at_lowest_reading_k_h=round(kelvin_hours(could.at_least), 3),
        at_highest_reading_k_h=round(kelvin_hours(could.at_most), 3),
        never_above_k_h=None if above is None else round(kelvin_hours(above), 3),
    )


def _day_view(row: DayRow) -> ThermalDayView:
    return ThermalDayView(
        day=row.day.isoformat(),
        degree_hours_k_h=round(row.degree_hours_k_h, 3),
        cumulative_k_h=round(row.cumulative_k_h, 3),
        hours_measured=round(row.hours_measured, 4),
        gap_hours=round(row.gap_hours, 4),
        readings=row.readings,
        lowest_c=row.low_c,
        highest_c=row.high_c,
        degree_days_k_d={
            method.value: None if value is None else round(value, 4)
            for method, value in row.degree_days_k_d.items()
        },
    )
