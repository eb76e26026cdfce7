"""Prediction intervals: their parts, and whether they hold what they say."""

import numpy as np
import pytest
from scipy.stats import t

from sim.tuning.coming import Come
from sim.tuning.extremes import highest, moments
from sim.tuning.prediction import Foretold, _of_days, _of_lift, _of_model, _peak
from sim.tuning.stretch import counted
from tests.tuning.mats import at

NAMES = ("duty", "switches")


def a_foretold(**parts):
    base = dict.fromkeys(("model", "days", "lift", "loop"), np.zeros(2))
    return Foretold(
        names=NAMES, value=np.array([0.4, 90.0]), freedom=9, **{**base, **parts}
    )


def test_parts_are_added_as_squares_and_widened_by_students_t():
    told = a_foretold(
        model=np.array([0.03, 1.0]),
        days=np.array([0.0, 2.0]),
        lift=np.array([0.04, 2.0]),
    )
    factor = t.ppf(0.95, 9)
    assert told.half() == pytest.approx([0.05 * factor, 3.0 * factor])
    found = told.interval("switches", 0.5)
    assert found.value == 90.0
    assert found.high - found.value == pytest.approx(3.0 * t.ppf(0.75, 9))
    assert found.value - found.low == pytest.approx(found.high - found.value)


def test_without_replicates_there_is_no_interval():
    found = a_foretold(model=np.full(2, np.inf)).interval("duty")
    assert (found.value, found.low, found.high) == (0.4, None, None)


@pytest.mark.parametrize("level", [0.0, 1.0, 90.0])
def test_a_level_that_is_no_share_is_refused(level):
    with pytest.raises(ValueError, match=f"level = {level}"):
        a_foretold().half(level)


def a_come(drawn, again=None, lifted=None, days=10, taken=7):
    return Come(
        drawn=drawn,
        daily_peak=np.zeros((len(drawn), taken)),
        again=np.zeros((2, 3, drawn.shape[1])) if again is None else again,
        lifted=np.zeros((1, 3, drawn.shape[1])) if lifted is None else lifted,
        days=days,
        taken=taken,
    )


def test_of_further_days_nine_of_ten_intervals_hold_the_mean():
    """As theory has it: the mean of m further values of a normal sample of n."""
    rng = np.random.default_rng(7)
    n, m, trials, inside = 10, 7, 2_000, 0
    for _ in range(trials):
        days = rng.normal(0, 1, n)
        drawn = rng.choice(days, (60, m)).mean(axis=1)[:, None]
        error = _of_days(a_come(drawn, days=n, taken=m))[0]
        half = t.ppf(0.95, n - 1) * error
        inside += abs(rng.normal(0, 1, m).mean() - days.mean()) <= half
    assert inside / trials == pytest.approx(0.90, abs=0.025)


def test_the_error_of_the_model_is_the_jackknifes():
    again = np.array([[[1.0], [3.0]], [[2.0], [4.0]], [[6.0], [6.0]]])
    means = np.array([2.0, 3.0, 6.0])
    expected = np.sqrt(2 / 3 * np.square(means - means.mean()).sum())
    found = _of_model(a_come(np.zeros((4, 1)), again=again))
    assert found == pytest.approx([expected])


def test_what_each_zone_leaves_open_is_added_as_squares():
    drawn = np.full((6, 1), 5.0)
    lifted = np.stack([np.full((3, 1), 8.0), np.full((3, 1), 1.0)])
    assert _of_lift(a_come(drawn, lifted=lifted)) == pytest.approx([5.0])


def test_figures_of_a_stretch():
    mat = at(21.0)
    what = counted(mat)
    temps = np.column_stack([np.full(1440, 15.0), np.full(1440, 8.0)])
    temps[:720, 0] = np.nan
    on = (np.arange(1440) % 60 < 15).astype(float)
    figures = dict(zip(what.names, what.of(temps, on, 60.0), strict=True))
    assert figures["duty"] == 0.25
    assert figures["switches"] == 47  # on from the first step
    assert figures["peak"] == 15.0
    assert figures["mean N1"] == 15.0
    assert figures["degree-hours N1"] == 5.0 * 24
    assert figures["degree-hours N2"] == 0.0
    assert what.driving_c(mat, np.array(list(figures.values()))) == 8.0  # N2 drives


@pytest.mark.parametrize(
    ("count", "mean", "variance"),
    [
        (1, 0.0, 1.0),
        (2, 1 / np.sqrt(np.pi), 1 - 1 / np.pi),
        (3, 3 / (2 * np.sqrt(np.pi)), 1 + np.sqrt(3) / (2 * np.pi) - 9 / (4 * np.pi)),
    ],
)
def test_largest_of_normal_values_as_in_closed_form(count, mean, variance):
    """Jones 1948, Ann. Math. Statist. 19:270-273: exact moments (from memory)."""
    assert moments(count) == pytest.approx((mean, variance), abs=1e-7)


def test_of_further_days_nine_of_ten_intervals_hold_the_highest():
    rng = np.random.default_rng(11)
    n, m, trials, inside, drawn_only = 10, 6, 1_500, 0, 0
    factor = t.ppf(0.95, n - 1)
    for _ in range(trials):
        days, come = rng.normal(0, 1, n), rng.normal(0, 1, m).max()
        daily = rng.choice(days, (60, m))
        found = highest(daily, n)
        inside += abs(come - found.value) <= factor * found.error
        tops = daily.max(axis=1)
        drawn_only += abs(come - tops.mean()) <= factor * tops.std()
    assert inside / trials == pytest.approx(0.90, abs=0.04)
    assert drawn_only / trials < 0.80  # which is why drawing is not enough


def test_the_first_day_stays_the_highest_where_it_is():
    came = a_come(np.zeros((60, 1)))
    daily = np.full((60, 7), 20.0) + np.random.default_rng(1).normal(0, 0.1, (60, 7))
    daily[:, 0] = 25.0
    came.daily_peak[:] = daily
    assert _peak(came, 25.0, 0.02) == (25.0, 0.02)
    daily[:, 0] = 20.0
    came.daily_peak[:] = daily
    assert _peak(came, 20.1, 0.02).value > 20.1
    one = a_come(np.zeros((60, 1)), taken=1)
    one.daily_peak[:] = daily[:, :1]
    assert _peak(one, 20.0, 0.1) == (20.0, 0.1)
