"""The search: every candidate in every model, and what may be recommended.

What may live here: the order of it. Nothing here prints or reads.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from controller.core.plan import MatPlan
from controller.core.units import DAY_MS, MilliC
from sim.fitting.record import Record
from sim.thermal import Matrix
from sim.tuning.coverage import Coverage, coverages, outside, too_much_heat
from sim.tuning.figures import Figures, Rooting, Season, figures_of
from sim.tuning.granting import OWN, meeting
from sim.tuning.nondominated import nondominated
from sim.tuning.wishes import Wish
from sim.tuning.worlds import Tell, World
from sim.whatif.engine import BAND_MK, run
from sim.whatif.reference import core_outcomes
from sim.whatif.span import Outcomes

PROOF_DAYS = 3
"""Chosen: so many days of a finalist are run on the core too, which takes some
seconds [days]."""


class LeftOut(Enum):
    """Why a candidate may not be recommended, besides what the log covers."""

    NEVER_WARM = "the mat never gets warm enough"
    REFUSED = "limits or guards would hold heat back"


@dataclass(frozen=True, slots=True)
class Search:
    """What a search found.

    Attributes:
        figures: Of every candidate that was run.
        reasons: Why each of them may not be recommended; empty: it may.
        unrun: Reasons for which candidates were not even run, with how many.
    """

    figures: Figures
    reasons: tuple[str, ...]
    unrun: dict[str, int]

    @property
    def allowed(self) -> NDArray[np.bool_]:
        """Which candidates may be recommended."""
        return np.array([not reason for reason in self.reasons])


@dataclass(frozen=True, slots=True)
class Proof:
    """A finalist run again.

    Attributes:
        fine: At the controller's own scan, by the twin of the core.
        core: On the core itself, over the first days of the search.
        same: Whether the twin said the very same there.
        days: How many days those were.
    """

    fine: Outcomes
    core: Outcomes
    same: bool
    days: float


def search(
    record: Record,
    found: Sequence[World],
    plans: Sequence[MatPlan],
    season: Season,
    rooting: Rooting | None,
    tell: Tell,
    *,
    everyone: bool = False,
) -> Search:
    """Run all candidates that the log covers, in every model.

    Args:
        record: What the log tells.
        found: The fitted model, then its replicates, in the days of the log.
        plans: Candidates; the first is the present way, and always run.
        season: The time of the record.
        rooting: What stands for rooted; None: nobody said.
        tell: Told of progress.
        everyone: Run what the log does not cover too; it is no more recommended.
    """
    seen = coverages(record, plans)
    before = [outside(plan, cover) for plan, cover in zip(plans, seen, strict=True)]
    inside = [
        n for n, reason in enumerate(before) if not reason or n == OWN or everyone
    ]
    kept = [plans[n] for n in inside]
    figures = _run(found, kept, season, rooting, tell)
    reasons = tuple(
        before[n] or _afterwards(figures, place) or _by_heat(figures, place, seen[n])
        for place, n in enumerate(inside)
    )
    unrun: dict[str, int] = {}
    for n, reason in enumerate(before):
        if n not in inside:
            unrun[reason] = unrun.get(reason, 0) + 1
    return Search(figures, reasons, unrun)


def _run(
    found: Sequence[World],
    plans: Sequence[MatPlan],
    season: Season,
    rooting: Rooting | None,
    tell: Tell,
) -> Figures:
    trays = [tray.name for tray in plans[0].trays if tray.probes]
    outcomes: list[Outcomes] = []
    towards: list[Outcomes] = []
    for number, world in enumerate(found, start=1):
        outcomes.append(run(world.model, world.span, plans))
        if rooting is not None:
            based = [_based(plan, rooting) for plan in plans]
            towards.append(run(world.model, world.span, based))
        tell(number, len(found))
    of_rooting = None if rooting is None else (rooting, towards)
    return figures_of(plans, trays, season, outcomes, of_rooting)


def _based(plan: MatPlan, rooting: Rooting) -> MatPlan:
    """Return a mat whose trays all count towards rooting."""
    base_mc = MilliC(rooting.base_mc)
    trays = (replace(tray, base_mc=base_mc, upper_mc=None) for tray in plan.trays)
    return replace(plan, trays=tuple(trays))


def _afterwards(figures: Figures, place: int) -> str:
    if not np.isfinite(figures.deviation_k[place]).all():
        return LeftOut.NEVER_WARM.value
    if figures.refused_h[place].any():
        return LeftOut.REFUSED.value
    return ""


def _by_heat(figures: Figures, place: int, seen: Coverage) -> str:
    return too_much_heat(float(figures.duty[place, 0]), seen)


def costs(figures: Figures) -> Matrix:
    """Return what is weighed against each other, less is better, shape (C, 3).

    Energy, relay operations, and deviation from the setpoint.
    """
    weighed = figures.energy_kwh, figures.operations, figures.deviation_k
    return np.column_stack([figure[:, 0] for figure in weighed])


def front(found: Search, wish: Wish | None) -> NDArray[np.bool_]:
    """Return which candidates nothing beats in costs, shape (C,).

    Among those that meet what must hold by a wish. Where nothing must, among
    those that keep the present setpoints: a colder one costs less, and gives
    less.
    """
    figures = found.figures
    among = found.allowed
    if wish is not None and wish.constraints:
        among = among & meeting(wish, figures)
    else:
        own = figures.plans[OWN].programme
        among = among & np.array([plan.programme == own for plan in figures.plans])
    result = np.zeros(len(among), dtype=np.bool_)
    result[among] = nondominated(costs(figures)[among])
    return result


def proof(world: World, plan: MatPlan, scan_s: float, *, exact: bool = False) -> Proof:
    """Run a finalist again: at the controller's scan, and on the core itself.

    Args:
        world: The fitted model in the days of the log.
        plan: The finalist.
        scan_s: The controller's scan [s]; where the record's step is no whole
            number of it, the record's step is kept.
        exact: On the core for all days at that scan, which takes minutes for
            each week; else for the first days at the record's step.
    """
    model, span = world.model, world.span
    try:
        fine = span.at_step(scan_s)
    except ValueError:
        fine = span
    few = min(span.steps, PROOF_DAYS * DAY_MS // span.step_ms)
    short = fine if exact else span.of(np.arange(few))
    core = core_outcomes(model, short, plan, band_mk=BAND_MK)
    twin = run(model, short, [plan])
    same = all(
        np.array_equal(getattr(core, name), getattr(twin, name))
        for name in ("switches", "on_s", "heat_mk_ms", "peak_mc", "low_mc")
    )
    days = short.steps * short.step_ms / DAY_MS
    return Proof(twin if exact else run(model, fine, [plan]), core, same, days)
