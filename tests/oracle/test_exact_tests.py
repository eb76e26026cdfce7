"""Fisher, Boschloo, Barnard, their power, beta posteriors: against others' values."""

import random

import pytest
from scipy import integrate, stats

from controller.trials.exact import (
    Sided,
    barnard,
    boschloo,
    fisher,
    needed_fisher,
    power_boschloo,
    power_fisher,
    smallest_boschloo,
)
from controller.trials.posterior import Shape, after, chance_greater, difference
from controller.trials.special import (
    beta_cdf,
    beta_quantile,
    chi_square_above,
    student_quantile,
)

pytestmark = pytest.mark.oracle


def test_published_tables():
    """74/117 v 31/63 and [[8,2],[1,5]] stand in scipy's documents; the lady tasting
    tea is Fisher's (from memory)."""
    assert boschloo(74, 117, 31, 63, Sided.GREATER) == pytest.approx(0.0355, abs=7e-5)
    assert fisher(74, 117, 31, 63, Sided.GREATER) == pytest.approx(0.0483, abs=6e-5)
    assert fisher(8, 10, 1, 6) == pytest.approx(0.034965, abs=5e-7)
    assert fisher(3, 4, 1, 4, Sided.GREATER) == pytest.approx(0.242857, abs=5e-7)
    assert fisher(3, 4, 1, 4) == pytest.approx(0.485714, abs=5e-7)


def test_twelve_of_twenty_against_eighteen():
    """Worked out by scipy: 0.0648, 0.0386, 0.0386."""
    assert fisher(12, 20, 18, 20) == pytest.approx(0.0648, abs=6e-5)
    assert boschloo(12, 20, 18, 20) == pytest.approx(0.0386, abs=6e-5)
    assert barnard(12, 20, 18, 20) == pytest.approx(0.0386, abs=6e-5)


def some_tables(count):
    made = random.Random(7)  # noqa: S311
    for _ in range(count):
        n, m = made.randint(1, 25), made.randint(1, 25)
        yield made.randint(0, n), n, made.randint(0, m), m


SIDES = {Sided.TWO: "two-sided", Sided.LESS: "less", Sided.GREATER: "greater"}


@pytest.mark.parametrize(("side", "name"), SIDES.items())
def test_fisher_is_that_of_scipy(side, name):
    for x, n, y, m in some_tables(60):
        told = stats.fisher_exact([[x, y], [n - x, m - y]], alternative=name).pvalue
        assert fisher(x, n, y, m, side) == pytest.approx(told, rel=1e-9)


@pytest.mark.parametrize(("side", "name"), SIDES.items())
def test_boschloo_and_barnard_are_those_of_scipy_or_nearer_to_the_worst(side, name):
    """Both look for the worst share; scipy's search for Barnard's now and then stops
    at a lower place, which its own chance at ours shows."""
    lower = 0
    for x, n, y, m in some_tables(12):
        table = [[x, y], [n - x, m - y]]
        told = stats.boschloo_exact(table, alternative=name, n=64).pvalue
        assert boschloo(x, n, y, m, side) == pytest.approx(told, rel=2e-5)
        told = stats.barnard_exact(table, alternative=name, n=64).pvalue
        found = barnard(x, n, y, m, side)
        assert found > told - 1e-7
        lower += found > told * (1 + 1e-4)
    assert lower <= 3


@pytest.mark.parametrize(
    ("n", "by_fisher", "by_boschloo"),
    [
        (10, 0.058, 0.131),
        (12, 0.092, 0.172),
        (20, 0.192, 0.265),
        (30, 0.298, 0.347),
        (50, 0.515, 0.565),
    ],
)
def test_power_at_60_against_80_per_cent(n, by_fisher, by_boschloo):
    """Worked out beforehand with scipy's tests over all tables."""
    assert power_fisher(0.6, n, 0.8, n) == pytest.approx(by_fisher, abs=6e-4)
    assert power_boschloo(0.6, n, 0.8, n) == pytest.approx(by_boschloo, abs=6e-4)


@pytest.mark.parametrize(
    ("low", "high", "n"),
    [
        *((0.6, 0.8, 90), (0.5, 0.8, 44), (0.4, 0.8, 27), (0.7, 0.9, 69)),
        *((0.6, 0.9, 36), (0.5, 0.9, 23), (0.3, 0.7, 29), (0.2, 0.8, 12)),
    ],
)
def test_sample_sizes_of_fishers_test(low, high, n):
    """Enumerated beforehand with scipy's test; power 0.8 at two-sided 5 %."""
    assert needed_fisher(low, high) == n


def test_sizes_that_nobody_has_are_not_searched_for():
    assert needed_fisher(0.5, 0.501) is None
    assert needed_fisher(0.5, 0.5) is None


def test_the_worst_share_is_never_exceeded():
    """The test keeps its level at any share: counted over all outcomes."""
    n = 6
    counts = range(n + 1)
    rejected = [(x, y) for x in counts for y in counts if boschloo(x, n, y, n) <= 0.05]
    assert rejected
    for share in (0.05, 0.3, 0.5, 0.8):
        chances = stats.binom.pmf(counts, n, share)
        assert sum(chances[x] * chances[y] for x, y in rejected) <= 0.05


def test_none_and_all_and_unequal_groups():
    assert boschloo(0, 5, 0, 5) == 1
    assert boschloo(5, 5, 5, 5) == 1
    assert barnard(0, 5, 0, 9) == 1
    assert fisher(0, 1, 1, 1) == 1
    assert smallest_boschloo(12, 12) == pytest.approx(2 * 0.5**24, rel=1e-6)
    assert boschloo(0, 1, 7, 7) < boschloo(1, 1, 7, 7)
    with pytest.raises(ValueError, match="must be from 0 to n"):
        boschloo(3, 2, 1, 2)


# --------------------------------------------------------------------------- beliefs


def test_chance_that_nine_of_ten_is_better_than_six():
    """0.925697 by quadrature and a million draws, worked out beforehand."""
    found = chance_greater(after(9, 10), after(6, 10))
    assert found == pytest.approx(0.925697, abs=5e-7)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (Shape(3, 9), Shape(4, 2)),
        (Shape(1, 13), Shape(13, 1)),
        (Shape(2.5, 3), Shape(1, 1)),
    ],
)
def test_beliefs_are_those_of_quadrature(first, second):
    one, other = stats.beta(first.a, first.b), stats.beta(second.a, second.b)
    told, _ = integrate.quad(lambda y: other.pdf(y) * one.sf(y), 0, 1, epsabs=1e-10)
    assert chance_greater(first, second) == pytest.approx(told, abs=1e-7)
    found = difference(first, second)
    for end, share in ((found.low, 0.025), (found.high, 0.975)):
        told, _ = integrate.quad(
            lambda y, end=end: other.pdf(y) * one.cdf(y + end),
            *(0, 1),
            epsabs=1e-9,
            limit=300,
        )
        assert told == pytest.approx(share, abs=1e-5)


@pytest.mark.parametrize("a", [0.5, 1, 2.5, 40, 300])
@pytest.mark.parametrize("b", [0.5, 1, 7, 120])
def test_the_distributions_are_those_of_scipy(a, b):
    for x in (1e-6, 0.03, 0.4, 0.5, 0.97):
        assert beta_cdf(x, a, b) == pytest.approx(stats.beta.cdf(x, a, b), rel=1e-9)
        assert beta_quantile(x, a, b) == pytest.approx(
            stats.beta.ppf(x, a, b), rel=1e-8
        )
    value, freedom = a * 1.3, b * 2
    told = stats.chi2.sf(value, freedom)
    assert chi_square_above(value, freedom) == pytest.approx(told, rel=1e-9, abs=1e-300)
    assert student_quantile(0.975, b) == pytest.approx(stats.t.ppf(0.975, b), rel=1e-8)
