"""How well a simulated bench was kept: counted minute by minute.

The temperatures counted are the true ones of the root zones, which no real
bench can show; what a probe says of them differs by its lag, noise and steps.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.core.plan import DrivenBy, MatPlan, OnOff, Plan

FIRST_HOURS_MS = 12 * 3_600_000
"""Chosen: an overshoot from cold comes within half a day of first warmth."""

PID_TOLERANCE_K = 0.3
BAND_TOLERANCE_K = 0.2
"""A PID is held to ±0.3 K; on-off to half its differential and 0.2 K more."""

HOUR_MS = 3_600_000
ALL_OF_IT = 0.995
"""An hour in which the mat was on for this share was at full duty."""


@dataclass(slots=True)
class Spread:
    """Mean, spread and extremes of a temperature [°C]."""

    count: int = 0
    total: float = 0.0
    squares: float = 0.0
    lowest: float = math.inf
    highest: float = -math.inf

    def add(self, temp_c: float) -> None:
        """Count a value."""
        self.count += 1
        self.total += temp_c
        self.squares += temp_c * temp_c
        self.lowest = min(self.lowest, temp_c)
        self.highest = max(self.highest, temp_c)

    def mean(self) -> float:
        """Return the mean [°C]; NaN if nothing was counted."""
        return self.total / self.count if self.count else math.nan

    def deviation(self) -> float:
        """Return the standard deviation [K]; NaN if nothing was counted."""
        if not self.count:
            return math.nan
        return math.sqrt(max(0.0, self.squares / self.count - self.mean() ** 2))


@dataclass(slots=True)
class MatTally:
    """How one mat was kept.

    Attributes:
        plan: The mat.
        warm_ms: When its driving temperature first came within tolerance of
            the setpoint; None: not yet.
        minutes: Minutes counted since then.
        within: Those of them within tolerance.
        overshoot_k: Highest excess over the setpoint in the first hours.
        full_hours: Hours since then at full duty: the mat could not do more.
        trays: True temperatures of each tray since then.
    """

    plan: MatPlan
    warm_ms: int | None = None
    minutes: int = 0
    within: int = 0
    overshoot_k: float = 0.0
    full_hours: int = 0
    trays: dict[str, Spread] = field(default_factory=dict)
    _hour: int = -1
    _hour_from_on_ms: int = 0

    def tolerance_k(self) -> float:
        """Return how far the driving temperature may be off [K]."""
        policy = self.plan.policy
        if isinstance(policy, OnOff):
            return policy.differential_mk / 2000 + BAND_TOLERANCE_K
        return PID_TOLERANCE_K

    def add(
        self, now_ms: int, temps_c: Mapping[str, float], setpoint_c: float, on_ms: int
    ) -> None:
        """Count a minute.

        Args:
            now_ms: Run clock [ms].
            temps_c: True root-zone temperature of each tray [°C].
            setpoint_c: Setpoint in force [°C].
            on_ms: How long the mat has been on in all [ms].
        """
        off_k = driving_c(self.plan, temps_c) - setpoint_c
        if self.warm_ms is None and off_k >= -self.tolerance_k():
            self.warm_ms = now_ms
        if self.warm_ms is None:
            return
        self.minutes += 1
        self.within += abs(off_k) <= self.tolerance_k()
        if now_ms - self.warm_ms <= FIRST_HOURS_MS:
            self.overshoot_k = max(self.overshoot_k, off_k)
        for tray in self.plan.trays:
            spread = self.trays.setdefault(tray.name, Spread())
            spread.add(temps_c[tray.name])
        self._count_hour(now_ms, on_ms)

    def _count_hour(self, now_ms: int, on_ms: int) -> None:
        hour = now_ms // HOUR_MS
        if hour == self._hour:
            return
        if self._hour >= 0 and on_ms - self._hour_from_on_ms >= ALL_OF_IT * HOUR_MS:
            self.full_hours += 1
        self._hour, self._hour_from_on_ms = hour, on_ms


def driving_c(plan: MatPlan, temps_c: Mapping[str, float]) -> float:
    """Return the true temperature of what drives a mat [°C]."""
    if plan.driven_by is DrivenBy.TRAY and plan.driving_tray is not None:
        return temps_c[plan.driving_tray]
    temps = sorted(temps_c[tray.name] for tray in plan.trays if tray.probes)
    half = len(temps) // 2
    by = {
        DrivenBy.COOLEST: temps[0],
        DrivenBy.WARMEST: temps[-1],
        DrivenBy.MEAN: sum(temps) / len(temps),
    }
    return by.get(plan.driven_by, (temps[half] + temps[(len(temps) - 1) // 2]) / 2)


def tallies(plan: Plan) -> dict[str, MatTally]:
    """Return an empty tally for every mat that has a relay."""
    return {mat.name: MatTally(mat) for mat in plan.mats if mat.relay is not None}
