"""What a search found of every candidate, by the model and its replicates.

What may live here: these figures, and how outcomes become them. All are of a
closed loop in the fitted model, over the days of the log.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from controller.core.plan import MatPlan
from controller.core.units import HOUR_MS
from sim.tuning.jackknifed import Predicted
from sim.tuning.wishes import Day, Goal, YearDay
from sim.whatif.span import Outcomes

_W_S_PER_KWH = 3.6e6
_HOUR = timedelta(hours=1)
_LONGEST_H = 24 * 3_660
"""A sum that takes longer than ten years is never reached [h]."""


@dataclass(frozen=True, slots=True)
class Rooting:
    """The sum of degree-hours that stands for rooted.

    Attributes:
        heat_k_h: The sum [K·h].
        base_mc: It counts above this [m°C].
    """

    heat_k_h: float
    base_mc: int


@dataclass(frozen=True, slots=True)
class Season:
    """The time over which figures are, for dates beyond it.

    Attributes:
        starts: When it begins.
        hours: How long it is [h].
    """

    starts: datetime
    hours: float

    def date_of(self, hours: float) -> datetime | None:
        """Return when some hours have passed; None: not within ten years."""
        if not hours < _LONGEST_H:
            return None
        passed = self.starts.astimezone(UTC) + timedelta(hours=hours)
        return passed.astimezone(self.starts.tzinfo)

    def day_of(self, day: Day) -> date:
        """Return a day with its year: the first one from its beginning on.

        Raises:
            ValueError: It is before its beginning, or ten years after that.
        """
        first = self.starts.date()
        found = day.after(first) if isinstance(day, YearDay) else day
        if found < first:
            raise ValueError(f"{found} is before the log begins, on {first}")
        if (found - first) / _HOUR >= _LONGEST_H:
            raise ValueError(f"{found} is more than ten years after the log begins")
        return found

    def hours_to(self, day: Day) -> float:
        """Return the hours from its beginning to the end of a day.

        Raises:
            ValueError: As for day_of.
        """
        next_day = self.day_of(day) + timedelta(days=1)
        midnight = datetime.combine(next_day, time(), self.starts.tzinfo)
        # In UTC, since between times of one zone Python counts no hour of summer.
        return (midnight.astimezone(UTC) - self.starts.astimezone(UTC)) / _HOUR

    def after_h(self, gathered_k_h: Predicted, wanted_k_h: float) -> Predicted:
        """Return after how many hours a sum is reached, at a season's mean rate.

        Args:
            gathered_k_h: What the season gathered [K·h].
            wanted_k_h: The sum [K·h].
        """
        with np.errstate(divide="ignore"):
            hours = self.hours * wanted_k_h / gathered_k_h
        return np.minimum(hours, 2.0 * _LONGEST_H)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What became of every candidate; each figure has shape (C, 1 + n).

    Attributes:
        plans: The candidates.
        trays: Names of the trays.
        season: The time they are over.
        energy_kwh: Energy that the mat took [kWh].
        operations: Times that the relay closed.
        duty: Share of the time on [-].
        in_band: Share of the time that the driving temperature was within
            band_k of the setpoint in force [-].
        band_k: That band [K].
        deviation_k: Root mean square of the driving temperature less the
            setpoint in force, once the mat was warm [K]; NaN: it never was.
        uneven_k: Mean of the warmest tray less the coolest, once warm [K].
        low_c: Lowest temperature of each tray, once warm [°C].
        high_c: Highest temperature of each tray [°C].
        heat_k_h: Degree-hours of each tray over its own base [K·h].
        margin_k: From the hottest tray up to the cut-out [K].
        surface_margin_k: The same of the mat's surface; None: no probe there.
        refused_h: Hours that heat was refused, a warning that limits were met.
        rooting: What stands for rooted; None: nobody said.
        rooting_k_h: Degree-hours of each tray towards that; empty without.
    """

    plans: tuple[MatPlan, ...]
    trays: tuple[str, ...]
    season: Season
    energy_kwh: Predicted
    operations: Predicted
    duty: Predicted
    in_band: Predicted
    band_k: float
    deviation_k: Predicted
    uneven_k: Predicted
    low_c: tuple[Predicted, ...]
    high_c: tuple[Predicted, ...]
    heat_k_h: tuple[Predicted, ...]
    margin_k: Predicted
    surface_margin_k: Predicted | None
    refused_h: Predicted
    rooting: Rooting | None = None
    rooting_k_h: tuple[Predicted, ...] = ()

    def rooted_after_h(self, tray: int) -> Predicted:
        """Return after how many hours a tray has the sum that stands for rooted.

        At the mean rate of the season, its warm-up included. Infinite where
        nothing is gathered.

        Raises:
            ValueError: Nobody said what stands for rooted.
        """
        if self.rooting is None:
            raise ValueError("rooting: what stands for rooted was not said")
        return self.season.after_h(self.rooting_k_h[tray], self.rooting.heat_k_h)

    def costs(self, goal: Goal) -> Predicted:
        """Return what there shall be least of."""
        costs = {
            Goal.ENERGY: self.energy_kwh,
            Goal.OPERATIONS: self.operations,
            Goal.DEVIATION: self.deviation_k,
            Goal.UNEVEN: self.uneven_k,
        }
        return costs[goal]


def figures_of(
    plans: Sequence[MatPlan],
    trays: Sequence[str],
    season: Season,
    found: Sequence[Outcomes],
    rooting: tuple[Rooting, Sequence[Outcomes]] | None = None,
) -> Figures:
    """Return the figures of candidates.

    Args:
        plans: The candidates.
        trays: Names of their trays.
        season: The time that was run through.
        found: Outcomes by the fitted model, then by each replicate.
        rooting: What stands for rooted, and outcomes with its base for every
            tray; None: nobody said.
    """
    power_w = np.array([plan.power_mw for plan in plans]) / 1000

    def of(values: Sequence[NDArray[np.float64]]) -> Predicted:
        return np.stack(values, axis=1)

    def by_tray(name: str, scale: float) -> tuple[Predicted, ...]:
        columns = range(len(trays))
        return tuple(
            of([getattr(one, name)[:, n] / scale for one in found]) for n in columns
        )

    span_s = season.hours * 3600
    surface = of([one.margin_mk[:, 1] / 1000 for one in found])
    return Figures(
        plans=tuple(plans),
        trays=tuple(trays),
        season=season,
        energy_kwh=of([one.on_s * power_w / _W_S_PER_KWH for one in found]),
        operations=of([one.operations.astype(np.float64) for one in found]),
        duty=of([one.on_s / span_s for one in found]),
        in_band=of([one.driving_in_band_s / span_s for one in found]),
        band_k=found[0].band_mk / 1000,
        deviation_k=_or_nan(of([one.deviation_k for one in found])),
        uneven_k=_or_nan(of([one.uneven_k for one in found])),
        low_c=by_tray("low_mc", 1000),
        high_c=by_tray("peak_mc", 1000),
        heat_k_h=by_tray("heat_mk_ms", 1000 * HOUR_MS),
        margin_k=of([one.margin_mk[:, 0] / 1000 for one in found]),
        surface_margin_k=surface if plans[0].surface else None,
        refused_h=of([one.refused_s.sum(axis=1) / 3600 for one in found]),
        rooting=rooting[0] if rooting else None,
        rooting_k_h=tuple(
            of([one.degree_hours[:, n] for one in rooting[1]])
            for n in range(len(trays))
        )
        if rooting
        else (),
    )


def _or_nan(predicted: Predicted) -> Predicted:
    """Return figures with NaN where a mat was never warm, which no sum minds."""
    return np.where(np.isfinite(predicted), predicted, np.nan)
