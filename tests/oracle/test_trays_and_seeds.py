"""Trays that differ, tests by randomisation, germination indices: others' values."""

import math
import random
from itertools import combinations

import pytest
from scipy import optimize, stats

from controller.trials.dispersion import design_effect, dispersion, ln_chance, together
from controller.trials.germination import hill, indices
from controller.trials.permutation import (
    Unit,
    by_randomisation,
    labellings,
    smallest_p,
)
from controller.trials.shuffling import Shuffler

pytestmark = pytest.mark.oracle


# ------------------------------------------------------------------- randomisation


@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ([{"a": 4, "b": 4}], 2 / 70),
        ([{"a": 3, "b": 3}], 0.10),
        ([{"a": 5, "b": 5}], 2 / 252),
        ([{"a": 1, "b": 1}] * 4, 0.125),
        ([{"a": 1, "b": 1}] * 5, 0.0625),
        ([{"a": 1, "b": 1}] * 6, 0.03125),
        ([{"a": 3, "b": 5}], 1 / 56),
        ([{"a": 1, "b": 1}], 1.0),
        ([{"a": 2, "b": 2, "c": 2}], 6 / 90),
    ],
)
def test_smallest_p_by_counting(sizes, told):
    """2/70, 0.10, 0.125, 0.0625, 0.031: counted beforehand."""
    assert smallest_p(sizes) == pytest.approx(told)


def units(first, second, blocks=None):
    made = [("a", value) for value in first] + [("b", value) for value in second]
    blocks = blocks or [""] * len(made)
    return [
        Unit(arm, block, value)
        for (arm, value), block in zip(made, blocks, strict=True)
    ]


@pytest.mark.parametrize("seed", range(12))
def test_p_is_that_of_scipys_permutation_test(seed):
    made = random.Random(seed)  # noqa: S311
    first = [made.randint(0, 12) / 12 for _ in range(made.randint(2, 5))]
    second = [made.randint(0, 12) / 12 for _ in range(made.randint(2, 5))]
    told = stats.permutation_test(
        (first, second),
        lambda x, y: abs(sum(x) / len(x) - sum(y) / len(y)),
        alternative="greater",
        n_resamples=10**6,
    )
    found = by_randomisation(units(first, second))
    assert found.exact
    assert found.p == pytest.approx(told.pvalue, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_p_in_blocks_is_that_of_going_through_all_labellings(seed):
    made = random.Random(seed)  # noqa: S311
    blocks = [[made.random() for _ in range(4)] for _ in range(3)]
    shown = [
        Unit("ab"[n % 2], str(at), value)
        for at, block in enumerate(blocks)
        for n, value in enumerate(block)
    ]

    def apart(chosen):
        total = sum(
            sum(block[n] for n in own) - sum(block) / 2
            for block, own in zip(blocks, chosen, strict=True)
        )
        return abs(total)

    every = [
        apart((one, two, three))
        for one in combinations(range(4), 2)
        for two in combinations(range(4), 2)
        for three in combinations(range(4), 2)
    ]
    seen = apart([(0, 2)] * 3)
    told = sum(one >= seen - 1e-12 for one in every) / len(every)
    assert by_randomisation(shown).p == pytest.approx(told)


def test_pairs_of_single_cuttings_give_mcnemars_exact_test():
    """Six pairs of which all five that differ favour one arm: 2 / 2^5."""
    first, second = [1, 1, 1, 1, 1, 1], [0, 0, 0, 0, 0, 1]
    blocks = [str(n % 6) for n in range(12)]
    told = stats.binomtest(5, 5, 0.5).pvalue
    assert by_randomisation(units(first, second, blocks)).p == pytest.approx(told)


def test_single_cuttings_without_blocks_give_fishers_test():
    found = by_randomisation(units([1] * 7 + [0] * 5, [1] * 11 + [0]))
    told = stats.fisher_exact([[7, 11], [5, 1]]).pvalue
    assert found.p == pytest.approx(told)
    assert found.ways == math.comb(24, 12)


def test_three_arms_are_gone_through_and_more_are_drawn():
    def three(count):
        return [
            Unit("abc"[n % 3], str(n // 3), n % 3 + n / 50) for n in range(3 * count)
        ]

    listed = by_randomisation(three(4))
    assert (listed.exact, listed.ways) == (True, 6**4)
    assert listed.p == pytest.approx(6 / 6**4)
    drawn = by_randomisation(three(8), seed=4)
    assert not drawn.exact
    assert drawn.p <= 10 / 20_000
    assert by_randomisation(three(8), seed=4) == drawn


def test_drawn_labellings_come_near_to_what_counting_gives():
    made = random.Random(1)  # noqa: S311
    first = [made.random() + 0.35 for _ in range(12)]
    second = [made.random() for _ in range(12)]
    found = by_randomisation(units(first, second), seed=9)
    assert not found.exact
    told = stats.ttest_ind(first, second).pvalue
    assert found.p == pytest.approx(told, rel=0.4, abs=0.004)


def test_ties_and_a_single_arm():
    assert by_randomisation(units([1, 1, 1], [1, 1, 1])).p == 1
    assert by_randomisation([Unit("a", "", 3.0), Unit("a", "", 4.0)]).p == 1
    assert by_randomisation(units([0.1 + 0.2], [0.3])).p == 1
    assert labellings([{"a": 2, "b": 1}, {"a": 1}]) == 3


# ----------------------------------------------------------------------- the seed


def test_the_shuffler_is_splitmix64():
    """First words for the seed 1234567, as in Rosetta Code (from memory)."""
    stream = Shuffler(1234567)
    assert [stream.word() for _ in range(5)] == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


def test_numbers_are_spread_as_they_should_be():
    stream = Shuffler(3)
    assert stats.kstest([stream.unit() for _ in range(2_000)], "uniform").pvalue > 0.01
    assert stats.kstest([stream.normal() for _ in range(2_000)], "norm").pvalue > 0.01
    for shape in (0.4, 3.0):
        drawn = [stream.gamma(shape) for _ in range(2_000)]
        assert stats.kstest(drawn, stats.gamma(shape).cdf).pvalue > 0.01
    seen = [stream.below(7) for _ in range(7_000)]
    assert stats.chisquare([seen.count(n) for n in range(7)]).pvalue > 0.01
    drawn = [stream.successes(12, 0.6, 0.2) for _ in range(2_000)]
    told = stats.betabinom(12, 0.6 * 4, 0.4 * 4)
    assert sum(drawn) / 2_000 == pytest.approx(told.mean(), abs=0.25)
    assert stats.tvar(drawn) == pytest.approx(told.var(), rel=0.15)


def test_orders_are_all_as_likely():
    stream = Shuffler(8)
    orders = [tuple(stream.shuffled("abc")) for _ in range(6_000)]
    counts = [orders.count(order) for order in set(orders)]
    assert len(counts) == 6
    assert stats.chisquare(counts).pvalue > 0.01


# --------------------------------------------------------------- trays that differ


SEEDS = {
    "O75 bean": [(10, 39), (23, 62), (23, 81), (26, 51), (17, 39)],
    "O75 cucumber": [(5, 6), (53, 74), (55, 72), (32, 51), (46, 79), (10, 13)],
    "O73 bean": [(8, 16), (10, 30), (8, 28), (23, 45), (0, 4)],
    "O73 cucumber": [(3, 12), (22, 41), (15, 30), (32, 51), (3, 7)],
}
"""Orobanche seed that germinated on plates with an extract (Crowder 1978, Applied
Statistics 27: 34-37; the counts from memory)."""


def test_crowders_seeds():
    """The likelihood and correlation are what scipy's distribution gives; R's betabin
    (package aod) tells log-likelihood -53.77 and correlation 0.0124 (from memory)."""

    def minus_log(x):
        rho = 1 / (1 + math.exp(-x[-1]))
        size = 1 / rho - 1
        total = 0.0
        for trays, logit in zip(SEEDS.values(), x, strict=False):
            share = 1 / (1 + math.exp(-logit))
            chances = [(k, n, share * size, (1 - share) * size) for k, n in trays]
            total -= sum(stats.betabinom.logpmf(*one) for one in chances)
        return total

    told = optimize.minimize(minus_log, [0, 0, 0, 0, -4], method="BFGS")
    found = together(SEEDS)
    assert found.log_likelihood == pytest.approx(-told.fun, abs=1e-5)
    assert found.log_likelihood == pytest.approx(-53.77, abs=0.01)
    assert found.rho == pytest.approx(0.0124, abs=2e-4)
    for arm, logit in zip(found.arms.values(), told.x, strict=False):
        assert arm.share == pytest.approx(1 / (1 + math.exp(-logit)), abs=1e-4)
        assert arm.interval.low < arm.share < arm.interval.high


def test_an_interval_is_where_the_profile_likelihood_falls_by_so_much():
    """Of the first of two arms, with scipy's distribution and its optimiser."""
    arms = {
        "a": [(5, 12), (9, 12), (3, 12), (8, 12)],
        "b": [(2, 12), (1, 12), (4, 12), (0, 12)],
    }
    found = together(arms)
    cut = found.log_likelihood - stats.t.ppf(0.975, 6) ** 2 / 2
    for end in (found.arms["a"].interval.low, found.arms["a"].interval.high):

        def minus_log(x, end=end):
            rho = 1 / (1 + math.exp(-x[0]))
            size, other = 1 / rho - 1, 1 / (1 + math.exp(-x[1]))
            pairs = ((arms["a"], end), (arms["b"], other))
            return -sum(
                stats.betabinom.logpmf(k, n, share * size, (1 - share) * size)
                for trays, share in pairs
                for k, n in trays
            )

        told = optimize.minimize(minus_log, [-2, -1], method="Nelder-Mead")
        assert -told.fun == pytest.approx(cut, abs=5e-3)


@pytest.mark.parametrize("rho", [0.0, 0.03, 0.4])
def test_chances_are_those_of_scipy(rho):
    for k in range(6):
        if rho:
            size = 1 / rho - 1
            told = stats.betabinom.logpmf(k, 5, 0.3 * size, 0.7 * size)
        else:
            told = stats.binom.logpmf(k, 5, 0.3)
        assert ln_chance(k, 5, 0.3, rho) == pytest.approx(told, abs=1e-9)


def test_trays_that_all_did_alike_and_trays_without_any():
    found = together({"a": [(0, 12)] * 4, "b": [(12, 12)] * 4})
    assert (found.arms["a"].share, found.arms["b"].share) == (0, 1)
    assert found.arms["a"].interval.high < 0.5
    assert found.arms["b"].interval.low > 0.5
    lone = together({"a": [(6, 12)], "b": [(9, 12)]})
    assert (lone.arms["a"].interval.low, lone.arms["a"].interval.high) == (0, 1)
    assert dispersion({"a": [(0, 12)], "b": [(12, 12)]}).factor is None
    with pytest.raises(ValueError, match="rooted of n"):
        together({"a": [(13, 12)]})


def test_factor_and_its_p_are_pearsons_chi_square():
    trays = {"a": [(5, 12), (9, 12), (3, 12)], "b": [(2, 10), (1, 14), (4, 12)]}
    square, freedom = 0.0, 0
    for counts in trays.values():
        rows = [[k for k, _ in counts], [n - k for k, n in counts]]
        square += stats.chi2_contingency(rows, correction=False).statistic
        freedom += len(counts) - 1
    found = dispersion(trays)
    assert found.factor == pytest.approx(square / freedom)
    assert found.p == pytest.approx(stats.chi2.sf(square, freedom))


@pytest.mark.parametrize(
    ("m", "rho", "told"),
    [
        *((12, 0.02, 1.22), (12, 0.05, 1.55), (12, 0.10, 2.1), (24, 0.02, 1.46)),
        *((24, 0.05, 2.15), (24, 0.10, 3.3), (50, 0.02, 1.98), (50, 0.05, 3.45)),
    ],
)
def test_design_effect(m, rho, told):
    assert design_effect(m, rho) == pytest.approx(told)


# --------------------------------------------------------------------- germination

COUNTS = (0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0)
"""New seedlings on days 1 to 14, of 50 seeds (vignette of the R package
germinationmetrics, commit 78f9bcfb)."""


def test_the_indices_of_germinationmetrics():
    found = indices(COUNTS, range(1, 15), 50)
    told = {
        "percent": 80,
        "first": 5,
        "last": 11,
        "peak": 6,
        "t50_coolbear": 5.970588,
        "t50_farooq": 5.941176,
        "mean_time": 6.7,
        "variance": 1.446154,
        "standard_error": 0.1901416,
        "variation": 0.1794868,
        "mean_rate": 0.1492537,
        "velocity": 14.92537,
        "speed": 6.138925,
        "accumulated_speed": 34.61567,
        "uniformity": 0.7092199,
        "synchrony": 0.2666667,
        "uncertainty": 2.062987,
    }
    for name, value in told.items():
        assert getattr(found, name) == pytest.approx(value, rel=5e-7), name
    # The germination rate index is the same speed, of percentages (Esechie 1994).
    assert found.rate_index == pytest.approx(2 * 6.138925, rel=5e-7)


def test_hills_curve_of_germinationmetrics():
    found = hill(COUNTS, range(1, 15), 50)
    assert found.top == 80
    assert found.slope == pytest.approx(9.881937, rel=5e-7)
    assert found.t50 == pytest.approx(6.034954, rel=5e-7)
    assert found.at(found.t50) == pytest.approx(40)
    assert found.at(0) == 0


def test_few_seeds_and_none():
    assert indices([0, 0], [1, 2], 10).mean_time is None
    one = indices([0, 1], [1, 2], 5)
    assert (one.percent, one.mean_time, one.variance, one.synchrony) == (
        20,
        2,
        None,
        None,
    )
    assert hill([0, 3], [1, 2], 10) is None
    assert hill([0, 0], [1, 2], 10) is None
    assert indices([5], [3], 5).uncertainty == 0


@pytest.mark.parametrize(
    ("counts", "at", "sown"),
    [
        ([1], [1, 2], 5),
        ([6], [1], 5),
        ([-1, 2], [1, 2], 5),
        ([1, 1], [2, 2], 5),
        ([1], [0], 5),
    ],
)
def test_counts_that_are_none_are_refused(counts, at, sown):
    with pytest.raises(ValueError, match=r"found|times must"):
        indices(counts, at, sown)
