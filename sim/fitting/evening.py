"""What to do tonight so that a log tells more: a guided evening.

A thermostat that holds one temperature tells little of how a tray warms and
cools. What may live here: what a record covers so far, and from that what is
worth doing, in sentences. Pure; nothing here switches anything.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from controller.core.mat_rules import LOWEST_SETPOINT_MC
from controller.core.plan import DrivenBy, MatPlan
from controller.core.units import celsius
from sim.fitting.fitted import Fitted
from sim.fitting.record import Record, Truths
from sim.thermal import Matrix, Vector

SETBACK_K = 3.0
"""One setback of this size over night told as much as a week of steady cycling
in trials on a simulated tray."""

ENOUGH_RANGE_K = 2.0
"""Chosen: a tray that has been held this far apart has been set back [K]."""

ENOUGH_ROOM_K = 2.0
"""Chosen: below it gain and offset are hardly told apart [K]."""

ENOUGH_OFF_H = 1.0
"""Chosen: several times the lag of the mat itself [h]."""

ENOUGH_DAYS = 4
"""Chosen: errors come from leaving out one day at a time [days]."""

_MISSING = 0.2
_USUAL_HOURS = 6.0
_LONGEST_HOURS = 10.0
_A_LITTLE = 0.05
_START_HOUR = 20


@dataclass(frozen=True, slots=True)
class Covered:
    """What a record covers of one mat.

    Attributes:
        days: Its length [days].
        held_c: Lowest and highest temperature of the driving tray, leaving out
            one hundredth of the time at either end; None: never measured.
        room_c: The same of the room; None: never measured.
        longest_off_h: Longest time without heat [h].
        missing: Share of the steps without a driving temperature [-].
        room_missing: Share of the steps without a room temperature [-].
    """

    days: float
    held_c: tuple[float, float] | None
    room_c: tuple[float, float] | None
    longest_off_h: float
    missing: float
    room_missing: float


@dataclass(frozen=True, slots=True)
class Evening:
    """What to do tonight.

    Attributes:
        steps: What to do, and why, a sentence each; empty: nothing is needed.
        settings: Lines of the configuration that do it; may be empty.
        why: What the record covers so far, a sentence each.
    """

    steps: tuple[str, ...]
    settings: tuple[str, ...]
    why: tuple[str, ...]


def covered(record: Record, mat: MatPlan) -> Covered:
    """Return what a record covers."""
    temps = driving_temps(record, mat)
    steps_h = record.step_s / 3600
    return Covered(
        days=len(record) * steps_h / 24,
        held_c=_range(temps),
        room_c=_range(record.room_c),
        longest_off_h=_longest(record.on_share == 0) * steps_h,
        missing=float(np.mean(~np.isfinite(temps))),
        room_missing=float(np.mean(~np.isfinite(record.room_c))),
    )


def evening(record: Record, mat: MatPlan, fits: Sequence[Fitted] = ()) -> Evening:
    """Return what to do tonight.

    Args:
        record: What the log tells of the mat.
        mat: How the mat is kept.
        fits: What was fitted to it, for how long a tray takes to cool.
    """
    seen = covered(record, mat)
    setback = _setback(seen, mat, fits)
    steps = [*setback.steps, *_others(seen, done=bool(setback.settings))]
    steps = steps or list(_still_open(fits))
    return Evening(tuple(steps), setback.settings, tuple(_why(seen)))


def driving_temps(record: Record, mat: MatPlan) -> Vector:
    """Return the temperature that drives a mat in each step [°C]; NaN: none."""
    columns = [
        index
        for index, (name, on_mat) in enumerate(
            zip(record.zones, record.at_mat, strict=True)
        )
        if not on_mat
        and (mat.driven_by is not DrivenBy.TRAY or name == mat.driving_tray)
    ]
    temps = record.temps_c[:, columns]
    result = np.full(len(record), np.nan)
    known = np.isfinite(temps).any(axis=1)
    if known.any():
        result[known] = _middle(mat.driven_by, temps[known])
    return result


def _middle(driven_by: DrivenBy, temps: Matrix) -> Vector:
    """Return what stands for several trays, of which one at least is known."""
    middle: Vector
    if driven_by is DrivenBy.MEAN:
        middle = np.nanmean(temps, axis=1)
    elif driven_by is DrivenBy.COOLEST:
        middle = np.nanmin(temps, axis=1)
    elif driven_by is DrivenBy.WARMEST:
        middle = np.nanmax(temps, axis=1)
    else:
        middle = np.nanmedian(temps, axis=1)
    return middle


def _range(values: Vector) -> tuple[float, float] | None:
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    low, high = np.percentile(known, (1, 99))
    return float(low), float(high)


def _longest(truths: Truths) -> int:
    """Return the length of the longest stretch of truths."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], truths, [False]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))


# ------------------------------------------------------------------- the setback


def _setback(seen: Covered, mat: MatPlan, fits: Sequence[Fitted]) -> Evening:
    nothing = Evening((), (), ())
    if seen.held_c is not None:
        low_c, high_c = seen.held_c
        if high_c - low_c >= ENOUGH_RANGE_K and seen.longest_off_h >= ENOUGH_OFF_H:
            return nothing
    day_c = celsius(mat.programme[0].setpoint_mc)
    night_c = day_c - SETBACK_K
    room_c = seen.room_c[1] if seen.room_c else None
    if night_c < celsius(LOWEST_SETPOINT_MC):
        step = (
            f"The setpoint of {day_c:g} °C leaves no {SETBACK_K:g} K to go down: go up"
            f" by {SETBACK_K:g} K for a night instead, if the crop bears it."
        )
        return Evening((step,), (), ())
    if room_c is not None and room_c > night_c - 1:
        step = (
            f"A setback to {night_c:g} °C would show little: the room is up to"
            f" {room_c:.1f} °C. Wait for colder nights."
        )
        return Evening((step,), (), ())
    return _night(day_c, night_c, _hours(seen, day_c, fits))


def _night(day_c: float, night_c: float, hours: float) -> Evening:
    back = f"{(_START_HOUR + round(hours)) % 24:02}:00"
    step = (
        f"Set {day_c:g} °C -> {night_c:g} °C at {_START_HOUR}:00, back at {back}: one"
        f" {SETBACK_K:g} K setback is worth a week of steady cycling. Going down, the"
        " tray tells how it loses heat; coming back at full heat, how it takes it up."
    )
    quiet = (
        "Do not water, lift, cover or uncover anything meanwhile, and leave the"
        " room's door as it is."
    )
    settings = (
        f'night_setpoint = "{night_c:g} °C"',
        f'night = "{_START_HOUR}:00-{back}"',
    )
    return Evening((step, quiet), settings, ())


def _hours(seen: Covered, day_c: float, fits: Sequence[Fitted]) -> float:
    """Return how long a tray takes to cool by the setback, from 6 to 10 [h].

    As one lag does, by the slow time constant as far as a fit tells it.
    """
    slow_s = [fit.slow_s.value for fit in fits if fit.slow_s.value is not None]
    if not slow_s or seen.room_c is None:
        return _USUAL_HOURS
    lift_k = day_c - sum(seen.room_c) / 2
    if lift_k <= SETBACK_K:
        return _USUAL_HOURS
    hours = max(slow_s) * log(lift_k / (lift_k - SETBACK_K)) / 3600
    return min(_LONGEST_HOURS, max(_USUAL_HOURS, hours + 1))


# ------------------------------------------------------------------------ the rest


def _others(seen: Covered, *, done: bool) -> Iterator[str]:
    if seen.room_c is None:
        yield (
            "Put a probe into the room, where neither the bench nor the sun warms it:"
            " without one nothing tells the mat's warmth from the room's."
        )
    elif seen.room_missing > _MISSING:
        yield (
            f"See to the room's probe: it was silent for {seen.room_missing:.0%} of"
            " the time."
        )
    elif seen.room_c[1] - seen.room_c[0] < ENOUGH_ROOM_K:
        yield (
            f"The room stayed within {seen.room_c[1] - seen.room_c[0]:.1f} K: go on"
            " logging through a colder night, or air the room for some hours (not"
            " during a setback). Until it has changed, how much the mat warms and how"
            " much warmer than the room a tray is without heat cannot be told apart."
        )
    if not done and seen.longest_off_h < ENOUGH_OFF_H:
        yield (
            "Leave the heat off for two hours in the evening: it was never off for"
            f" longer than {seen.longest_off_h:.1f} h."
        )
    if seen.missing > _MISSING:
        yield (
            f"See to the driving probe: {seen.missing:.0%} of the time it told nothing."
        )
    more = ENOUGH_DAYS - seen.days
    if more > _A_LITTLE:
        yield (
            f"Log for {more:.1f} more days: how sure a fit is comes from leaving out"
            " one day after the other."
        )


def _still_open(fits: Sequence[Fitted]) -> Iterator[str]:
    """Yield what to do where all was done, and a tray is not told all the same."""
    names = [fit.name for fit in fits if fit.whys and not fit.at_mat]
    if names:
        yield (
            f"Go on as you did, another setback among it: of {', '.join(names)} the log"
            " does not tell everything yet (bottomheat fit says what, and why)."
        )


def _why(seen: Covered) -> Iterator[str]:
    yield f"{seen.days:.1f} days are logged"
    if seen.held_c is not None:
        yield f"the driving tray was between {_said(seen.held_c)}"
    if seen.room_c is not None:
        yield f"the room was between {_said(seen.room_c)}"
    yield f"heat was off for {seen.longest_off_h:.1f} h at the longest"


def _said(ends: tuple[float, float]) -> str:
    return f"{ends[0]:.1f} and {ends[1]:.1f} °C"
