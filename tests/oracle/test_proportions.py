"""Shares, their intervals and tables of counts against published values."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from controller.trials.proportions import difference, exact, wilson
from controller.trials.tables import (
    mantel_haenszel,
    no_three_factor_interaction,
    odds_ratio,
    pearson,
    woolf,
)

pytestmark = pytest.mark.oracle

LONG = ((156, 84), (84, 156))
SHORT = ((107, 133), (31, 209))
"""Plum root cuttings, 240 a cell: planted at once against in spring, alive and dead
(Bartlett 1935, J. R. Stat. Soc. Suppl. 2: 248-252; as in the R package vcdExtra)."""


@pytest.mark.parametrize(
    ("rooted", "n", "wilson_95", "exact_95"),
    [
        # Newcombe 1998, Statistics in Medicine 17: 857-872, table I; from memory, and
        # recomputed.
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
        # Bartlett's shares, intervals recomputed.
        (156, 240, (0.5877, 0.7076), (0.5860, 0.7102)),
        (84, 240, (0.2924, 0.4123), (0.2898, 0.4140)),
        (107, 240, (0.3843, 0.5091), (0.3819, 0.5111)),
        (31, 240, (0.0925, 0.1775), (0.0895, 0.1783)),
    ],
)
def test_intervals_are_those_that_were_published(rooted, n, wilson_95, exact_95):
    for found, told in ((wilson(rooted, n), wilson_95), (exact(rooted, n), exact_95)):
        assert (found.low, found.high) == pytest.approx(told, abs=6e-5)


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
@pytest.mark.parametrize(
    ("rooted", "n"), [(0, 1), (1, 1), (3, 7), (99, 100), (500, 999)]
)
def test_intervals_are_those_of_statsmodels(rooted, n, level):
    for ours, name in ((wilson, "wilson"), (exact, "beta")):
        found = ours(rooted, n, level)
        low, high = proportion_confint(rooted, n, 1 - level, method=name)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize(
    ("x", "n", "y", "m"),
    [(56, 70, 48, 80), (9, 10, 3, 10), (10, 10, 0, 20), (5, 9, 5, 9)],
)
def test_differences_are_those_of_newcombes_method_ten(x, n, y, m):
    """In statsmodels it is named newcomb; 56/70 - 48/80 is his own first example,
    0.0524 to 0.3339 (Newcombe 1998, Statistics in Medicine 17: 873-890; memory)."""
    found = difference(x / n, wilson(x, n), y / m, wilson(y, m))
    told = confint_proportions_2indep(x, n, y, m, method="newcomb", compare="diff")
    assert (found.low, found.high) == pytest.approx(told, abs=1e-9)
    if n == 70:
        assert (found.low, found.high) == pytest.approx((0.0524, 0.3339), abs=6e-5)


def test_bartletts_plum_root_cuttings():
    assert odds_ratio(LONG) == pytest.approx(3.4490, abs=5e-5)
    assert odds_ratio(SHORT) == pytest.approx(5.4240, abs=5e-5)
    assert mantel_haenszel([LONG, SHORT]) == pytest.approx(4.1774, abs=5e-5)
    found = woolf([LONG, SHORT])
    assert (found.value, found.p) == pytest.approx((2.264, 0.132), abs=6e-4)
    shared = no_three_factor_interaction(LONG, SHORT)
    assert abs(shared.shift) == pytest.approx(5.096, abs=6e-4)
    assert shared.test.value == pytest.approx(2.2705, abs=6e-5)
    assert shared.test.p == pytest.approx(0.132, abs=6e-4)
    four = pearson([*LONG, *SHORT])
    assert (four.value, four.freedom) == (pytest.approx(141.05, abs=6e-3), 3)
    for table, plain, corrected in ((LONG, 43.20, 42.01), (SHORT, 58.74, 57.21)):
        assert pearson(table).value == pytest.approx(plain, abs=6e-3)
        found = pearson(table, corrected=True).value
        assert found == pytest.approx(corrected, abs=6e-3)


def test_strata_are_those_of_statsmodels():
    strata = StratifiedTable([list(map(list, table)) for table in (LONG, SHORT)])
    ours = mantel_haenszel([LONG, SHORT])
    assert ours == pytest.approx(strata.oddsratio_pooled, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_chi_squares_are_those_of_scipy(seed):
    made = np.random.default_rng(seed)
    rows = made.integers(1, 40, size=(made.integers(2, 5), made.integers(2, 5)))
    for corrected in (False, True):
        told = stats.chi2_contingency(rows, correction=corrected)
        found = pearson(rows.tolist(), corrected=corrected)
        assert (found.value, found.p) == pytest.approx(told[:2], rel=1e-9, abs=1e-12)


def test_empty_cells_are_not_divided_by():
    assert odds_ratio(((3, 0), (1, 2))) == math.inf
    assert math.isnan(odds_ratio(((0, 0), (1, 2))))
    assert mantel_haenszel([((3, 0), (0, 2))]) == math.inf
    with pytest.raises(ValueError, match="must be above 0"):
        woolf([((3, 0), (1, 2))])
    assert pearson([[0, 0], [3, 4]]).p is None
    assert pearson([[0, 5], [0, 6]]).freedom == 0
    assert (
        no_three_factor_interaction(((0, 4), (0, 4)), ((0, 4), (0, 4))).test.p is None
    )


@pytest.mark.parametrize(("rooted", "n"), [(-1, 4), (5, 4), (0, 0)])
def test_counts_that_are_none_are_refused(rooted, n):
    for one in (wilson, exact):
        with pytest.raises(ValueError, match="must be from 0 to n"):
            one(rooted, n)
