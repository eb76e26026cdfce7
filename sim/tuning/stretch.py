"""Figures of a stretch of time, the same of a log and of a loop with a model.

What may live here: what is counted, from temperatures and heat step by step.
"""

from dataclasses import dataclass

import numpy as np

from controller.core.plan import DrivenBy, MatPlan
from sim.thermal import Matrix, Vector

_HALF = 0.5
DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class Counted:
    """What is counted of a mat, in the order of columns of figures.

    Attributes:
        trays: Names of its trays with a probe.
        base_c: What each one's degree-hours count above [°C].
        upper_c: And below; infinite where there is no upper cut-off [°C].
    """

    trays: tuple[str, ...]
    base_c: Vector
    upper_c: Vector

    @property
    def names(self) -> tuple[str, ...]:
        """What each column is."""
        return (
            "duty",
            "switches",
            "peak",
            *(f"mean {name}" for name in self.trays),
            *(f"degree-hours {name}" for name in self.trays),
        )

    @property
    def by_share(self) -> Vector:
        """1 where an error grows with the figure, 0 where it is one in kelvin."""
        return np.array([1.0, 1.0] + [0.0] * (1 + 2 * len(self.trays)))

    @property
    def hours(self) -> Vector:
        """What a kelvin more in all trays adds to each figure in a day."""
        count = len(self.trays)
        return np.array([0.0, 0.0, *[1.0] * (1 + count), *[DAY_H] * count])

    def of(self, temps_c: Matrix, on: Vector, step_s: float) -> Vector:
        """Return the figures of a stretch.

        Args:
            temps_c: Of each tray where each step begins [°C], shape (steps,
                trays); what nobody measured (NaN) is left out of means.
            on: Share of each step in which the mat was on, shape (steps,).
            step_s: Length of a step [s].

        Returns:
            Duty [-], switches of the relay a day, highest temperature of any
            tray [°C], mean of each [°C], degree-hours of each a day [K·h].
        """
        days = len(on) * step_s / 86_400
        above = np.clip(temps_c, self.base_c, self.upper_c) - self.base_c
        switches = np.abs(np.diff(on > _HALF)).sum() / days
        return np.array(
            [
                on.mean(),
                switches,
                np.nanmax(temps_c),
                *np.nanmean(temps_c, axis=0),
                *np.nanmean(above, axis=0) * DAY_H,
            ]
        )

    def driving_c(self, plan: MatPlan, figures: Vector) -> float:
        """Return the mean of what drives a mat [°C]; of several trays, their mean."""
        count = len(self.trays)
        means_c = figures[3 : 3 + count]
        if plan.driven_by is DrivenBy.TRAY and plan.driving_tray in self.trays:
            return float(means_c[self.trays.index(plan.driving_tray)])
        return float(means_c.mean())


def counted(mat: MatPlan) -> Counted:
    """Return what is counted of a mat."""
    trays = [tray for tray in mat.trays if tray.probes]
    uppers = [tray.upper_mc for tray in trays]
    return Counted(
        tuple(tray.name for tray in trays),
        np.array([tray.base_mc / 1000 for tray in trays]),
        np.array([np.inf if mc is None else mc / 1000 for mc in uppers]),
    )
