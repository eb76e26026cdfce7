"""What one-step predictions leave: is there something in it still?

What may live here: the tests and their words.
"""

from collections.abc import Iterator

import numpy as np
from scipy.stats import chi2

from sim.fitting.fitted import Residuals
from sim.thermal import Vector

LAGS = 20
"""Chosen: a third of an hour at steps of a minute."""

_DOUBT = 0.01

_VISIBLE = 0.05
"""Chosen: a correlation that matters, however many readings prove it."""

_SKEWED, _HEAVY = 0.5, 1.0
"""Chosen: beyond these the errors do not look normal."""


def residuals(errors: Vector, searched: int) -> Residuals:
    """Return tests of the errors of one-step predictions.

    Args:
        errors: In order of time; window starts are taken for neighbours, which
            a few among thousands do not change.
        searched: How many parameters were fitted to them.
    """
    count, mean = len(errors), float(errors.mean())
    away = errors - mean
    spread = float(np.sqrt(np.mean(away**2)))
    skewness = float(np.mean(away**3)) / spread**3
    kurtosis = float(np.mean(away**4)) / spread**4 - 3
    correlations, whiteness = ljung_box(errors, LAGS, searched)
    largest = float(np.abs(correlations).max())
    words = _words(mean, spread, count, largest, whiteness, skewness, kurtosis)
    rms = float(np.sqrt(np.mean(errors**2)))
    return Residuals(count, rms, mean, whiteness, skewness, kurtosis, tuple(words))


def ljung_box(errors: Vector, lags: int, searched: int = 0) -> tuple[Vector, float]:
    """Return the autocorrelations, and how probable such ones are by chance.

    Ljung, Box 1978, Biometrika 65:297-303, "On a measure of lack of fit in time
    series models": Q = n (n + 2) sum r_k² / (n - k), chi-square distributed
    with lags - searched degrees of freedom if the errors are independent.
    """
    count = len(errors)
    away = errors - errors.mean()
    whole = away @ away
    found = np.array([away[k:] @ away[:-k] / whole for k in range(1, lags + 1)])
    q = count * (count + 2) * np.sum(found**2 / (count - np.arange(1, lags + 1)))
    return found, float(chi2.sf(q, max(1, lags - searched)))


def _words(
    mean: float,
    spread: float,
    count: int,
    largest: float,
    whiteness: float,
    skewness: float,
    kurtosis: float,
) -> Iterator[str]:
    if whiteness >= _DOUBT:
        yield "errors of one-step predictions are independent of each other"
    elif largest < _VISIBLE:
        yield (
            f"errors are nearly independent: correlations up to {largest:.2f}, which"
            " so many readings prove but which matter little"
        )
    else:
        yield (
            f"errors are not independent, correlations up to {largest:.2f}: the model"
            " leaves something out; the errors given are by leaving out days and do"
            " not lean on independence"
        )
    if abs(mean) > 4 * spread / np.sqrt(count):
        yield f"on the whole predictions miss by {mean * 1000:+.1f} mK"
    else:
        yield "on the whole predictions miss to neither side"
    if abs(skewness) > _SKEWED or kurtosis > _HEAVY:
        side = "warm" if skewness > 0 else "cold"
        yield (
            f"large errors are commoner than chance has them (excess kurtosis"
            f" {kurtosis:.1f}), rather to the {side} side (skewness {skewness:+.1f}):"
            " something happens now and then that is no heat of the mat"
        )
    else:
        yield "errors are about normally distributed"
