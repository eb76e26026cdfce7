"""Whole days of a record.

What may live here: where they begin, and how many steps they have.
"""

import numpy as np

from controller.core.units import DAY_MS
from sim.fitting.record import Record
from sim.whatif.span import Counts

LEAST_DAYS = 4
"""Chosen: fewer days say nothing of how days differ."""


def whole_days(record: Record, minute: int) -> Counts:
    """Return the steps at which the whole days of a record begin.

    Its first day is left out, in which a bench warms from cold.

    Args:
        record: What the log tells.
        minute: Minute of the day at which a day shall begin.

    Raises:
        ValueError: There are too few to tell how days differ.
    """
    a_day = steps_a_day(record.step_s)
    at = record.local_minute
    here = at == minute
    here[1:] &= at[1:] != at[:-1]
    found = np.flatnonzero(here)
    found = found[(found >= a_day) & (found + a_day <= len(record))]
    if len(found) < LEAST_DAYS:
        raise ValueError(
            f"mat {record.mat}: {len(found)} whole days are in the log after its first;"
            f" what a time to come may be like is drawn from {LEAST_DAYS} at least"
        )
    return found


def steps_a_day(step_s: float) -> int:
    """Return how many steps a day has.

    Raises:
        ValueError: It has no whole number of them.
    """
    count = DAY_MS / 1000 / step_s
    if count != round(count):
        raise ValueError(f"steps of {step_s:g} s: a day is no whole number of them")
    return round(count)
