"""Candidates as numbers: what the compiled loops need to know of a plan.

What may live here: turning plans into rows of numbers, and setpoints into
lists of changes. No loop.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from controller.core.plan import DrivenBy, MatPlan, Night, Pid, TrayPlan
from controller.core.regulate import FILTER_SHARE, TRACKING_SHARE
from controller.core.units import DAY_MS
from controller.core.uptake import MOST_RISE_SHARE, allowance_ms, lag_ms
from sim.thermal import Matrix, Vector
from sim.whatif import rows
from sim.whatif.candidate import heard
from sim.whatif.demands import usual_step
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
    trays = [heard(mat) for mat in plans]
    step_s = usual_step(float(span.step_ms)) / 1000
    return Table(
        np.array([_row(mat, on, step_s) for mat, on in zip(plans, trays, strict=True)]),
        np.array([[tray.base_mc for tray in on] for on in trays], np.float64),
        np.array(
            [[NEVER if t.upper_mc is None else t.upper_mc for t in on] for on in trays]
        ),
        np.array(first),
        np.array(at),
        np.array(to),
        np.array([_kind(mat, on) for mat, on in zip(plans, trays, strict=True)]),
    )


def _kind(mat: MatPlan, trays: Sequence[TrayPlan]) -> tuple[int, int, int]:
    tray = 0
    if mat.driven_by is DrivenBy.TRAY:
        tray = [tray.name for tray in trays].index(mat.driving_tray or "")
    policy = mat.policy
    kind = 0
    if isinstance(policy, Pid):
        kind = 2 if policy.derivative_s else 1
    return kind, WAYS[mat.driven_by], tray


def _row(mat: MatPlan, trays: Sequence[TrayPlan], step_s: float) -> list[float]:
    row = [0.0] * rows.PARAMETERS
    for at, value in _numbers(mat, trays, step_s).items():
        row[at // rows.LANES] = value
    return row


def _numbers(
    mat: MatPlan, trays: Sequence[TrayPlan], step_s: float
) -> dict[int, float]:
    """Return the rows of a candidate; a PID computes each so many seconds."""
    probes = [tray.probes[0] for tray in trays] + list(mat.surface)
    numbers: dict[int, float] = {
        rows.MIN_ON: mat.min_on_ms,
        rows.MIN_OFF: mat.min_off_ms,
        rows.RAMP: -1 if mat.ramp_mk_per_h is None else mat.ramp_mk_per_h,
        rows.TRAY_LIMIT: mat.tray_limit_mk,
        rows.CUTOUT: mat.cutout_mc,
        rows.SURFACE_LIMIT: mat.surface_limit_mc,
        rows.SURFACE_CUTOUT: mat.surface_cutout_mc,
        rows.SETTLE: mat.settle_ms,
        rows.HALF_ALLOWANCE: mat.heat_allowance_mk // 2,
        rows.MOST_RISE: round(MOST_RISE_SHARE * mat.heat_allowance_mk),
        rows.RISE_LIMIT: mat.rise_limit_mk,
        rows.LONGEST_ON: mat.longest_on_ms,
        rows.DAILY_ON: mat.daily_on_ms,
        rows.ALLOWANCE: allowance_ms(mat),
        rows.LAG: lag_ms(mat),
        rows.STUCK_AFTER: min(probe.stuck_after_ms for probe in probes),
    }
    policy = mat.policy
    if isinstance(policy, Pid):
        tracking_s = policy.integral_s * TRACKING_SHARE
        filter_s = policy.derivative_s / FILTER_SHARE
        return numbers | {
            rows.TRACKING: min(1.0, step_s / tracking_s),
            rows.FILTER: step_s / (filter_s + step_s),
            rows.GAIN: policy.gain_per_k,
            rows.GAIN_PER_S: policy.gain_per_k / policy.integral_s,
            rows.INTEGRAL_S: policy.integral_s,
            rows.GAIN_BY_RATE: policy.gain_per_k * policy.derivative_s,
            rows.DERIVATIVE_S: policy.derivative_s,
            rows.CYCLE: policy.cycle_ms,
        }
    return numbers | {
        rows.LOW_BY: policy.differential_mk // 2,
        rows.DIFFERENTIAL: policy.differential_mk,
    }


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
