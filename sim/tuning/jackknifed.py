"""Errors of whatever a model predicts, from models fitted without some days.

A figure is predicted by the fitted model and again by each replicate, fitted
without one block of days. With n replicates its variance is (n - 1) / n times
the sum of their squared distances from their mean (Tukey's jackknife; Efron and
Tibshirani 1993, An Introduction to the Bootstrap, chapter 11). The difference of
two candidates is taken model by model first: both faced the same days and the
same errors of the model, most of which so cancel. What may live here: that
arithmetic.
"""

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sim.thermal import Vector

LEVEL = 0.90
"""Chosen: of ten such intervals one is expected to miss, if the model is right."""

Predicted = NDArray[np.float64]
"""Figures by candidate and model, shape (C, 1 + n): the fitted model's first,
then those of the replicates."""

_LEAST_REPLICATES = 2


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure and the interval around it.

    Attributes:
        value: By the fitted model.
        low: Lower end; None where there are too few replicates to tell.
        high: Upper end; the same.
    """

    value: float
    low: float | None
    high: float | None


def standard_error(predicted: Predicted) -> Vector:
    """Return the jackknife's standard error of each row, shape (C,).

    Infinite where there are fewer than two replicates: nothing is known of it.
    """
    replicates = predicted[:, 1:]
    count = replicates.shape[1]
    if count < _LEAST_REPLICATES:
        return np.full(len(predicted), inf)
    around = replicates - replicates.mean(axis=1, keepdims=True)
    error: Vector = np.sqrt((count - 1) / count * np.square(around).sum(axis=1))
    return error


def half_width(predicted: Predicted, level: float = LEVEL) -> Vector:
    """Return half of each row's interval: error times Student's t, shape (C,).

    With n - 1 degrees of freedom, since the error itself comes from n values.

    Raises:
        ValueError: The level is no share between 0 and 1.
    """
    if not 0 < level < 1:
        raise ValueError(f"level = {level}: a share between 0 and 1 is needed")
    count = predicted.shape[1] - 1
    if count < _LEAST_REPLICATES:
        return standard_error(predicted)
    return standard_error(predicted) * float(stdtrit(count - 1, (1 + level) / 2))


def interval(predicted: Predicted, index: int, level: float = LEVEL) -> Interval:
    """Return a candidate's figure with its interval."""
    row = predicted[index : index + 1]
    value, half = float(row[0, 0]), float(half_width(row, level)[0])
    if half == inf:
        return Interval(value, None, None)
    return Interval(value, value - half, value + half)


def tied_with(
    predicted: Predicted, index: int, level: float = LEVEL
) -> NDArray[np.bool_]:
    """Return which candidates a figure does not tell from one of them, shape (C,).

    Those whose interval of the difference includes 0; the candidate itself is
    one of them. Without replicates all are: nothing is told apart.
    """
    apart = predicted - predicted[index]
    tied: NDArray[np.bool_] = np.abs(apart[:, 0]) <= half_width(apart, level)
    return tied
