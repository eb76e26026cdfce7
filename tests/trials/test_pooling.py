"""Batches pooled in part: what is known with nothing, some, much, and by whose looks.

Reference for a single batch: the same integral by numpy on a grid of its own.
"""

import math

import numpy as np
import pytest
from scipy import stats

from controller.trials.forecast import HalfRooted, Known, rooting_of
from controller.trials.pooling import (
    BETWEEN_BATCHES,
    BETWEEN_CULTIVARS,
    BETWEEN_FACTORS,
    WITHIN_FACTORS,
    Prior,
    posteriors,
)
from controller.trials.rooting_evidence import (
    BatchEvidence,
    Extent,
    Pulled,
    Seen,
    intervals_of,
    likelihood_of,
)
from controller.trials.thermal_time_to_root import Interval

PRIOR = Prior(median=5_000, doubt=0.3, within=0.2, share=0.7, weight=6)
FRESH = BatchEvidence(24)
EARLY = BatchEvidence(
    24,
    tuple(
        Seen(at, 24, rooted, Extent.ALL)
        for at, rooted in ((3_000, 2), (4_000, 12), (5_000, 16), (6_500, 18))
    ),
)
LATE = BatchEvidence(
    24,
    tuple(
        Seen(at, 24, rooted, Extent.ALL)
        for at, rooted in ((5_000, 1), (7_000, 9), (9_000, 17))
    ),
)


def one(*cultivars, at=(0, 0), prior=PRIOR):
    found = posteriors(prior, cultivars)[at[0]][at[1]]
    assert found is not None
    return found


def median(of) -> float:
    return HalfRooted(of, Known(rooting=700)).thermal_time_at(0.5)


def width(of) -> float:
    low, high = HalfRooted(of, Known(rooting=700)).quantiles((0.05, 0.95))
    return math.log(high / low)


def test_without_looks_the_crop_file_speaks():
    of = one([FRESH])
    assert of.own == pytest.approx(0, abs=0.001)
    assert median(of) == pytest.approx(5_000, rel=0.01)
    assert of.share() == pytest.approx(0.7, abs=0.02)
    both = BETWEEN_BATCHES**2 + BETWEEN_CULTIVARS**2
    factors = sum(chance * factor**2 for factor, chance in BETWEEN_FACTORS)
    spread = math.sqrt(0.3**2 + factors * both)
    assert width(of) == pytest.approx(2 * 1.645 * spread, rel=0.06)


def test_the_chances_add_up():
    of = one([FRESH, EARLY], [LATE])
    assert sum(map(sum, of.weights)) == pytest.approx(1)
    assert sum(of.share_weights) == pytest.approx(1)


def test_one_batch_is_as_a_plain_integral_has_it():
    """Of a single batch the levels of crop and cultivar add up to one prior."""
    at, rooted = [3_000, 4_000, 5_000, 6_500], [2, 12, 16, 18]
    grid = np.linspace(math.log(5_000) - 2, math.log(5_000) + 2, 1_201)
    shares = (np.arange(200) + 0.5) / 200
    total, first = 0.0, 0.0
    # The share of a batch from its crop's, level by level, is drawn, not derived.
    draw = np.random.default_rng(1)
    crop = draw.beta(4.2, 1.8, 400_000)
    crop = crop.clip(1e-6, 1 - 1e-6)
    cultivar = draw.beta(16 * crop, 16 * (1 - crop)).clip(1e-6, 1 - 1e-6)
    batch = draw.beta(8 * cultivar, 8 * (1 - cultivar))
    of_share = np.histogram(batch, bins=200, range=(0, 1))[0] / 400_000
    for within, chance in WITHIN_FACTORS:
        below = stats.norm.cdf((np.log(at)[:, None] - grid) / (0.2 * within))
        grown = np.diff(below, axis=0, prepend=0)
        logs = (np.diff(rooted, prepend=0)[:, None] * np.log(grown + 1e-300)).sum(
            axis=0
        )
        by_share = (
            logs[:, None]
            + 18 * np.log(shares)
            + 6 * np.log1p(-shares * below[-1][:, None])
        )
        weight = (np.exp(by_share - logs.max()) * of_share).sum(axis=1)
        weight *= math.exp(logs.max() + 40)
        for factor, other in BETWEEN_FACTORS:
            between = factor**2 * (BETWEEN_BATCHES**2 + BETWEEN_CULTIVARS**2)
            prior = stats.norm.pdf(grid, math.log(5_000), math.sqrt(0.3**2 + between))
            mass = (prior * weight).sum() * chance * other
            total += mass
            first += (prior * weight * grid).sum() * chance * other
    of = one([EARLY])
    by_location = [sum(column) for column in zip(*of.weights, strict=True)]
    mean = sum(x * c for x, c in zip(of.locations, by_location, strict=True))
    assert mean == pytest.approx(first / total, abs=0.004)


def test_own_looks_outweigh_the_crop_file():
    of = one([EARLY])
    assert of.own > 0.9
    assert median(of) == pytest.approx(4_000, rel=0.1)
    assert width(of) < width(one([FRESH])) / 3


def test_other_batches_of_the_cultivar_tell_most_then_other_cultivars():
    alone = one([FRESH])
    same = one([EARLY, EARLY, FRESH], at=(0, 2))
    other = one([EARLY, EARLY], [FRESH], at=(1, 0))
    assert median(same) < median(other) < median(alone)
    assert width(same) < width(other) < width(alone)
    assert 0 < other.own < same.own < 1


def test_batches_that_differ_much_widen_the_window_of_the_next():
    alike = one([EARLY, EARLY, EARLY, FRESH], at=(0, 3))
    apart = one([EARLY, LATE, EARLY, LATE, FRESH], at=(0, 4))
    assert width(apart) > width(alike) * 1.3


def test_the_order_of_batches_changes_nothing():
    there = one([EARLY, LATE, FRESH], at=(0, 2))
    back = one([LATE, FRESH, EARLY], at=(0, 1))
    assert median(there) == pytest.approx(median(back), rel=1e-9)
    assert there.share() == pytest.approx(back.share(), rel=1e-9)


def test_a_share_that_never_roots_is_learned():
    poor = BatchEvidence(30, (Seen(20_000, 30, 6, Extent.ALL),))
    assert one([poor]).share() == pytest.approx(0.25, abs=0.06)
    assert one([poor, poor, FRESH], at=(0, 2)).share() < 0.5


def test_only_those_that_are_wanted_are_told_of():
    found = posteriors(PRIOR, [[EARLY, FRESH]], lambda _, batch: batch == 1)
    assert found[0][0] is None
    whole = posteriors(PRIOR, [[EARLY, FRESH]])[0][1]
    assert found[0][1] == whole


def test_many_batches_do_not_run_out_of_numbers():
    of = one([EARLY] * 30 + [FRESH], at=(0, 30))
    assert median(of) == pytest.approx(4_000, rel=0.1)


def test_what_nobody_can_believe_still_has_an_answer():
    odd = BatchEvidence(24, (Seen(10, 24, 24, Extent.ALL),))
    of = one([odd])
    assert math.isfinite(median(of))
    assert median(of) < 3_000


@pytest.mark.parametrize(
    ("told", "lower"),
    [
        (Seen(4_000, 10, 8, Extent.SOME), True),
        (Seen(4_000, 10, 0, Extent.SOME), False),
        (Seen(4_000, 10, 8, Extent.SPARE), True),
        (Seen(4_000, 10, 8, Extent.AT_LEAST), True),
    ],
)
def test_each_kind_of_look_moves_the_date_its_way(told, lower):
    moved = median(one([BatchEvidence(24, (told,))])) < median(one([FRESH]))
    assert moved is lower


def test_roots_not_seen_through_a_wall_are_no_evidence():
    blind = BatchEvidence(24, (Seen(6_000, 10, 0, Extent.AT_LEAST),))
    assert not blind.tells
    assert median(one([blind])) == pytest.approx(median(one([FRESH])))


def test_a_tug_tells_less_than_a_look():
    seen = one([BatchEvidence(24, (Seen(4_000, 10, 9, Extent.SOME),))])
    tugged = one([BatchEvidence(24, (), (Pulled(4_000, 9, 1, 0.9, 0.25),))])
    assert median(seen) < median(tugged) < 5_000
    assert width(seen) < width(tugged)


def test_looking_at_the_same_few_again_and_again_tells_no_more_than_all_once():
    few = Seen(4_000, 8, 2, Extent.SOME)
    thrice, often = (BatchEvidence(24, (few,) * n) for n in (3, 30))
    assert median(one([often])) == pytest.approx(median(one([thrice])), rel=1e-6)


def test_the_likelihood_of_a_census_is_the_multinomial_one():
    shares = (0.4, 0.8)
    found = likelihood_of(EARLY, shares)(math.log(4_500), 0.3)
    below = [
        stats.norm.cdf((math.log(at) - math.log(4_500)) / 0.3)
        for at in (3_000, 4_000, 5_000, 6_500)
    ]
    for share, log in zip(shares, found, strict=True):
        grown = np.diff([0, *below]) * share
        expected = (np.array([2, 10, 4, 2]) * np.log(grown)).sum()
        assert log == pytest.approx(expected + 6 * math.log(1 - share * below[-1]))


def test_a_sample_after_a_census_starts_from_what_that_showed():
    looks = (Seen(4_000, 24, 12, Extent.ALL), Seen(4_001, 12, 6, Extent.SOME))
    found = likelihood_of(BatchEvidence(24, looks), (0.7,))(math.log(4_000), 0.2)
    alone = likelihood_of(BatchEvidence(24, looks[:1]), (0.7,))(math.log(4_000), 0.2)
    assert found[0] - alone[0] == pytest.approx(12 * math.log(0.5), abs=0.05)


def test_the_dead_never_root():
    alive = BatchEvidence(24, (Seen(4_000, 24, 5, Extent.ALL),))
    dying = BatchEvidence(24, (Seen(4_000, 24, 5, Extent.ALL),), dead=15)
    assert one([dying]).share() < one([alive]).share() - 0.1


@pytest.mark.parametrize("wrong", [{"median": 0}, {"doubt": -1}, {"share": 1}])
def test_a_prior_that_is_none_is_refused(wrong):
    fine = {"median": 5, "doubt": 0.3, "within": 0.2, "share": 0.5, "weight": 4}
    with pytest.raises(ValueError, match=r"must be above 0|between 0 and 1"):
        Prior(**{**fine, **wrong})


# -------------------------------------------------------------- the half-way cutting


def test_what_looks_have_made_certain_bounds_the_window():
    of = one([EARLY])
    half = HalfRooted(of, Known(6_500, after=3_000, by=4_000, rooting=18))
    assert half.chance_by(3_000) == 0
    assert half.chance_by(4_000) == 1
    low, high = half.quantiles((0.01, 0.99))
    assert 3_000 <= low < high <= 4_000


def test_a_bracket_that_nobody_expected_is_filled_evenly():
    half = HalfRooted(one([FRESH]), Known(100, after=10, by=20, rooting=18))
    low, middle, high = half.quantiles((0.25, 0.5, 0.75))
    assert 10 < low < middle < high < 20


def test_what_is_later_than_anybody_believed_is_still_to_come():
    half = HalfRooted(one([FRESH]), Known(90_000, after=90_000, rooting=18))
    low, high = half.quantiles((0.05, 0.95))
    assert 90_000 < low < high < 200_000


def test_few_cuttings_make_a_wider_window_than_many():
    few, many = (
        HalfRooted(one([EARLY, FRESH], at=(0, 1)), Known(rooting=0.7 * n))
        for n in (4, 400)
    )
    apart = [
        math.log(x.thermal_time_at(0.95) / x.thermal_time_at(0.05)) for x in (few, many)
    ]
    assert apart[0] > apart[1] * 1.1


def test_quantiles_turn_the_chances_round():
    half = HalfRooted(one([LATE]), Known(4_000, rooting=18))
    for part in (0.05, 0.5, 0.9):
        assert half.chance_by(half.thermal_time_at(part)) == pytest.approx(
            part, abs=1e-3
        )
    assert half.chance_by(0) == 0


def test_looks_are_intervals_for_a_fit_of_their_own():
    looks = (
        Seen(3_000, 24, 2, Extent.ALL),
        Seen(3_500, 6, 1, Extent.SOME),
        Seen(4_000, 24, 12, Extent.ALL),
        Seen(5_000, 6, 4, Extent.AT_LEAST),
    )
    found = intervals_of(BatchEvidence(24, looks, (Pulled(4_000, 3, 1, 0.9, 0.2),)))
    assert found == [
        Interval(0.0, 3_000, 2),
        Interval(0.0, 3_500, 1),
        Interval(3_500, None, 5),
        Interval(3_000, 4_000, 10),
        Interval(4_000, None, 12),
    ]


def test_how_many_will_root_is_wide_before_looks_and_narrow_after_late_ones():
    fresh = rooting_of(one([FRESH]), FRESH)
    assert fresh.mean == pytest.approx(24 * 0.7, abs=0.6)
    assert fresh.low < 10
    assert 22 < fresh.high <= 24
    late = BatchEvidence(24, (Seen(60_000, 24, 15, Extent.ALL),))
    found = rooting_of(one([late]), late)
    assert (found.low, found.mean) == (15, pytest.approx(15, abs=0.2))
    assert found.high <= 16
    early = BatchEvidence(24, (Seen(4_000, 24, 3, Extent.ALL),), dead=8)
    found = rooting_of(one([early]), early)
    assert 3 <= found.low < found.mean < found.high <= 16


def test_a_batch_that_nobody_counted_is_taken_to_be_of_some():
    uncounted = BatchEvidence(None, (Seen(4_000, 10, 3, Extent.SOME),))
    found = rooting_of(one([uncounted]), uncounted)
    assert 0 < found.low < found.mean < found.high <= 40
