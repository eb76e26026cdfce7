"""A time to come, in every model: days that no log has, drawn from those it has.

"This season again with other settings" asks the days of the log: each push is
known, and unsure is only the model. A week to come has other sun, other
waterings, other unmeasured heat. What they may be is drawn from the log: whole
days of smoothed push, of all zones together, so that sun and watering keep
their shape and their hour (bootstrap by blocks: Künsch 1989, Ann. Statist.
17:1217-1241; blocks of a day, from the minute at which the time to come
begins). What may live here: how days are drawn and run through.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from controller.core.plan import MatPlan
from controller.core.units import DAY_MS
from sim.fitting.record import Record
from sim.thermal import Vector
from sim.tuning.worlds import Tell, World
from sim.whatif.engine import run
from sim.whatif.span import Counts, Outcomes

DRAWS = 60
"""Chosen: the spread of what may come is then known to a tenth."""

AGAIN = 6
"""Chosen: so many of the draws are run in each replicate too, whose differences
hang little on the days."""

LEAST_DAYS = 4
"""Chosen: fewer days say nothing of how days differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """A time to come, in whole days.

    Attributes:
        minutes: Local minute of the day at each scan, shape (steps,).
        room_c: The room [°C], shape (steps,); None: it is drawn with the days.
    """

    minutes: Counts
    room_c: Vector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Come:
    """What became of candidates in a time to come.

    Attributes:
        drawn: In the fitted model, for each draw of days.
        again: In each replicate, for the first AGAIN of the draws.
        days: How many days were drawn from.
        taken: How many days each draw has.
    """

    drawn: tuple[Outcomes, ...]
    again: tuple[tuple[Outcomes, ...], ...]
    days: int
    taken: int


def after(record: Record, days: int) -> Coming:
    """Return the days that follow a record, whose rooms nobody knows."""
    steps = days * _steps_a_day(record.step_s)
    on = (np.arange(1, steps + 1) * record.step_s // 60).astype(np.int64)
    return Coming(minutes=(record.local_minute[-1] + on) % (24 * 60))


def beginnings(record: Record, minute: int) -> Counts:
    """Return the steps at which the whole days of a record begin.

    Args:
        record: What the log tells.
        minute: Minute of the day at which a day shall begin.

    Raises:
        ValueError: There are too few to tell how days differ.
    """
    a_day = _steps_a_day(record.step_s)
    at = record.local_minute
    here = at == minute
    here[1:] &= at[1:] != at[:-1]
    found = np.flatnonzero(here)
    found = found[found + a_day <= len(record)]
    if len(found) < LEAST_DAYS:
        raise ValueError(
            f"mat {record.mat}: {len(found)} whole days are in the log; what a time"
            f" to come may be like is drawn from {LEAST_DAYS} at least"
        )
    return found


def come(
    record: Record,
    found: Sequence[World],
    coming: Coming,
    plans: Sequence[MatPlan],
    seed: int,
    tell: Tell,
) -> Come:
    """Run candidates through a time to come, which begins as the log ends.

    Args:
        record: What the log tells.
        found: The fitted model, then its replicates, in the days of the log.
        coming: The time to come.
        plans: The candidates.
        seed: From which days are drawn.
        tell: Told of progress.

    Raises:
        ValueError: The record has too few whole days, or the time to come is
            not in whole days of its steps.
    """
    a_day = _steps_a_day(record.step_s)
    taken, rest = divmod(len(coming.minutes), a_day)
    if rest or not taken:
        message = f"a time to come of {len(coming.minutes)} steps: whole days of {a_day}"
        raise ValueError(message)
    days = beginnings(record, int(coming.minutes[0]))
    picked = np.random.default_rng(seed).choice(days, (DRAWS, taken))
    steps = (picked[..., None] + np.arange(a_day)).reshape(DRAWS, -1)
    every = []
    for number, world in enumerate(found, start=1):
        draws = steps if number == 1 else steps[:AGAIN]
        every.append(tuple(_run(world, coming, plans, draw) for draw in draws))
        tell(number, len(found))
    return Come(drawn=every[0], again=tuple(every[1:]), days=len(days), taken=taken)


def _run(
    world: World, coming: Coming, plans: Sequence[MatPlan], draw: Counts
) -> Outcomes:
    room_c = world.span.room_c[draw] if coming.room_c is None else coming.room_c
    span = replace(
        world.span,
        room_c=room_c,
        push=world.span.push[draw],
        minutes=coming.minutes,
        start_c=world.end_c,
    )
    return run(world.model, span, plans)


def _steps_a_day(step_s: float) -> int:
    steps = DAY_MS / 1000 / step_s
    if steps != round(steps):
        raise ValueError(f"steps of {step_s:g} s: a day is no whole number of them")
    return round(steps)
