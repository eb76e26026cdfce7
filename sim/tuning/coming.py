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
from controller.core.units import MilliK
from sim.fitting.record import Record
from sim.fitting.smoother import stepped
from sim.thermal import Matrix, Vector
from sim.tuning.days import steps_a_day, whole_days
from sim.tuning.lift import at_lift
from sim.tuning.stretch import counted
from sim.tuning.worlds import Tell, World
from sim.whatif.engine import trace
from sim.whatif.span import Counts
from sim.zone_model import in_three, steps

DRAWS = 60
"""Chosen: the spread of what may come is then known to a tenth."""

AGAIN = 6
"""Chosen: so many of the draws are run in each other model too, whose
differences hang little on the days."""


_NEVER_MK = MilliK(10**8)


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
    """What became of a candidate in a time to come; figures as in stretch.

    Attributes:
        drawn: In the fitted model, for each draw of days, shape (DRAWS, F).
        daily_peak: In the same, the highest temperature of each day, shape
            (DRAWS, taken) [°C].
        again: In each replicate, for the first of the draws, shape (n, AGAIN, F).
        lifted: In the fitted model for the same, but with the push of
            one zone after the other changed by what the log leaves open of it,
            shape (zones, AGAIN, F).
        days: How many days were drawn from.
        taken: How many days each draw has.
    """

    drawn: Matrix
    daily_peak: Matrix
    again: np.ndarray[tuple[int, int, int], np.dtype[np.float64]]
    lifted: np.ndarray[tuple[int, int, int], np.dtype[np.float64]]
    days: int
    taken: int


def after(record: Record, days: int) -> Coming:
    """Return the days that follow a record, whose rooms nobody knows."""
    count = days * steps_a_day(record.step_s)
    on = (np.arange(1, count + 1) * record.step_s // 60).astype(np.int64)
    return Coming(minutes=(record.local_minute[-1] + on) % (24 * 60))


def come(
    record: Record,
    found: Sequence[World],
    coming: Coming,
    plan: MatPlan,
    seed: int,
    tell: Tell,
) -> Come:
    """Run a candidate through a time to come, which begins as the log ends.

    Args:
        record: What the log tells.
        found: The fitted model, then its replicates, in the days of the log.
        coming: The time to come.
        plan: The candidate.
        seed: From which days are drawn.
        tell: Told of progress.

    Raises:
        ValueError: The record has too few whole days, or the time to come is
            not in whole days of its steps.
    """
    a_day = steps_a_day(record.step_s)
    taken, rest = divmod(len(coming.minutes), a_day)
    if rest or not taken:
        raise ValueError(
            f"a time to come of {len(coming.minutes)} steps: whole days of {a_day}"
            " steps are needed"
        )
    days = whole_days(record, int(coming.minutes[0]))
    picked = np.random.default_rng(seed).choice(days, (DRAWS, taken))
    drawn_steps = (picked[..., None] + np.arange(a_day)).reshape(DRAWS, -1)

    few = drawn_steps[:AGAIN]
    room_c = (
        found[0].span.room_c[drawn_steps] if coming.room_c is None else coming.room_c
    )

    def through(world: World, end_c: Matrix, draws: Counts) -> Matrix:
        return np.array([_run(world, end_c, coming, plan, draw) for draw in draws])

    ends_c = [ends(record, world) for world in found]
    first = through(found[0], ends_c[0], few)[:, :-taken].mean(axis=0)
    lift_k = counted(plan).driving_c(plan, first) - float(room_c.mean())

    def lifted(world: World) -> tuple[World, Vector]:
        push, error = at_lift(record, world, plan, days, lift_k)
        return _pushed(world, push), error

    again = np.empty((len(found) - 1, len(few), len(first)))
    for number, world in enumerate(found[1:]):
        went = through(lifted(world)[0], ends_c[number + 1], few)
        again[number] = went[:, :-taken]
        tell(number + 1, len(found))
    fitted, errors = lifted(found[0])
    drawn = through(fitted, ends_c[0], drawn_steps)
    tell(len(found), len(found))
    moved = [through(_pushed(fitted, by), ends_c[0], few) for by in np.diag(errors)]
    return Come(
        drawn=drawn[:, :-taken],
        daily_peak=drawn[:, -taken:],
        again=again,
        lifted=np.array(moved)[..., :-taken],
        days=len(days),
        taken=taken,
    )


def _run(
    world: World, end_c: Matrix, coming: Coming, plan: MatPlan, draw: Counts
) -> Vector:
    """Return figures of a draw, and after them the highest temperature of each day."""
    drawn = world.span.of(draw)
    room_c = drawn.room_c if coming.room_c is None else coming.room_c
    span = replace(drawn, room_c=room_c, minutes=coming.minutes, start_c=end_c)
    what = counted(plan)
    went = trace(world.model, span, unguarded(plan))
    temps_c = went.temps_mc[:, : len(what.trays)] / 1000
    figures = what.of(temps_c, went.on.astype(np.float64), span.step_s)
    daily_c = temps_c.reshape(-1, steps_a_day(span.step_s), len(what.trays))
    return np.concatenate([figures, daily_c.max(axis=(1, 2))])


def ends(record: Record, world: World) -> Matrix:
    """Return the temperatures where a record ends [°C], as Span.start_c has them."""
    found, sudden = [], world.span.sudden
    for number, zone in enumerate(world.model.zones):
        step = steps(zone, record.step_s)
        room = world.span.room_c + zone.offset_k
        added = np.outer(record.on_share, step.by_heat) + np.outer(room, step.by_room)
        push = world.span.push[:, number]
        poured = None if sudden is None else sudden[:, number]
        states = stepped(step, world.span.start_c[number], added, push, poured)
        # The last step is never sudden: nothing follows it that would ask for that.
        last = step.carry @ states[-1] + added[-1] + step.by_push * push[-1]
        found.append(in_three(last))
    return np.array(found)


def unguarded(plan: MatPlan) -> MatPlan:
    """Return a mat whose guards of response never act.

    They judge probes and relays by what is usual of a tray, which they learn in
    days; in a model of some lags, which begins anew, they would lock a mat off
    that they leave alone on the bench.
    """
    return replace(plan, heat_allowance_mk=_NEVER_MK, rise_limit_mk=_NEVER_MK)


def _pushed(world: World, push: Vector) -> World:
    """Return a world with more push in each zone [K/s]."""
    return replace(world, span=replace(world.span, push=world.span.push + push))
