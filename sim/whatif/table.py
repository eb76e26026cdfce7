"""Candidates as numbers: what the compiled loops need to know of a plan.

What may live here: turning plans into rows of numbers, and setpoints into
lists of changes. No loop.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.core.plan import DrivenBy, MatPlan, Night, OnOff, Pid
from controller.core.regulate import FILTER_SHARE, TRACKING_SHARE
from controller.core.units import DAY_MS
from controller.core.uptake import MOST_RISE_SHARE, allowance_ms, lag_ms
from sim.thermal import Matrix, Vector
from sim.whatif import rows
from sim.whatif.candidate import heard
from sim.whatif.demands import usual_step
from sim.whatif.shape import Truths
from sim.whatif.span import Counts, Span

NEVER = 1e18
"""No step of a span and no temperature is beyond."""

WAYS = {way: number for number, way in enumerate(DrivenBy)}


@dataclass(frozen=True, slots=True)
class Table:
    """Candidates as numbers; the first axis is the candidate.

    Attributes:
        plans: Rows of the block that a plan fills, shape (.., PARAMETERS).
        base: Base temperature of each tray, shape (.., trays) [m°C].
        upper: Upper cut-off of each tray, shape (.., trays) [m°C].
        first: Where its changes of setpoint begin, shape (..).
        change_at: Steps of changes, each list ended by NEVER.
        change_to: Setpoints wanted from there on [m°C].
        kind: Policy, way of driving, driving tray, shape (.., 3): lanes of a
            block have these in common.
    """

    plans: Matrix
    base: Matrix
    upper: Matrix
    first: Counts
    change_at: Vector
    change_to: Vector
    kind: Counts


def tabulate(span: Span, plans: Sequence[MatPlan]) -> Table:
    """Return candidates, already found to fit, as numbers."""
    nights = _Nights(span)
    first: list[int] = []
    at: list[float] = []
    to: list[float] = []
    for mat in plans:
        first.append(len(at))
        for step, wanted_mc in nights.changes(mat):
            at.append(float(step))
            to.append(float(wanted_mc))
        at.append(NEVER)
        to.append(0.0)
    trays = _Trays()
    number = [trays.number(mat) for mat in plans]
    on = [trays.known[which] for which in number]
    step_s = usual_step(float(span.step_ms)) / 1000
    return Table(
        _rows(plans, on, step_s),
        np.array([one.base for one in trays.known], np.float64)[number],
        np.array([one.upper for one in trays.known], np.float64)[number],
        np.array(first),
        np.array(at),
        np.array(to),
        np.array([_kind(mat, one) for mat, one in zip(plans, on, strict=True)]),
    )


class _OnMat(NamedTuple):
    """What many candidates have in common: the trays on their mat, and its size.

    Attributes:
        names: The trays that have a probe.
        base: Base temperature of each [m°C].
        upper: Upper cut-off of each [m°C].
        stuck_after: After which a probe that stands still is doubted [ms].
        allowance: Full heat for the heat allowance [ms].
        lag: How long heat takes up to the furthest probe [ms].
    """

    names: list[str]
    base: list[int]
    upper: list[float]
    stuck_after: int
    allowance: int
    lag: int


class _Trays:
    """Looks at the trays of candidates once, where they are the very same.

    Attributes:
        known: What it found, each for some candidates.
    """

    def __init__(self) -> None:
        self.known: list[_OnMat] = []
        self._numbers: dict[tuple[int, ...], int] = {}

    def number(self, mat: MatPlan) -> int:
        """Return which of the known is a candidate's; candidates outlive this."""
        same = id(mat.trays), id(mat.surface)
        size = mat.length_mm, mat.width_mm, mat.power_mw, mat.heat_allowance_mk
        key = *same, *size
        if key not in self._numbers:
            self._numbers[key] = len(self.known)
            self.known.append(_on_mat(mat))
        return self._numbers[key]


def _on_mat(mat: MatPlan) -> _OnMat:
    trays = heard(mat)
    probes = [tray.probes[0] for tray in trays] + list(mat.surface)
    return _OnMat(
        [tray.name for tray in trays],
        [tray.base_mc for tray in trays],
        [NEVER if tray.upper_mc is None else tray.upper_mc for tray in trays],
        min(probe.stuck_after_ms for probe in probes),
        allowance_ms(mat),
        lag_ms(mat),
    )


def _kind(mat: MatPlan, on: _OnMat) -> tuple[int, int, int]:
    tray = 0
    if mat.driven_by is DrivenBy.TRAY:
        tray = on.names.index(mat.driving_tray or "")
    policy = mat.policy
    kind = 0
    if isinstance(policy, Pid):
        kind = 2 if policy.derivative_s else 1
    return kind, WAYS[mat.driven_by], tray


OF_ANY: dict[int, Callable[[MatPlan], float]] = {
    rows.MIN_ON: lambda mat: mat.min_on_ms,
    rows.MIN_OFF: lambda mat: mat.min_off_ms,
    rows.RAMP: lambda mat: -1 if mat.ramp_mk_per_h is None else mat.ramp_mk_per_h,
    rows.TRAY_LIMIT: lambda mat: mat.tray_limit_mk,
    rows.CUTOUT: lambda mat: mat.cutout_mc,
    rows.SURFACE_LIMIT: lambda mat: mat.surface_limit_mc,
    rows.SURFACE_CUTOUT: lambda mat: mat.surface_cutout_mc,
    rows.SETTLE: lambda mat: mat.settle_ms,
    rows.HALF_ALLOWANCE: lambda mat: mat.heat_allowance_mk // 2,
    rows.MOST_RISE: lambda mat: round(MOST_RISE_SHARE * mat.heat_allowance_mk),
    rows.RISE_LIMIT: lambda mat: mat.rise_limit_mk,
    rows.LONGEST_ON: lambda mat: mat.longest_on_ms,
    rows.DAILY_ON: lambda mat: mat.daily_on_ms,
}

OF_PID: dict[int, Callable[[Pid, float], float]] = {
    rows.TRACKING: lambda pid, s: min(1.0, s / (pid.integral_s * TRACKING_SHARE)),
    rows.FILTER: lambda pid, s: s / (pid.derivative_s / FILTER_SHARE + s),
    rows.GAIN: lambda pid, _: pid.gain_per_k,
    rows.GAIN_PER_S: lambda pid, _: pid.gain_per_k / pid.integral_s,
    rows.INTEGRAL_S: lambda pid, _: pid.integral_s,
    rows.GAIN_BY_RATE: lambda pid, _: pid.gain_per_k * pid.derivative_s,
    rows.DERIVATIVE_S: lambda pid, _: pid.derivative_s,
    rows.CYCLE: lambda pid, _: pid.cycle_ms,
}
"""With the seconds from one computation to the next."""

OF_ON_OFF: dict[int, Callable[[OnOff], float]] = {
    rows.LOW_BY: lambda on_off: on_off.differential_mk // 2,
    rows.DIFFERENTIAL: lambda on_off: on_off.differential_mk,
}


def _rows(plans: Sequence[MatPlan], on: Sequence[_OnMat], step_s: float) -> Matrix:
    """Return the rows of candidates; a PID computes each so many seconds."""
    table = np.zeros((rows.PARAMETERS, len(plans)))

    def fill(at: int, values: list[float], where: Truths | None = None) -> None:
        table[at // rows.LANES, slice(None) if where is None else where] = values

    for at, of_any in OF_ANY.items():
        fill(at, [of_any(mat) for mat in plans])
    fill(rows.ALLOWANCE, [one.allowance for one in on])
    fill(rows.LAG, [one.lag for one in on])
    fill(rows.STUCK_AFTER, [one.stuck_after for one in on])
    policies = [mat.policy for mat in plans]
    is_pid = np.array([isinstance(policy, Pid) for policy in policies])
    pids = [policy for policy in policies if isinstance(policy, Pid)]
    for at, of_pid in OF_PID.items():
        fill(at, [of_pid(pid, step_s) for pid in pids], is_pid)
    on_offs = [policy for policy in policies if not isinstance(policy, Pid)]
    for at, of_on_off in OF_ON_OFF.items():
        fill(at, [of_on_off(policy) for policy in on_offs], ~is_pid)
    return np.ascontiguousarray(table.T)


class _Nights:
    """When it is night in a span, and what setpoints come of it."""

    def __init__(self, span: Span) -> None:
        self._span = span
        self._known: dict[Night, tuple[NDArray[np.bool_], Counts]] = {}

    def changes(self, mat: MatPlan) -> list[tuple[int, int]]:
        """Return the steps at which another setpoint is wanted, from 0 on."""
        found: list[tuple[int, int]] = []
        starts = [*_starts(mat, self._span), self._span.steps]
        for step, begins, ends in zip(
            mat.programme, starts[:-1], starts[1:], strict=True
        ):
            if begins >= ends:
                continue
            if step.night_mc is None:
                found.append((begins, step.setpoint_mc))
                continue
            dark, turns = self._of(mat.night)
            inside = turns[(turns > begins) & (turns < ends)]
            found += [
                (turn, step.night_mc if dark[turn] else step.setpoint_mc)
                for turn in [begins, *inside.tolist()]
            ]
        return found

    def _of(self, night: Night) -> tuple[NDArray[np.bool_], Counts]:
        if night not in self._known:
            minute, start, end = self._span.minutes, night.from_minute, night.to_minute
            after, before = minute >= start, minute < end
            dark = after & before if start <= end else after | before
            turns = np.flatnonzero(dark[1:] != dark[:-1]) + 1
            self._known[night] = dark, turns
        return self._known[night]


def _starts(mat: MatPlan, span: Span) -> list[int]:
    """Return the scan at which each step of the programme begins.

    As setpoints.present_step has it: days of 24 hours from when the step before
    was due to end.
    """
    starts, since_ms = [0], 0
    for step in mat.programme[:-1]:
        if step.days is None:
            starts += [span.steps] * (len(mat.programme) - len(starts))
            break
        lasts_ms = step.days * DAY_MS
        scan = max(0, ceil((since_ms + lasts_ms) / span.step_ms) - 1)
        while scan * span.step_ms - since_ms < lasts_ms:
            scan += 1
        starts.append(min(max(scan, starts[-1]), span.steps))
        since_ms += round(lasts_ms)
    return starts
