"""Many candidates at a coarse step, the best of them on the core at the bench's own.

What may live here: who is a finalist, and by how much the two runs of one
differ. What makes a candidate good is the caller's to say.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from controller.core.plan import MatPlan
from sim.thermal import Vector
from sim.whatif.engine import BAND_MK, run
from sim.whatif.reference import core_outcomes
from sim.whatif.span import Counts, Outcomes, Span
from sim.zone_model import MatModel

SCAN_S = 5.0
"""A bench's scan, where its plan says nothing else [s]."""

Score = Callable[[Outcomes], Vector]
"""What speaks for each candidate: the higher the better; -inf rules it out."""


@dataclass(frozen=True, slots=True)
class Finalist:
    """One of the best, twice.

    Attributes:
        number: Its place among the candidates.
        plan: The candidate.
        score: What spoke for it, at the coarse step.
        coarse: Its outcomes at the coarse step.
        exact: The same on the core, at the bench's own scan.
    """

    number: int
    plan: MatPlan
    score: float
    coarse: Outcomes
    exact: Outcomes

    def difference(self) -> str:
        """Say what the coarse step made of it, and the core at its own scan."""
        coarse, exact = self.coarse, self.exact
        parts = [
            _pair("switches", coarse.switches[0], exact.switches[0], "d", ""),
            _pair("on", coarse.on_s[0] / 3600, exact.on_s[0] / 3600, ".2f", " h"),
        ]
        for tray in range(exact.degree_hours.shape[1]):
            pair = coarse.degree_hours[0, tray], exact.degree_hours[0, tray]
            parts.append(_pair(f"tray {tray + 1}", *pair, ".1f", " K·h"))
        return "; ".join(parts)


def _pair(name: str, coarse: float, exact: float, form: str, unit: str) -> str:
    apart = exact - coarse
    return f"{name} {coarse:{form}} / {exact:{form}}{unit} ({apart:+{form}})"


def search(
    model: MatModel,
    span: Span,
    plans: Sequence[MatPlan],
    score: Score,
    *,
    keep: int = 3,
    scan_s: float = SCAN_S,
    band_mk: int = BAND_MK,
) -> tuple[Outcomes, list[Finalist]]:
    """Run all candidates at the span's step, the best again on the core.

    The core needs some tenths of a millisecond for a scan: a season at 5 s takes
    it some ten minutes.

    Args:
        model: The mat.
        span: The time, at the coarse step.
        plans: The candidates.
        score: What speaks for each.
        keep: How many finalists there shall be at most.
        scan_s: The bench's own scan; it divides the span's step [s].
        band_mk: How near to the setpoint counts as in band [mK].

    Returns:
        The outcomes of all, and the finalists, the best first; of equal ones
        that of the lower number.

    Raises:
        ValueError: As for run; or the scan does not divide the step.
    """
    fine = span.at_step(scan_s)
    outcomes = run(model, span, plans, band_mk=band_mk)
    scores = np.asarray(score(outcomes), np.float64)
    if scores.shape != (len(plans),):
        raise ValueError(f"score gave shape {scores.shape}: one for each is needed")
    best = [int(n) for n in np.argsort(-scores, kind="stable") if scores[n] > -np.inf]
    return outcomes, [
        Finalist(
            number,
            plans[number],
            float(scores[number]),
            only(outcomes, np.array([number])),
            core_outcomes(model, fine, plans[number], band_mk=band_mk),
        )
        for number in best[:keep]
    ]


def only(outcomes: Outcomes, wanted: Counts) -> Outcomes:
    """Return the outcomes of some candidates alone."""
    names = [field.name for field in fields(outcomes) if field.name != "band_mk"]
    return replace(outcomes, **{n: getattr(outcomes, n)[wanted] for n in names})
