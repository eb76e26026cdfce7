"""Errors of a fit, by leaving out days.

What one step leaves unexplained resembles the next step's, and weather lasts
for hours: errors from the curvature of the likelihood are several times too
small. Leaving out whole days, one block after the other, keeps what hangs
together together (delete-a-block jackknife: Künsch 1989, Ann. Statist.
17:1217-1241). What may live here: the blocks and the errors.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sim.fitting.record import Truths, Whole
from sim.thermal import Matrix, Vector

LEAST_BLOCKS = 3
MOST_BLOCKS = 30
"""Chosen: longer logs are cut into blocks of several days, to save time."""

_LEAST_SHARE = 0.25
"""Chosen: a day with less of a day's readings goes with its neighbour."""


def blocks(day: Whole, counts: Truths, steps_a_day: float) -> list[Truths]:
    """Return which steps to leave out, one block of days after the other.

    Args:
        day: Local day of each step.
        counts: Which steps are compared with a reading.
        steps_a_day: How many a whole day has.
    """
    days, number = np.unique(day, return_inverse=True)
    held = np.bincount(number, counts, len(days))
    wanted = max(_LEAST_SHARE * steps_a_day, held.sum() / MOST_BLOCKS)
    block_of, block, held_here = np.zeros(len(days), dtype=int), 0, 0.0
    for at in range(len(days)):
        block_of[at] = block
        held_here += held[at]
        if held_here >= wanted:
            block, held_here = block + 1, 0.0
    block_of[block_of == block] = max(0, block - 1)
    return [block_of[number] == one for one in range(max(1, block))]


def moves(
    slopes: Matrix,
    errors: Vector,
    left_out: Sequence[Truths],
    given: Matrix | None = None,
) -> Matrix:
    """Return how far estimates move without each block, shape (blocks, figures).

    By one Gauss-Newton step from where all days together lie best: that is a
    search begun anew, but for terms of second order, and costs next to nothing.

    Args:
        slopes: What each figure changes in each error, shape (rows, figures).
        errors: Of which the squares are least, shape (rows,).
        left_out: Which rows to leave out, one block after the other.
        given: How far the first of the figures move, where others have found
            that; the rest follows them.
    """
    size = np.linalg.norm(slopes, axis=0)
    size[size == 0] = 1.0
    scaled = slopes / size
    whole = scaled.T @ scaled
    fixed = 0 if given is None else given.shape[1]
    found = np.zeros((len(left_out), slopes.shape[1]))
    for row, block in enumerate(left_out):
        here = scaled[block]
        normal, pull = whole - here.T @ here, here.T @ errors[block]
        if given is not None:
            found[row, :fixed] = given[row] * size[:fixed]
            pull = pull - normal[:, :fixed] @ found[row, :fixed]
        free = slice(fixed, None)
        step = np.linalg.lstsq(normal[free, free], pull[free], rcond=1e-12)[0]
        found[row, free] = step
    return np.asarray(found / size, dtype=np.float64)


def spread(count: int) -> Vector:
    """Return by how much to lead each replicate along something else that errs.

    This way and that in turn, so that the jackknife's variance of it is 1.

    Args:
        count: How many replicates; at least two, or nothing is led.
    """
    ways = np.asarray((-1.0) ** np.arange(count), dtype=np.float64)
    ways -= ways.mean()
    error = jackknife_error(ways)[0]
    return np.asarray(ways / error if error > 0 else ways, dtype=np.float64)


def jackknife_covariance(replicates: Matrix) -> Matrix:
    """Return the covariance of what was computed anew without each block.

    Args:
        replicates: One row for each block, shape (blocks, figures).
    """
    count = len(replicates)
    away = replicates - replicates.mean(axis=0)
    return np.asarray((count - 1) / count * (away.T @ away), dtype=np.float64)


def jackknife_error(replicates: NDArray[np.float64]) -> Vector:
    """Return the standard error of figures computed without each block.

    Args:
        replicates: Shape (blocks,) or (blocks, figures).
    """
    rows = replicates.reshape(len(replicates), -1)
    return np.sqrt(np.diag(jackknife_covariance(rows)))
