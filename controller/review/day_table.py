"""Thermal time day by day: the integral, and beside it what the books would say.

What may live here: from a recount to the rows of a table, in K·h, K·d and °C.
Sums are made of whole numbers; a row divides once. A daily method sees only
the highest and the lowest reading of a day, whatever time was measured.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import zip_longest

from controller.core.units import HOUR_MS, celsius, kelvin_hours
from controller.review.daily_degree_days import (
    NEEDS_NEXT_DAY,
    TAKES_CUTOFF,
    DailyMethod,
    degree_days,
)
from controller.review.day_shapes import Cutoff
from controller.review.local_days import LocalDays, date_of
from controller.review.recounted import Recount
from controller.review.thermal_days import ThermalDay

WHOLE = 0.95
"""Chosen: with less of a day measured, its highest and lowest say little of it."""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One local day.

    Attributes:
        day: Its date.
        hours: Its length: 24, or 23 or 25 where the zone's clocks change.
        degree_hours_k_h: Integral of its readings [K·h].
        cumulative_k_h: The same from the beginning to its end [K·h].
        hours_measured: Hours covered by readings.
        gap_hours: Hours of gaps.
        readings: How many were counted.
        low_c: The lowest of them [°C]; None without one.
        high_c: The highest [°C].
        degree_days_k_d: By name of the method, from low_c and high_c [K·d];
            None where one is missing, or the next day's where that is needed.
        next_measured: Whether almost all of the next day was measured, too, or
            no method needs it: its lowest may be still to come.
    """

    day: date
    hours: float
    degree_hours_k_h: float
    cumulative_k_h: float
    hours_measured: float
    gap_hours: float
    readings: int
    low_c: float | None
    high_c: float | None
    degree_days_k_d: Mapping[DailyMethod, float | None]
    next_measured: bool = True

    @property
    def whole(self) -> bool:
        """Whether almost all of it was measured, and every method has its say."""
        measured = _measured(self) and self.next_measured
        return measured and None not in self.degree_days_k_d.values()


def methods_for(upper_mc: int | None, cutoff: Cutoff) -> tuple[DailyMethod, ...]:
    """Return the methods that know such an upper threshold, in their order."""
    if upper_mc is None:
        return tuple(DailyMethod)
    return tuple(
        method
        for method in DailyMethod
        if method in TAKES_CUTOFF
        or (cutoff is Cutoff.HORIZONTAL and method is not DailyMethod.MET_SERVICE)
    )


def day_rows(
    counted: Recount,
    methods: Sequence[DailyMethod] = (),
    cutoff: Cutoff = Cutoff.HORIZONTAL,
) -> list[DayRow]:
    """Return a row for each day of a recount.

    Args:
        counted: The recount; its base and upper hold for the methods as well.
        methods: Daily methods to put beside the integral, from methods_for.
        cutoff: How they understand the upper.
    """
    calendar = LocalDays(counted.timezone)
    rows: list[DayRow] = []
    total_mk_ms = counted.carried.heat_mk_ms
    for number, day in enumerate(counted.days):
        total_mk_ms += day.heat_mk_ms
        after = counted.days[number + 1] if number + 1 < len(counted.days) else None
        next_mc = after.low_mc if after and after.day == day.day + 1 else None
        by_method = {
            method: _by(method, counted, day, next_mc, cutoff) for method in methods
        }
        rows.append(
            DayRow(
                date_of(day.day),
                _hours(calendar, date_of(day.day)),
                kelvin_hours(day.heat_mk_ms),
                kelvin_hours(total_mk_ms),
                day.measured_ms / HOUR_MS,
                day.gap_ms / HOUR_MS,
                day.readings,
                _celsius(day.low_mc),
                _celsius(day.high_mc),
                by_method,
            )
        )
    if NEEDS_NEXT_DAY.isdisjoint(methods):
        return rows
    return [
        replace(row, next_measured=after is not None and _measured(after))
        for row, after in zip_longest(rows, rows[1:])
    ]


def _measured(row: DayRow) -> bool:
    return row.hours_measured >= WHOLE * row.hours


def _by(
    method: DailyMethod,
    counted: Recount,
    day: ThermalDay,
    next_mc: int | None,
    cutoff: Cutoff,
) -> float | None:
    if day.low_mc is None or day.high_mc is None:
        return None
    if method in NEEDS_NEXT_DAY and next_mc is None:
        return None
    low_of_next = None
    if method in NEEDS_NEXT_DAY and next_mc is not None:
        # A day may begin with its highest: the method is not made for that.
        low_of_next = celsius(min(next_mc, day.high_mc))
    return degree_days(
        method,
        celsius(day.high_mc),
        celsius(day.low_mc),
        celsius(counted.account.base_mc),
        upper=_celsius(counted.account.upper_mc),
        cutoff=cutoff,
        next_low=low_of_next,
    )


def _hours(calendar: LocalDays, day: date) -> float:
    until = calendar.midnight_ms(day + timedelta(days=1))
    return (until - calendar.midnight_ms(day)) / HOUR_MS


def _celsius(temp_mc: int | None) -> float | None:
    return None if temp_mc is None else celsius(temp_mc)
