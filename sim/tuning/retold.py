"""The log's own days told again by the model, under the log's own plan.

The smoothed push holds the model to the readings; what differs is the loop:
when relays switch, and what comes of it. A model that errs there errs with
other settings too. What may live here: how much it does.
"""

import numpy as np
from scipy.stats import trim_mean

from controller.core.plan import MatPlan
from sim.fitting.record import Record
from sim.thermal import Vector
from sim.tuning.coming import unguarded
from sim.tuning.days import steps_a_day
from sim.tuning.stretch import counted
from sim.tuning.worlds import World
from sim.whatif.engine import trace
from sim.whatif.span import Counts

UNSEEN_SWITCHING = 0.07
"""Chosen: share by which a policy that the log has not seen may switch more often,
or less, than the model has it: probes read with noise and in sixteenths of a
kelvin, and the model does not. With a tenth more than 95 % of weeks lay inside the
intervals of 90 %, among 400 of either of two seeds."""

_TRIMMED = 0.2

_TO_SPREAD = 1.4826
"""Median absolute deviation of a normal distribution to its spread."""


def retold(
    record: Record, world: World, own: MatPlan, plan: MatPlan, days: Counts
) -> Vector:
    """Return how far the model's figures of a day are off, shape (F,).

    The root of the squares of the errors' middle and of its own error: their
    mean without the fifth at either end, since on single days the plan was not
    in force (a setpoint changed for a night, a hold).

    Args:
        record: What the log tells.
        world: The fitted model in its days.
        own: How the mat was kept.
        plan: How it shall be kept.
        days: Where the days begin.

    Returns:
        Of duty and switches as a share of the day's, of the rest as it is.
    """
    what, a_day = counted(own), steps_a_day(record.step_s)
    columns = [record.zones.index(name) for name in what.trays]
    went = trace(world.model, world.span, unguarded(own))
    errors = []
    for day in days.tolist():
        part = slice(day, day + a_day)
        true = what.of(
            record.temps_c[part, :][:, columns], record.on_share[part], record.step_s
        )
        told = what.of(
            went.temps_mc[part, : len(columns)] / 1000,
            went.on[part].astype(np.float64),
            record.step_s,
        )
        scale = np.where(what.by_share > 0, np.maximum(told, 1e-9), 1.0)
        errors.append((true - told) / scale)
    middle = trim_mean(errors, _TRIMMED)
    spread = _TO_SPREAD * np.median(np.abs(errors - middle), axis=0)
    off: Vector = np.sqrt(middle**2 + spread**2 / len(days))
    if (own.policy, own.min_on_ms) != (plan.policy, plan.min_on_ms):
        off[what.names.index("switches")] = np.hypot(off[1], UNSEEN_SWITCHING)
    return off
