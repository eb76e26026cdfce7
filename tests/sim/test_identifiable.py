"""What a log cannot tell: columns that mix, and figures that err too much."""

import numpy as np
import pytest

from sim.fitting.fit import _whys
from sim.fitting.fitted import Noise
from sim.fitting.identifiable import Collinearity, collinearity, incredible, together
from sim.fitting.innovations import Found

COLUMNS = np.linalg.qr(np.random.default_rng(0).normal(size=(200, 4)))[0]
FIGURES = np.array([16.0, 9_000.0, 500.0, 250.0, -1.0])
SURE = np.full(5, 0.01)


def test_columns_at_right_angles_have_the_condition_one_however_long():
    found = collinearity(COLUMNS * [1, 1e3, 1e-3, 5])
    assert found.condition == pytest.approx(1)
    assert found.shared == ()


@pytest.mark.oracle
def test_the_condition_is_that_of_numpy():
    """numpy.linalg.cond of the columns scaled to length 1."""
    mixed = COLUMNS + 0.7 * COLUMNS[:, [0]]
    lengths = np.linalg.norm(mixed, axis=0)
    theirs = np.linalg.cond(mixed / lengths)
    assert collinearity(mixed).condition == pytest.approx(theirs)


def test_two_columns_that_are_nearly_one_are_named_and_the_others_are_not():
    mixed = COLUMNS.copy()
    mixed[:, 1] = mixed[:, 0] + 1e-3 * mixed[:, 1]
    found = collinearity(mixed)
    assert found.shared == (0, 1)
    assert found.condition > 1e3
    whys = _whys(found, FIGURES, SURE)
    assert whys[0] == whys[4] == together((0, 1))
    assert whys[0].startswith("gain and offset cannot be told apart")
    assert whys[1:4] == ["", "", ""]


def test_where_nothing_is_told_apart_no_figure_is_given():
    mixed = COLUMNS.copy()
    mixed[:, 1] = mixed[:, 0] + 1e-9 * mixed[:, 1]
    found = collinearity(mixed)
    assert found.condition > 1e6
    assert all(_whys(found, FIGURES, SURE))


def test_a_column_that_changes_nothing_is_not_told():
    dead = COLUMNS * [0, 1, 1, 1]
    assert collinearity(dead) == Collinearity(float("inf"), (0,))


def test_a_figure_that_errs_by_more_than_half_is_none():
    errors = np.array([0.6, 0.01, 0.01, 0.01, 3.5])
    whys = _whys(Collinearity(5.0, ()), FIGURES, errors)
    assert "contradict" in whys[0] and "contradict" in whys[4]
    assert whys[1:4] == ["", "", ""]


def found(gain_k=16.0, mat_s=600.0, medium_s=9_000.0):
    where = np.log([mat_s, medium_s, 1e-3])
    return Found(where, gain_k, -1.0, Noise(1e-4, 0.02), np.zeros(3))


def test_why_no_bench_can_be_so_is_told_by_what_went_astray():
    good, cold = found(), found(gain_k=0.2)
    endless = found(medium_s=4e5)
    assert incredible(good, [good] * 5) == ""
    assert "in the air" in incredible(cold, [good] * 5)
    limit = incredible(endless, [good] * 5)
    assert "how fast it follows the mat cannot be told" in limit
    some = incredible(good, [good, endless, good, cold, good])
    assert some.startswith("without 2 of 5 blocks of days")
    assert "in the air" not in limit + some
    assert all("setpoint 3 K lower" in why and "--plan" in why for why in (limit, some))
