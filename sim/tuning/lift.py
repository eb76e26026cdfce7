"""How a push goes with a tray's lift above the room, by what a log shows of it.

What may live here: that estimate, and its error.
"""

import numpy as np

from controller.core.plan import MatPlan
from sim.fitting.evening import driving_temps
from sim.fitting.record import Record
from sim.thermal import Matrix, Vector
from sim.tuning.days import steps_a_day
from sim.tuning.worlds import World
from sim.whatif.span import Counts

PARTS = 4
"""Chosen: a day in parts of six hours."""

LOSSES = 0.2
"""Chosen: losses of a tray may grow by a fifth more, or less, than in
proportion to its lift. Free convection alone has a power of 5/4."""


def at_lift(
    record: Record, world: World, plan: MatPlan, days: Counts, lift_k: float
) -> tuple[Vector, Vector]:
    """Return how each zone's push differs at another lift, and the error [K/s].

    Some lags stand for a tray whose losses do not grow in proportion to its lift
    above the room: it has layers, water evaporates faster from a warm medium,
    and warm air rises faster. The log shows how the push went with the lift: a
    straight line through means over six hours, each less the mean of that time
    of day, which takes out what the sun does every day. The lift is that of the
    driving temperature, which the loop holds and no push moves far.

    The slope is shrunk by its standard error (a normal prior around 0, whose
    spread is a share of the model's own losses): where the log says little of
    it, it is little, and the error is that of the prior.

    Args:
        record: What the log tells.
        world: A model in its days.
        plan: Says what drives.
        days: Where the days begin.
        lift_k: The lift of what drives in the time to come [K].
    """
    a_day = steps_a_day(record.step_s)
    shape = len(days), PARTS, a_day // PARTS
    within = days[:, None] + np.arange(shape[1] * shape[2])
    lifts = (driving_temps(record, plan) - world.span.room_c)[within]
    lift = _apart(lifts, shape)
    square = float(lift @ lift)
    slopes, errors = [], []
    for zone, pushes in zip(world.model.zones, world.span.push.T, strict=True):
        push = _apart(pushes[within], shape)
        slope = float(lift @ push) / square
        left = push - slope * lift
        told = float(left @ left) / (len(push) - PARTS - 1) / square
        prior = (LOSSES / zone.sheds_s) ** 2
        slopes.append(slope * prior / (prior + told))
        errors.append(np.sqrt(prior * told / (prior + told)))
    more_k = lift_k - float(np.nanmean(lifts))
    return np.array(slopes) * more_k, np.array(errors) * abs(more_k)


def _apart(values: Matrix, shape: tuple[int, int, int]) -> Vector:
    """Return means over parts of days, less each part's mean of all days."""
    means = np.nanmean(values.reshape(shape), axis=2)
    apart: Vector = np.nan_to_num(means - np.nanmean(means, axis=0)).ravel()
    return apart
