"""Candidates run together: the way in.

    outcomes = run(model, span, plans)
    one = trace(model, span, plans[3])

What may live here: which candidates go through the compiled twin, which to the
core, and what is made of their numbers.
"""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np

from controller.core.plan import MatPlan
from controller.core.response import LOOK_MS
from controller.core.units import DAY_MS
from sim.thermal import Matrix
from sim.whatif.bounds import doubtless, reach
from sim.whatif.candidate import check, heard
from sim.whatif.ceiling import HIGHEST_ALLOWANCE
from sim.whatif.compute import Work, made_ready, run_block
from sim.whatif.doubts import still_windows
from sim.whatif.heat import heat_of
from sim.whatif.reference import core_outcomes, core_trace, margins, mean, root_mean
from sim.whatif.rows import ALLOWANCE, CYCLE, LANES
from sim.whatif.span import REFUSALS, Counts, Outcomes, Span, Trace
from sim.whatif.steady import SUMS
from sim.whatif.table import tabulate
from sim.zone_model import MatModel

BAND_MK = 500
"""Chosen: half a kelvin either side of the setpoint."""

WIDEST_MK = 100_000
"""Wider than all that a probe can say."""


def run(
    model: MatModel,
    span: Span,
    plans: Sequence[MatPlan],
    *,
    band_mk: int = BAND_MK,
    bare: bool = False,
) -> Outcomes:
    """Run candidates in a closed loop with a model; every switch is the core's.

    Args:
        model: The mat.
        span: The time.
        plans: The candidates.
        band_mk: How near to the setpoint counts as in band [mK].
        bare: Without numba even where it is installed: slow, the same numbers.

    Raises:
        ValueError: There is no plan, or one does not fit the model, or the
            model does not fit the span; or the band is below 0, or too wide.
    """
    loop = _Loop(model, span, plans, band_mk, bare=bare)
    outcomes = loop.outcomes()
    for number in np.flatnonzero(outcomes.by_core).tolist():
        one = core_outcomes(model, span, plans[number], band_mk=band_mk)
        for field in fields(one):
            if field.name != "band_mk":
                getattr(outcomes, field.name)[number] = getattr(one, field.name)[0]
    return outcomes


def trace(model: MatModel, span: Span, plan: MatPlan, *, bare: bool = False) -> Trace:
    """Run one candidate and tell every scan of it.

    Raises:
        ValueError: As for run.
    """
    told = np.zeros((span.steps, len(model.zones) + 2))
    loop = _Loop(model, span, [plan], BAND_MK, bare=bare)
    if loop.outcomes(told).by_core[0]:
        return core_trace(model, span, plan)
    whole = told.astype(np.int64)
    return Trace(temps_mc=whole[:, :-2], setpoint_mc=whole[:, -2], on=told[:, -1] > 0)


@dataclass(frozen=True, slots=True)
class Part:
    """Candidates to run in one way.

    Attributes:
        wanted: Their numbers.
        tracks: Probes that stand still are followed scan by scan.
        spares: Heat felt may have a ceiling, where the proof of that holds.
    """

    wanted: Counts
    tracks: bool = False
    spares: bool = False


class _Loop:
    """Candidates that share a model and a span."""

    def __init__(
        self,
        model: MatModel,
        span: Span,
        plans: Sequence[MatPlan],
        band_mk: int,
        *,
        bare: bool,
    ) -> None:
        plans = tuple(plans)  # that they last as long as their numbers
        if not plans:
            raise ValueError("plans: at least one candidate is needed")
        if not 0 <= band_mk <= WIDEST_MK:
            raise ValueError(f"band_mk = {band_mk}: from 0 to {WIDEST_MK} is needed")
        check(model, plans)
        self._heat = heat_of(model, span)
        self._plans, self._span, self._band_mk = plans, span, band_mk
        self._bare, self._trays = bare, len(heard(plans[0]))
        self._table = tabulate(span, plans)
        far = reach(self._heat, span.step_ms)
        self._doubtless = doubtless(model, span, far)
        slowest = min(plan.rise_limit_mk for plan in plans)
        self._climbs = bool(far.climb_mk[: self._trays].max() >= slowest)
        low, high = far.low_mc[: self._trays], far.high_mc[: self._trays]
        self._crosses = np.array(
            ((self._table.base > low) | (self._table.upper < high)).any(axis=1)
        )

    def outcomes(self, told: Matrix | None = None) -> Outcomes:
        """Run all; those that only the core can do are marked, not done."""
        if told is None:
            told = np.zeros((0, 0))
        work = self._work(told)
        everyone = np.arange(len(self._plans))
        windows = still_windows(self._span.step_ms)
        tracks = windows == 0 or not self._doubtless
        self._run(work, Part(everyone, tracks=tracks, spares=True))
        doubted = np.flatnonzero(work.result[:, 6] > 0)
        still = (work.result[:, 7] >= windows) & (not tracks)
        still[doubted] = False  # they are to be run again before it is known
        self._run(work, Part(doubted), Part(np.flatnonzero(still), tracks=True))
        still = work.result[doubted, 7] >= windows
        self._run(work, Part(doubted[still], tracks=True))
        return self._told(work)

    def _run(self, work: Work, *parts: Part) -> None:
        """Run some candidates; answers of an earlier run give way to theirs."""
        blocks, lanes = [], []
        done = 0
        for part in parts:
            kind, order = self._sorted(part.wanted)
            how = [part.tracks, part.spares and not part.tracks and self._may_spare()]
            blocks += [
                [done + first, count, *kind[first], *how]
                for first, count in _blocks(kind)
            ]
            lanes.append(order)
            done += len(order)
        if blocks:
            made = work._replace(blocks=np.array(blocks), lanes=np.concatenate(lanes))
            self._through(made)

    def _sorted(self, wanted: Counts) -> tuple[Counts, Counts]:
        """Return candidates as they lie in blocks: what they are, and who.

        Cycles of one length lie side by side: they begin together.
        """
        table = self._table
        kind = np.column_stack([table.kind, self._crosses.astype(np.int64)])[wanted]
        cycles = table.plans[wanted, CYCLE // LANES]
        order = np.lexsort((cycles, *kind.T[::-1]))
        return kind[order], wanted[order]

    def _may_spare(self) -> bool:
        """Whether the proof that ceiling has holds of this span and these plans."""
        highest = self._table.plans[:, ALLOWANCE // LANES].max()
        looks = self._span.step_ms >= LOOK_MS and self._span.room_heard
        return bool(looks and highest < HIGHEST_ALLOWANCE)

    def _through(self, work: Work) -> None:
        span = self._span
        band, step = float(self._band_mk), float(span.step_ms)

        def one(number: int) -> None:
            run_block(
                work,
                number,
                self._heat,
                band,
                step,
                heard=bool(span.room_heard),
                climbs=self._climbs,
                bare=self._bare,
            )

        blocks = iter(range(len(work.blocks)))
        if not (self._bare or made_ready()):
            one(next(blocks))  # compiling takes a third longer in another thread
        cores = 1 if self._bare else len(os.sched_getaffinity(0))
        with ThreadPoolExecutor(cores) as threads:  # compiled code holds no lock
            for _ in threads.map(one, blocks):
                pass

    def _work(self, told: Matrix) -> Work:
        span, table, nobody = self._span, self._table, np.zeros(0, np.int64)
        count, zones = len(self._plans), span.push.shape[1]
        days = -(-span.steps * span.step_ms // DAY_MS)
        return Work(
            nobody,
            nobody,
            table.plans,
            table.base,
            table.upper,
            table.first,
            table.change_at,
            table.change_to,
            np.zeros((count, 8)),
            np.zeros((count, zones)),
            np.zeros((count, self._trays)),
            np.zeros((count, self._trays)),
            np.zeros((count, len(REFUSALS))),
            np.zeros((count, days)),
            np.zeros((count, SUMS + self._trays)),
            told,
        )

    def _told(self, work: Work) -> Outcomes:
        step_s, trays = self._span.step_s, self._trays
        switches, on_ms, trip, trip_ms, strange, driving = work.result[:, :6].T
        peak = work.peak.astype(np.int64)
        return Outcomes(
            switches=switches.astype(np.int64),
            operations=(switches.astype(np.int64) + 1) // 2,
            on_s=on_ms / 1000,
            daily_on_s=np.divide(work.daily, 1000, out=work.daily),
            heat_mk_ms=work.heat.astype(np.int64),
            in_band_s=work.in_band * step_s,
            driving_in_band_s=driving * step_s,
            band_mk=self._band_mk,
            peak_mc=peak,
            margin_mk=margins(peak[:, :trays], peak[:, trays:], self._plans),
            refused_s=work.refused * step_s,
            trip=trip.astype(np.int64),
            trip_s=np.where(trip >= 0, trip_ms / 1000, -1.0),
            by_core=strange > 0,
            warm_s=work.steady[:, 0] * step_s,
            deviation_k=root_mean(work.steady[:, 1], work.steady[:, 0]),
            uneven_k=mean(work.steady[:, 2], work.steady[:, 0]),
            low_mc=work.steady[:, SUMS:].astype(np.int64),
        )


def _blocks(kind: Counts) -> list[tuple[int, int]]:
    """Return first lane and lanes of each block; all lanes of one are of a kind."""
    ends = np.flatnonzero((kind[1:] != kind[:-1]).any(axis=1)) + 1
    found = []
    for first, end in zip([0, *ends], [*ends, len(kind)], strict=True):
        found += [(lane, min(LANES, end - lane)) for lane in range(first, end, LANES)]
    return found
