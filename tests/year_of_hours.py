"""A year of hourly temperatures that a general-purpose package ships.

vega-datasets 0.9, sf-temps.csv and seattle-temps.csv: San Francisco and Seattle
in 2010, from public-domain data of the US National Oceanic and Atmospheric
Administration, 8759 hours in °F (that of the change to summer time is left
out). Only the files are read: the package would import pandas.
"""

import csv
import importlib.util
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from controller.core.state import ThermalAccount
from controller.core.units import HOUR_MS, MilliC, kelvin_hours
from controller.review.daily_degree_days import degree_days
from controller.review.day_shapes import Cutoff
from controller.review.local_days import LocalDays
from controller.review.thermal_ledger import Ledger

PLACES = ("sf", "seattle")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def hours(place):
    """Return (ms since 1970 on the local wall clock, m°C) of every hour."""
    spec = importlib.util.find_spec("vega_datasets")
    folder = Path(spec.submodule_search_locations[0])
    with (folder / "_data" / f"{place}-temps.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    found = []
    for row in rows:
        at = datetime.strptime(row["date"][:16], "%Y/%m/%d %H:%M").replace(tzinfo=UTC)
        at_ms = (at - _EPOCH) // timedelta(milliseconds=1)
        found.append((at_ms, round((float(row["temp"]) - 32) / 1.8 * 1000)))
    return found


def booked(samples, base_mc, upper_mc=None):
    """Return the ledger of such samples, with local days of 24 hours."""
    upper = None if upper_mc is None else MilliC(upper_mc)
    ledger = Ledger(ThermalAccount(MilliC(base_mc), upper), LocalDays("UTC"))
    ledger.add([(at, at, temp) for at, temp in samples], 3 * HOUR_MS, lambda: None)
    return ledger


def by_day(samples, base_mc, upper_mc, method, cutoff=Cutoff.HORIZONTAL):
    """Return per day the integral and a daily method [K·d], where both are whole.

    The last day's integral lacks its last hour, and the next day's lowest.
    """
    days = booked(samples, base_mc, upper_mc).days()
    upper = None if upper_mc is None else upper_mc / 1000
    return [
        (
            kelvin_hours(day.heat_mk_ms) / 24,
            degree_days(
                method,
                day.high_mc / 1000,
                day.low_mc / 1000,
                base_mc / 1000,
                upper=upper,
                cutoff=cutoff,
                next_low=min(after.low_mc, day.high_mc) / 1000,
            ),
        )
        for day, after in pairwise(days)
    ]


def summary(samples, base_mc, upper_mc, method):
    """Return the year's integral, the method's sum, and the worst day [K·d]."""
    pairs = by_day(samples, base_mc, upper_mc, method)
    return (
        sum(pair[0] for pair in pairs),
        sum(pair[1] for pair in pairs),
        max(abs(one - other) for one, other in pairs),
    )
