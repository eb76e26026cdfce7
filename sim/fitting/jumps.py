"""Moments at which a temperature falls or rises as no heat explains.

Cold water, a lifted tray, a probe that is moved: the model of before predicts
the readings badly for some minutes. What may live here: finding those in the
errors of a first fit.
"""

import numpy as np

from sim.fitting.innovations import Found
from sim.fitting.record import WindowStart
from sim.fitting.sight import Sight

WITHIN_STEPS = 5
"""Chosen: errors of so many steps are added up; water sinks in within minutes."""

LEAST_JUMP_K = 0.8
"""Chosen: smaller ones do not matter."""

_UNUSUAL = 8.0
"""Chosen: so many usual spreads are no chance, in however long a log."""

_TO_SPREAD = 1.4826
"""Median absolute deviation of a normal distribution to its spread."""


def jumps(name: str, seen: Sight, found: Found) -> list[WindowStart]:
    """Return where windows should begin, each jump from its begin to its end.

    Args:
        name: Of the zone.
        seen: What the fit saw.
        found: A first fit.
    """
    errors = np.zeros(len(seen.counts))
    errors[seen.steps()] = found.errors
    together = np.convolve(errors, np.ones(WITHIN_STEPS))[: len(errors)]
    usual = _TO_SPREAD * float(np.median(np.abs(together[seen.counts])))
    strange = np.abs(together) > max(LEAST_JUMP_K, _UNUSUAL * usual)
    starts: list[WindowStart] = []
    for begin, end in _runs(strange):
        before = max(0, begin - WITHIN_STEPS + 1)
        starts += _jump(name, seen, before, end)
    return starts


def _jump(name: str, seen: Sight, begin: int, end: int) -> list[WindowStart]:
    last = min(end, len(seen.counts) - 1)
    by_k = float(seen.temps_c[last] - seen.temps_c[max(0, begin - 1)])
    minutes = (end - begin) * seen.step_s / 60
    way = "fell" if by_k < 0 else "rose"
    why = f"{way} by {abs(by_k):.1f} K within {minutes:.0f} min, which no heat explains"
    return [
        WindowStart(begin, why, name),
        WindowStart(last, "the end of that", name),
    ]


def _runs(strange: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Return begin and end of each stretch of strange steps; close ones are one."""
    found: list[tuple[int, int]] = []
    for at in np.flatnonzero(strange).tolist():
        if found and at - found[-1][1] <= WITHIN_STEPS:
            found[-1] = found[-1][0], at + 1
        else:
            found.append((at, at + 1))
    return found
