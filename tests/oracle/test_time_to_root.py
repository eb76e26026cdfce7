"""Interval-censored time to rooting, held against published data and scipy.

The radiotherapy arm of the breast-cosmesis data of Finkelstein and Wolfe 1985, as it
stands in R's package interval (cran/interval, data/bcos.rda): 46 subjects. Reference:
scipy.stats with CensoredData.
"""

import math
import warnings
from collections import Counter

import numpy as np
import pytest
from scipy import stats

from controller.trials.forecast import half_way
from controller.trials.thermal_time_to_root import (
    Family,
    Interval,
    fit_time_to_root,
    normal_below,
)

RAD = (
    "45,inf 6,10 0,7 46,inf 46,inf 7,16 17,inf 7,14 37,44 0,8 4,11 15,inf 11,15 22,inf"
    " 46,inf 46,inf 25,37 46,inf 26,40 46,inf 27,34 36,44 46,inf 36,48 37,inf 40,inf"
    " 17,25 46,inf 11,18 38,inf 5,12 37,inf 0,5 18,inf 24,inf 36,inf 5,11 19,35 17,25"
    " 24,inf 32,inf 33,inf 19,26 37,inf 34,inf 36,inf"
)
THEIRS = {
    Family.WEIBULL: stats.weibull_min,
    Family.LOG_NORMAL: stats.lognorm,
    Family.LOG_LOGISTIC: stats.fisk,
}


def cosmesis() -> list[Interval]:
    pairs = (one.split(",") for one in RAD.split())
    return [Interval(float(a), None if b == "inf" else float(b)) for a, b in pairs]


def by_scipy(family: Family, told: list[Interval]) -> tuple[float, float]:
    """Return location and scale of the logarithm."""
    ends = [(one.after, one.by) for one in told if one.by is not None]
    right = [one.after for one in told if one.by is None]
    data = stats.CensoredData(interval=np.array(ends), right=right)
    ends_of = [end for pair in ends for end in pair] or right
    start = {"floc": 0, "scale": float(np.median(ends_of))}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # on its way it tries odd ones
        shape, _, scale = THEIRS[family].fit(data, 2.0, **start)
    own = shape if family is Family.LOG_NORMAL else 1 / shape
    return math.log(scale), own


def test_the_data_are_all_there():
    assert len(cosmesis()) == 46


@pytest.mark.parametrize("family", Family)
def test_the_cosmesis_data_are_fitted_as_scipy_fits_them(family):
    location, scale = by_scipy(family, cosmesis())
    found = fit_time_to_root(cosmesis(), family)
    assert found.location == pytest.approx(location, abs=2e-4)
    assert found.scale == pytest.approx(scale, rel=2e-4)


def test_their_weibull_has_the_shape_that_two_other_programs_gave():
    """Shape 1.12161 and scale 57.513: scipy and lifelines alike."""
    found = fit_time_to_root(cosmesis(), Family.WEIBULL)
    assert 1 / found.scale == pytest.approx(1.12161, abs=2e-5)
    assert math.exp(found.location) == pytest.approx(57.513, abs=1e-3)


@pytest.mark.parametrize("family", Family)
@pytest.mark.parametrize("seed", range(3))
def test_drawn_batches_are_fitted_as_scipy_fits_them(family, seed):
    told = drawn(family, 7.0, 0.3, 60, 1.0, seed)
    location, scale = by_scipy(family, told)
    found = fit_time_to_root(told, family)
    assert found.location == pytest.approx(location, abs=1e-3)
    assert found.scale == pytest.approx(scale, rel=2e-3)


def drawn(family, location, scale, count, share, seed) -> list[Interval]:
    """Return cuttings looked at every 200 K·h, up to 2400."""
    draw = np.random.default_rng(seed)
    told = []
    for _ in range(count):
        part = draw.random()
        standard = {
            Family.LOG_NORMAL: stats.norm.ppf(part),
            Family.LOG_LOGISTIC: math.log(part / (1 - part)),
            Family.WEIBULL: math.log(-math.log(1 - part)),
        }[family]
        time = math.exp(location + scale * standard)
        if draw.random() > share or time > 2_400:
            told.append(Interval(2_400, None))
        else:
            by = 200 * math.ceil(time / 200)
            told.append(Interval(by - 200, by))
    return told


@pytest.mark.parametrize("family", Family)
def test_those_that_never_root_are_told_from_those_that_are_late(family):
    alike = Counter(drawn(family, 6.5, 0.25, 2_000, 0.7, 5))
    told = [Interval(one.after, one.by, count) for one, count in alike.items()]
    found = fit_time_to_root(told, family, some_never_root=True)
    assert found.share == pytest.approx(0.7, abs=0.03)
    assert found.location == pytest.approx(6.5, abs=0.03)
    assert found.scale == pytest.approx(0.25, abs=0.02)
    assert found.rooted_by(found.median) == pytest.approx(found.share / 2)
    assert found.rooted_by(0) == 0


def test_counts_weigh_as_so_many_single_ones():
    whole = [Interval(100, 200, 3), Interval(200, 300, 4), Interval(300, None, 2)]
    single = [Interval(one.after, one.by) for one in whole for _ in range(one.count)]
    assert fit_time_to_root(whole, Family.LOG_NORMAL).median == pytest.approx(
        fit_time_to_root(single, Family.LOG_NORMAL).median, rel=1e-6
    )


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Interval(10, 10), "must begin at 0 or later and end after"),
        (lambda: Interval(-1, None), "must begin at 0 or later"),
        (lambda: Interval(0, 1, -1), "must not be negative"),
        (
            lambda: fit_time_to_root([Interval(5, None, 9)], Family.WEIBULL),
            "nothing was seen to root",
        ),
        (
            lambda: fit_time_to_root([Interval(5, 8, 9)], Family.WEIBULL),
            "within one stretch",
        ),
    ],
)
def test_what_tells_no_time_is_refused_in_words(make, words):
    with pytest.raises(ValueError, match=words):
        make()


@pytest.mark.parametrize("at", [-8.0, -3.0, -0.5, 0.0, 1.3, 4.0])
def test_the_normal_distribution_is_that_of_scipy(at):
    assert normal_below(at) == pytest.approx(float(stats.norm.cdf(at)), rel=1e-12)


@pytest.mark.parametrize("count", [1, 2, 3, 5, 10, 17, 40])
def test_the_half_way_one_of_some_lies_where_drawn_ones_do(count):
    draw = np.random.default_rng(3)
    ordered = np.sort(draw.standard_normal((40_000, count)))
    half = ordered[:, math.ceil(count / 2) - 1]
    mean, spread = half_way(count)
    assert mean == pytest.approx(half.mean(), abs=0.03)
    assert spread == pytest.approx(half.std(), rel=0.06)
