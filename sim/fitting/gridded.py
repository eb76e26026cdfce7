"""From a mat's history to a record: everything on one even grid of time.

What may live here: how readings and switchings become values on a grid.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from controller.ports import Columns
from controller.records.events import EventKind
from controller.review.mat_history import ClockStretch, MatHistory
from sim.fitting.record import (
    LONGEST_BRIDGED,
    Record,
    Whole,
    WindowStart,
    gaps,
)
from sim.fitting.sight import ROOM_GAP_STEPS
from sim.thermal import Matrix, Vector

STEP_S = 60.0
"""Chosen: a tenth of the fast lag and less."""

_DAY_MIN = 1_440

_SLIGHT = frozenset({EventKind.MISTED.value})
"""Begins no window. Misting is done several times a day and puts a fraction of a
millimetre on leaves and surface: what that cools is push, as evaporation is at
all times, and windows of some hours would tell nothing. A mist so heavy that
the medium falls by it is found in the readings, as any jump is."""


_WATERED = EventKind.WATERED.value

SINKS_IN_S = 900.0
"""Chosen: so long water is on its way [s]. It falls by kelvins in minutes, as no
beginning of a window explains: fitted with it, time constants ran off."""


@dataclass(frozen=True, slots=True)
class _Grid:
    """Steps: where the first begins [ms], their length [ms], how many."""

    start_ms: int
    step_ms: int
    count: int

    def at_ms(self) -> Whole:
        return self.start_ms + self.step_ms * np.arange(self.count, dtype=np.int64)


def record_of(
    history: MatHistory,
    *,
    step_s: float = STEP_S,
    watered_utc_ms: Sequence[int] = (),
) -> Record:
    """Return a mat's history on an even grid.

    A tray's temperature where a step begins is the mean of the readings within
    half a step before and after, of all its probes that spoke. The room's is
    the mean of the readings within the step. Readings come every 10 to 30 s
    and in steps of 0.0625 K, so that a mean of some is finer than each; where
    probes speak once a step, the time of a value errs by half a step at most.

    Args:
        history: What the log tells of the mat.
        step_s: Length of a step [s].
        watered_utc_ms: When it was watered, wall clock [ms].

    Raises:
        ValueError: The history is shorter than two steps, or it was not watered
            in the time of it.
    """
    step_ms = round(step_s * 1000)
    count = (history.to_run_ms - history.from_run_ms) // step_ms
    if count < 2:  # noqa: PLR2004
        message = f"mat {history.mat}: the log has less than two steps of {step_s:g} s"
        raise ValueError(message)
    grid = _Grid(history.from_run_ms, step_ms, count)
    half = step_ms // 2
    trays = {name: _columns(probes, grid, half) for name, probes in history.trays}
    surface = {name: _columns([probe], grid, half) for name, probe in history.surface}
    zones = {**trays, **surface}
    room = _mean(_columns(history.room, grid, 0))
    temps = np.column_stack([_mean(probes) for probes in zones.values()] or [room[:0]])
    utc_less_run, zone_min = _clock(history.clock, grid)
    local_min = (grid.at_ms() + utc_less_run) // 60_000 + zone_min
    windows = [
        *_done(history, grid, watered_utc_ms),
        *_silences(room, "", "the room", ROOM_GAP_STEPS, step_s),
    ]
    for name, probes in zones.items():
        windows += _silences(_mean(probes), name, "it", LONGEST_BRIDGED, step_s)
        windows += _changes(probes, name)
    windows.sort(key=lambda window: window.step)
    return Record(
        mat=history.mat,
        start_run_ms=grid.start_ms,
        start_utc_ms=grid.start_ms + int(utc_less_run[0]),
        step_s=step_s,
        zones=tuple(zones),
        at_mat=tuple([False] * len(trays) + [True] * len(surface)),
        on_share=on_shares(history.switchings, grid.start_ms, step_ms, count),
        room_c=room,
        temps_c=temps,
        local_day=local_min // _DAY_MIN,
        local_minute=local_min % _DAY_MIN,
        windows=tuple(windows),
    )


def on_shares(
    switchings: Sequence[tuple[int, bool]], start_ms: int, step_ms: int, count: int
) -> Vector:
    """Return the share of each step in which a mat was on, exactly.

    Args:
        switchings: When it went on or off [ms], in order; before the first it
            was off.
        start_ms: Where the first step begins [ms].
        step_ms: Length of a step [ms].
        count: How many steps.
    """
    edges = start_ms + step_ms * np.arange(count + 1, dtype=np.float64)
    if not switchings:
        return np.zeros(count)
    at = np.array([at_ms for at_ms, _ in switchings], dtype=np.float64)
    on = np.array([on for _, on in switchings], dtype=np.float64)
    # Time on up to each moment runs straight from switching to switching.
    last = max(edges[-1], at[-1]) + 1.0
    knots = np.append(at, last)
    time_on = np.concatenate([[0.0], np.cumsum(on * np.diff(knots))])
    return np.asarray(np.diff(np.interp(edges, knots, time_on)) / step_ms, np.float64)


def _columns(probes: Sequence[Columns], grid: _Grid, before_ms: int) -> Matrix:
    """Return each probe's mean in each step's stretch [°C], shape (N, probes)."""
    found = [_binned(probe, grid, before_ms) for probe in probes]
    return np.column_stack(found) if found else np.full((grid.count, 0), np.nan)


def _binned(probe: Columns, grid: _Grid, before_ms: int) -> Vector:
    at_ms = np.asarray(probe.run_ms, dtype=np.int64)
    step = (at_ms - grid.start_ms + before_ms) // grid.step_ms
    inside = (step >= 0) & (step < grid.count)
    temps = np.asarray(probe.temp_mc, dtype=np.float64)[inside] / 1000
    heard = np.bincount(step[inside], minlength=grid.count)
    total = np.bincount(step[inside], temps, minlength=grid.count)
    return np.where(heard > 0, total / np.maximum(heard, 1), np.nan)


def _mean(probes: Matrix) -> Vector:
    """Return the mean of the probes that spoke; NaN where none did."""
    heard = np.isfinite(probes)
    total = np.where(heard, probes, 0.0).sum(axis=1)
    count = heard.sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _clock(clock: Sequence[ClockStretch], grid: _Grid) -> tuple[Whole, Whole]:
    """Return wall less bench clock [ms] and local time less UTC [min] of steps."""
    begins = np.array([stretch.run_ms for stretch in clock], dtype=np.int64)
    which = np.searchsorted(begins, grid.at_ms(), side="right") - 1
    which = np.maximum(which, 0)
    skew = np.array([stretch.utc_less_run_ms for stretch in clock], dtype=np.int64)
    zone = np.array([stretch.zone_min for stretch in clock], dtype=np.int64)
    return skew[which], zone[which]


# ----------------------------------------------------------------------- windows


def _done(
    history: MatHistory, grid: _Grid, watered_utc_ms: Sequence[int]
) -> Iterator[WindowStart]:
    """Yield where windows begin because of what was done."""
    for happening in history.happenings:
        if happening.why in _SLIGHT:
            continue
        step = -((grid.start_ms - happening.run_ms) // grid.step_ms)
        if 0 < step < grid.count:
            yield WindowStart(step, happening.why, happening.tray)
            if happening.why == _WATERED:
                yield from _sunk_in(step, grid, happening.tray)
    utc_less_run, _ = _clock(history.clock, grid)
    utc_ms = grid.at_ms() + utc_less_run
    for at_ms in watered_utc_ms:
        later = np.flatnonzero(utc_ms >= at_ms)
        if not len(later) or later[0] == 0:
            begin, end, asked = (_when(ms) for ms in (utc_ms[0], utc_ms[-1], at_ms))
            message = f"watered at {asked}: the log of it lasts from {begin} to {end}"
            raise ValueError(message)
        yield WindowStart(int(later[0]), _WATERED)
        yield from _sunk_in(int(later[0]), grid)


def _sunk_in(step: int, grid: _Grid, tray: str = "") -> Iterator[WindowStart]:
    """Yield where a window begins after water; what lies between is too short."""
    later = step + ceil(SINKS_IN_S * 1000 / grid.step_ms)
    if later < grid.count:
        yield WindowStart(later, "the water has sunk in", tray)


def _silences(
    temps: Vector, zone: str, who: str, longest: int, step_s: float
) -> Iterator[WindowStart]:
    """Yield where windows begin because nothing was measured before."""
    silent = gaps(temps, longest)
    ends = np.flatnonzero(silent[:-1] & ~silent[1:]) + 1
    begins = np.flatnonzero(~silent[:-1] & silent[1:]) + 1
    for end in ends.tolist():
        before = begins[begins < end]
        steps = end - (int(before[-1]) if len(before) else 0)
        hours = steps * step_s / 3600
        yield WindowStart(end, f"{who} was not measured for {hours:.1f} h", zone)


def _changes(probes: Matrix, zone: str) -> Iterator[WindowStart]:
    """Yield where other probes of a tray speak than before."""
    if probes.shape[1] <= 1:
        return
    speaks = np.column_stack([~gaps(probe) for probe in probes.T])
    for step in (
        np.flatnonzero(np.any(speaks[1:] != speaks[:-1], axis=1)) + 1
    ).tolist():
        yield WindowStart(step, "other probes of the tray speak", zone)


def _when(utc_ms: int) -> str:
    return f"{np.datetime64(int(utc_ms), 'ms').astype('datetime64[m]')}Z"
