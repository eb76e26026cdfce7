"""Intervals from models fitted without some days, and ties."""

import numpy as np
import pytest

from sim.tuning.jackknifed import (
    half_width,
    interval,
    standard_error,
    tied_with,
)


@pytest.mark.oracle
def test_the_standard_error_of_a_mean_is_that_of_the_textbook():
    """Of a mean the jackknife is s / sqrt(n), exactly.

    The seven treated mice of Efron and Tibshirani 1993, An Introduction to the
    Bootstrap, table 2.1: standard error 25.24 (data and figure from memory).
    """
    data = np.array([94.0, 197, 16, 38, 99, 141, 23])
    without = [np.delete(data, n).mean() for n in range(len(data))]
    predicted = np.array([[data.mean(), *without]])
    assert standard_error(predicted)[0] == pytest.approx(25.24, abs=0.005)


@pytest.mark.oracle
def test_the_interval_is_students():
    """t(6 degrees of freedom, 95 %) = 1.943: any table of Student's t."""
    predicted = np.array([[10.0, 9.0, 11.0, 9.5, 10.5, 10.0, 10.2, 9.8]])
    error = standard_error(predicted)[0]
    assert half_width(predicted)[0] == pytest.approx(1.943 * error, rel=3e-4)
    told = interval(predicted, 0)
    assert (told.low, told.high) == pytest.approx(
        (10 - 1.943 * error, 10 + 1.943 * error), rel=3e-4
    )


def test_of_one_replicate_nothing_is_known():
    predicted = np.array([[10.0, 9.0], [99.0, 98.0]])
    assert interval(predicted, 0).low is None
    assert tied_with(predicted, 0).all()


def test_what_moves_together_is_told_apart_though_the_intervals_overlap():
    models = np.array([0.0, -3.0, 3.0, -2.0, 2.0, 0.5, -0.5])
    predicted = np.array([10 + models, 10.2 + models, 10 + 0.1 * models])
    assert interval(predicted, 1).low < interval(predicted, 0).high
    assert tied_with(predicted, 0).tolist() == [True, False, True]


def test_a_level_that_is_no_share_is_refused():
    with pytest.raises(ValueError, match=r"^level = 90: a share between 0 and 1"):
        half_width(np.ones((1, 5)), 90)
