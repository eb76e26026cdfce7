"""Candidates run together: the way in.

    outcomes = run(model, span, plans)
    one = trace(model, span, plans[3])

What may live here: which candidates go through the compiled twin, which to the
core, and what is made of their numbers.
"""

from collections.abc import Sequence

from controller.core.plan import MatPlan
from sim.whatif.span import Outcomes, Span, Trace
from sim.zone_model import MatModel

BAND_MK = 500
"""Chosen: half a kelvin either side of the setpoint."""


def run(
    model: MatModel, span: Span, plans: Sequence[MatPlan], *, band_mk: int = BAND_MK
) -> Outcomes:
    """Run candidates in a closed loop with a model; every switch is the core's.

    Raises:
        ValueError: A plan does not fit the model, or the model the span.
    """
    raise NotImplementedError


def trace(model: MatModel, span: Span, plan: MatPlan) -> Trace:
    """Run one candidate and tell every scan of it.

    Raises:
        ValueError: As for run.
    """
    raise NotImplementedError
