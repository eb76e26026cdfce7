"""Recounted degree-hours as JSON: K·h, K·d and °C, whatever was asked in.

What may live here: shapes for machines. For people see degree_hours_words.
"""

from pathlib import Path

from controller.cli.degree_hours_words import (
    FROM_EXTREMES,
    INTEGRAL,
    Told,
    Wanted,
    moment,
)
from controller.core.units import HOUR_MS, celsius, kelvin_hours
from controller.review.daily_degree_days import DailyMethod
from controller.review.day_table import day_rows, methods_for
from controller.review.recounted import Bounds, Recount, bounds
from controller.review.thermal_days import Gap


def as_json(log: Path, told: Told, wanted: Wanted) -> dict[str, object]:
    """Return everything that was counted."""
    return {
        "log": str(log),
        "method": INTEGRAL,
        "daily_methods": FROM_EXTREMES,
        "trays": [
            _tray_as_json(counted, wanted, agrees=agrees) for counted, agrees in told
        ],
    }


def _tray_as_json(
    counted: Recount, wanted: Wanted, *, agrees: bool | None
) -> dict[str, object]:
    account = counted.account
    gap_ms = sum(gap.lasting_ms or 0 for gap in counted.gaps)
    found: dict[str, object] = {
        "tray": counted.tray,
        "degree_hours_k_h": kelvin_hours(account.heat_mk_ms),
        "heat_mk_ms": account.heat_mk_ms,
        "base_c": celsius(account.base_mc),
        "upper_c": None if account.upper_mc is None else celsius(account.upper_mc),
        "readings": counted.readings,
        "hours_measured": account.measured_ms / HOUR_MS,
        "gap_hours": account.gap_ms / HOUR_MS,
        "lowest_c": None if counted.low_mc is None else celsius(counted.low_mc),
        "highest_c": None if counted.high_mc is None else celsius(counted.high_mc),
        "carried_k_h": kelvin_hours(counted.carried.heat_mk_ms),
        "live_counter_agrees": agrees,
        "imported_left_out": counted.left_out,
        "gaps_would_add": _bounds_as_json(bounds(counted, gap_ms)),
        "gaps": [_gap_as_json(counted, gap) for gap in counted.gaps],
    }
    if wanted.days:
        found["timezone"] = counted.timezone
        found["days"] = _days_as_json(counted, wanted)
    return found


def _gap_as_json(counted: Recount, gap: Gap) -> dict[str, object]:
    known = gap.lasting_ms is not None
    return {
        "start": _utc_text(gap.from_utc_ms),
        "end": _utc_text(gap.to_utc_ms),
        "hours": gap.lasting_ms / HOUR_MS if gap.lasting_ms is not None else None,
        "why": gap.why.value,
        "would_add": _bounds_as_json(bounds(counted, gap.lasting_ms or 0))
        if known
        else None,
    }


def _bounds_as_json(could: Bounds) -> dict[str, float | None]:
    above = could.never_above
    return {
        "at_lowest_reading_k_h": kelvin_hours(could.at_least),
        "at_highest_reading_k_h": kelvin_hours(could.at_most),
        "never_above_k_h": None if above is None else kelvin_hours(above),
    }


def _days_as_json(counted: Recount, wanted: Wanted) -> list[dict[str, object]]:
    methods: tuple[DailyMethod, ...] = ()
    if wanted.methods:
        methods = methods_for(counted.account.upper_mc, wanted.cutoff)
    rows = day_rows(counted, methods, wanted.cutoff)
    found: list[dict[str, object]] = []
    for row, day in zip(rows, counted.days, strict=True):
        record: dict[str, object] = {
            "day": row.day.isoformat(),
            "degree_hours_k_h": row.degree_hours_k_h,
            "heat_mk_ms": day.heat_mk_ms,
            "cumulative_k_h": row.cumulative_k_h,
            "hours_measured": row.hours_measured,
            "gap_hours": row.gap_hours,
            "readings": row.readings,
            "lowest_c": row.low_c,
            "highest_c": row.high_c,
        }
        if methods:
            record["cutoff"] = wanted.cutoff.value
            record["degree_days_k_d"] = {
                method.value: value for method, value in row.degree_days_k_d.items()
            }
        found.append(record)
    return found


def _utc_text(utc_ms: int) -> str:
    return moment(utc_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z")
