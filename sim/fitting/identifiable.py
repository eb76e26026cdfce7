"""What a log cannot tell, and why: better no number than a wrong one.

What may live here: these judgements. No search.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.fitting.innovations import LEAST_GAIN_K, Found
from sim.fitting.record import Record
from sim.fitting.sight import Sight
from sim.thermal import Matrix

NAMES = ("gain", "offset", "lag of the mat", "lag of the medium", "coupling")
"""Of the columns of sensitivities."""

SINGULAR = 1e6
"""A condition number above which nothing is told apart."""

COLLINEAR = 30.0
"""Above it columns are as good as dependent, and those that share more than half
of their variance in it cannot be told apart: Belsley, Kuh, Welsch 1980,
"Regression Diagnostics", chapter 3 (both figures from memory)."""

_SHARED = 0.5

LEAST_HOURS = 36.0
"""Chosen: a day and a half, so that a night is compared with another."""

LEAST_ON = 0.005
"""Chosen: a mat that is on, or off, for less of the time tells nothing."""


@dataclass(frozen=True, slots=True)
class Collinearity:
    """How well parameters can be told apart.

    Attributes:
        condition: Ratio of the largest to the smallest singular value of the
            sensitivities of the one-step predictions to the logarithms of the
            parameters and to the offset, each column scaled to length 1.
        shared: Columns that cannot be told from others.
    """

    condition: float
    shared: tuple[int, ...]


def collinearity(sensitivities: Matrix) -> Collinearity:
    """Return how well the columns of a matrix can be told apart."""
    lengths = np.linalg.norm(sensitivities, axis=0)
    dead = np.flatnonzero(~(lengths > 0))
    if len(dead):
        return Collinearity(float("inf"), tuple(dead.tolist()))
    _, sizes, turned = np.linalg.svd(sensitivities / lengths, full_matrices=False)
    condition = float(sizes[0] / sizes[-1]) if sizes[-1] > 0 else float("inf")
    if condition <= COLLINEAR:
        return Collinearity(condition, ())
    weak = sizes < sizes[0] / COLLINEAR
    parts = (turned / np.maximum(sizes, 1e-300)[:, np.newaxis]) ** 2
    share = parts[weak].sum(axis=0) / parts.sum(axis=0)
    shared = tuple(np.flatnonzero(share > _SHARED).tolist())
    return Collinearity(condition, shared)


def together(shared: tuple[int, ...]) -> str:
    """Return in words which figures cannot be told apart."""
    names = [NAMES[column] for column in shared]
    listed = " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)
    return (
        f"{listed} cannot be told apart in this log; a night with the setpoint 3 K"
        " lower, or a room that changes, would tell them"
    )


MORE_TOLD = "a night with the setpoint 3 K lower tells more (bottomheat fit LOG --plan)"

_NOT_FELT = (
    "its temperature does not follow the mat as that of a tray on it would: is the"
    " probe in the air, or in a tray of another mat?"
)


def incredible(whole: Found, anew: Sequence[Found]) -> str:
    """Return why no bench can be as was found, in words; empty: one can.

    Args:
        whole: What was found of all days.
        anew: The same without each block of them.
    """
    if whole.gain_k < LEAST_GAIN_K:
        return _NOT_FELT
    if not whole.credible:
        return (
            f"how fast it follows the mat cannot be told: a time constant ran to the"
            f" limit of what was searched; {MORE_TOLD}"
        )
    astray = sum(not one.credible for one in anew)
    if astray:
        return (
            f"without {astray} of {len(anew)} blocks of days, one at a time, what"
            f" is left tells no model of it; {MORE_TOLD}"
        )
    return ""


def hopeless(record: Record, index: int, seen: Sight) -> str:
    """Return why a fit need not be tried, in words; empty: it may."""
    hours = seen.counted * record.step_s / 3600
    if not np.isfinite(record.temps_c[:, index]).any():
        return "its probe said nothing that could be used"
    if hours < LEAST_HOURS:
        return (
            f"only {hours:.0f} hours of readings in long enough stretches;"
            f" {LEAST_HOURS:.0f} are needed, better a week"
        )
    on = float(record.on_share[seen.counts].mean())
    if on < LEAST_ON:
        return f"the mat was on for {on:.1%} of the time: its heat was never felt"
    if on > 1 - LEAST_ON:
        return (
            f"the mat was on for {on:.1%} of the time: what the trays are without"
            " its heat was never seen"
        )
    return ""
