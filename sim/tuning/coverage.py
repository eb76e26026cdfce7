"""What a log covers, and which candidates lie outside of it.

A model fitted where a tray was held between two temperatures answers there, and
a little beyond. What may live here: how far, and why a candidate is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.core.plan import MatPlan
from controller.core.units import HOUR_MS, SECOND_MS, celsius
from sim.fitting.evening import driving_temps
from sim.fitting.record import Record
from sim.thermal import Vector

MARGIN_K = 1.0
"""Chosen: how far beyond the temperatures of the log a setpoint may be [K]."""

DUTY_MARGIN = 0.10
"""Chosen: how far beyond the heat of the log a candidate's may be [-]."""

HELD_MS = HOUR_MS
"""A temperature counts as seen if the tray was as cold, or as warm, for as long
in all [ms]."""

NARROW_K = 1.5
"""Chosen: a log that covers less than this covers one setpoint only [K]."""

_DUTY_HOURS = 6


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a log covers for one way of driving a mat.

    Attributes:
        low_c: Lowest driving temperature, held for an hour in all [°C].
        high_c: Highest one [°C].
        duty: Least and greatest share of heat over six hours [-].
        room_c: Lowest and highest temperature of the room [°C].
        usual_c: Driving temperatures without the coldest and the warmest
            hundredth of the time [°C].
    """

    low_c: float
    high_c: float
    duty: tuple[float, float]
    room_c: tuple[float, float]
    usual_c: tuple[float, float]

    @property
    def narrow(self) -> bool:
        """Whether it is one setpoint and little else.

        The warming-up of a season, and cold water, are soon over and weigh
        little in its fit.
        """
        return self.usual_c[1] - self.usual_c[0] < NARROW_K


def coverage(record: Record, mat: MatPlan) -> Coverage:
    """Return what a record covers for the way in which a mat is driven.

    Raises:
        ValueError: What drives it, or the room, was never measured.
    """
    temps = np.sort(driving_temps(record, mat))
    temps = temps[np.isfinite(temps)]
    if not len(temps):
        raise ValueError(f"mat {mat.name}: no driving temperature was measured")
    held = min(int(HELD_MS / SECOND_MS / record.step_s), (len(temps) - 1) // 2)
    duties = _means(record.on_share, round(_DUTY_HOURS * 3600 / record.step_s))
    room = record.room_everywhere_c()
    return Coverage(
        low_c=float(temps[held]),
        high_c=float(temps[-1 - held]),
        duty=(float(duties.min()), float(duties.max())),
        room_c=(float(room.min()), float(room.max())),
        usual_c=(float(np.percentile(temps, 1)), float(np.percentile(temps, 99))),
    )


def _means(values: Vector, length: int) -> Vector:
    """Return the means over each stretch of a length, or over all if shorter."""
    length = min(length, len(values))
    sums = np.concatenate([[0.0], np.cumsum(values)])
    means: Vector = (sums[length:] - sums[:-length]) / length
    return means


def outside(plan: MatPlan, seen: Coverage) -> str:
    """Return why a candidate lies outside of a log; empty: it does not."""
    for step in plan.programme:
        for temp_mc in (step.setpoint_mc, step.night_mc):
            if temp_mc is None:
                continue
            if celsius(temp_mc) > seen.high_c + MARGIN_K:
                return "a setpoint warmer than the log covers"
            if celsius(temp_mc) < seen.low_c - MARGIN_K:
                return "a setpoint colder than the log covers"
    return ""


def too_much_heat(duty: float, seen: Coverage) -> str:
    """Return why a candidate's heat lies outside of a log; empty: it does not."""
    if duty > seen.duty[1] + DUTY_MARGIN:
        return "more heat than the log covers"
    if duty < seen.duty[0] - DUTY_MARGIN:
        return "less heat than the log covers"
    return ""


def coverages(record: Record, plans: Sequence[MatPlan]) -> list[Coverage]:
    """Return the coverage for each of many candidates.

    Raises:
        ValueError: As for coverage.
    """
    known: dict[object, Coverage] = {}
    found = []
    for plan in plans:
        way = plan.driven_by, plan.driving_tray
        if way not in known:
            known[way] = coverage(record, plan)
        found.append(known[way])
    return found
