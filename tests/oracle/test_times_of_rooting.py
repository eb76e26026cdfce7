"""Times that looks only bound: against published estimates and reference libraries."""

import math
import random

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter, WeibullAFTFitter
from scipy import stats
from scipy.optimize import isotonic_regression

from controller.trials.censored import Seen, growing_order, turnbull
from controller.trials.scores import Score, scores
from controller.trials.weibull import NoFitError, Row, fit

pytestmark = pytest.mark.oracle

INF = math.inf

COSMESIS = (
    "45,inf 6,10 0,7 46,inf 46,inf 7,16 17,inf 7,14 37,44 0,8 4,11 15,inf 11,15 22,inf"
    " 46,inf 46,inf 25,37 46,inf 26,40 46,inf 27,34 36,44 46,inf 36,48 37,inf 40,inf"
    " 17,25 46,inf 11,18 38,inf 5,12 37,inf 0,5 18,inf 24,inf 36,inf 5,11 19,35 17,25"
    " 24,inf 32,inf 33,inf 19,26 37,inf 34,inf 36,inf"
)
"""Months to breast retraction after radiotherapy, 46 patients, (left, right]
(Finkelstein and Wolfe 1985, Biometrics 41: 933-945; as in the R package interval)."""


def cosmesis():
    return [Seen(*map(float, pair.split(","))) for pair in COSMESIS.split()]


def test_the_masses_that_were_published():
    """Fay and Shaw 2010, Journal of Statistical Software 36(2), vignette."""
    found = turnbull(cosmesis())
    told = {
        (4, 5): 0.0463,
        (6, 7): 0.0334,
        (7, 8): 0.0887,
        (11, 12): 0.0708,
        (24, 25): 0.0926,
        (33, 34): 0.0818,
        (38, 40): 0.1209,
        (46, 48): 0.4656,
    }
    pairs = zip(found.stretches, found.masses, strict=True)
    masses = {ends: mass for ends, mass in pairs if mass > 1e-9}
    assert masses.keys() == told.keys()
    for ends, mass in masses.items():
        assert mass == pytest.approx(told[ends], abs=6e-5)
    assert len(found.stretches) == 14
    # Worked out beforehand with other code.
    assert found.log_likelihood == pytest.approx(-58.0600, abs=6e-5)
    assert found.gradient == pytest.approx(1, abs=1e-6)


def test_weekly_looks_of_which_the_truth_is_seen():
    seen = [
        Seen(0, 7),
        Seen(7, 14, 2),
        Seen(14, 21, 2),
        Seen(21, 28, 2),
        Seen(28, INF, 3),
    ]
    found = turnbull(seen)
    for day, left in ((7, 0.9), (14, 0.7), (21, 0.5), (28, 0.3)):
        assert found.not_yet(day) == pytest.approx((left, left))
    assert found.not_yet(10) == pytest.approx((0.7, 0.9))
    assert found.by_when(0.5) == (14, 21)
    assert found.by_when(0.71) is None


def made_up(seed):
    made = random.Random(seed)  # noqa: S311
    seen = []
    for _ in range(made.randint(5, 30)):
        day = made.weibullvariate(20, 3)
        every = made.choice([3, 5, 7])
        left = math.floor(day / every) * every
        gone = made.random() < 0.2
        seen.append(Seen(left, INF if gone or left >= 28 else left + every))
    return seen


@pytest.mark.parametrize("seed", range(8))
def test_the_estimate_is_that_of_lifelines_once_its_intervals_are_half_open(seed):
    """lifelines takes intervals as closed: its left ends are moved by a little."""
    seen = made_up(seed)
    if all(math.isinf(one.right) for one in seen):
        seen.append(Seen(0, 7))
    fitter = KaplanMeierFitter()
    left = [one.left + 1e-6 for one in seen]
    right = [one.right if one.right < INF else np.inf for one in seen]
    fitter.fit_interval_censoring(left, right, tol=1e-10, show_progress=False)
    ours = turnbull(seen)
    table = fitter.survival_function_
    for start, _ in ours.stretches:
        # There no mass may lie on either side: both of its columns tell the same.
        # Its steps end a little short of the top, ours where no mass can be moved.
        told = table[table.index < start + 5e-6].iloc[-1].iloc[0] if start else 1.0
        assert ours.not_yet(start)[1] == pytest.approx(told, abs=1e-4)


@pytest.mark.parametrize("seed", range(30))
def test_no_distribution_is_likelier(seed):
    """The conditions of Karush, Kuhn and Tucker, whatever was seen; mass adds up."""
    found = turnbull(made_up(seed))
    assert found.gradient <= 1 + 1e-6
    assert sum(found.masses) == pytest.approx(1)
    assert min(found.masses) >= 0


def test_times_known_exactly_give_the_kaplan_meier_estimate():
    days = [
        (3, True),
        (5, True),
        (5, True),
        (6, False),
        (8, True),
        (8, False),
        (9, True),
    ]
    seen = [Seen(day, day if event else INF) for day, event in days]
    fitter = KaplanMeierFitter().fit(*zip(*days, strict=True))
    found = turnbull(seen)
    for day in (2, 3, 5, 7, 8, 8.5):
        told = fitter.survival_function_at_times(day).iloc[0]
        assert found.not_yet(day)[1] == pytest.approx(told, abs=1e-6)


@pytest.mark.parametrize(
    ("seen", "left"),
    [
        ([Seen(0, 14, 9)], 0.0),  # all by the first look
        ([Seen(28, INF, 9)], 1.0),  # none at all
        ([Seen(0, INF, 4), Seen(7, 14)], None),  # nobody knows of four
    ],
)
def test_ends_of_what_may_be_seen(seen, left):
    found = turnbull(seen)
    assert sum(found.masses) == pytest.approx(1)
    if left is not None:
        assert found.not_yet(28)[1] == pytest.approx(left)


@pytest.mark.parametrize("seen", [[], [Seen(7, 3)], [Seen(0, 7, 0)], [Seen(0, 7, -1)]])
def test_what_cannot_have_been_seen_is_refused(seen):
    with pytest.raises(ValueError, match=r"nothing was seen|must not lie after"):
        turnbull(seen)


def test_growing_order_is_isotonic_regression():
    made = random.Random(3)  # noqa: S311
    for _ in range(20):
        y = [made.random() for _ in range(12)]
        w = [made.random() + 0.1 for _ in range(12)]
        told = isotonic_regression(y, weights=w).x
        assert growing_order(y, w) == pytest.approx(list(told), abs=1e-9)


# -------------------------------------------------------------------------- scores


@pytest.mark.parametrize("kind", list(Score))
@pytest.mark.parametrize("seed", range(10))
def test_scores_add_up_to_nothing_and_fall_with_time(kind, seed):
    seen = made_up(seed)
    found = scores(seen, kind)
    assert sum(found) == pytest.approx(0, abs=1e-6)
    early = dict(zip(seen, found, strict=True))
    for one, score in early.items():
        for other, its in early.items():
            if one.right <= other.left:
                assert score >= its - 1e-9


def test_scores_of_exact_times_are_those_of_the_log_rank_test():
    """1 - (Nelson-Aalen up to then) for an event, minus that sum for none (Peto and
    Peto 1972; Kalbfleisch and Prentice): Sun's scores for times known exactly."""
    days = [(3, True), (5, True), (6, False), (8, True), (9, True), (9, False)]
    seen = [Seen(day, day if event else INF) for day, event in days]
    found = scores(seen, Score.SUN)
    for (day, event), score in zip(days, found, strict=True):
        hazard = 0.0
        for time in sorted({t for t, e in days if e and t <= day}):
            risk = sum(t >= time for t, _ in days)
            hazard += sum(t == time and e for t, e in days) / risk
        # Just after the last event nobody is left who is not censored then.
        assert score == pytest.approx(event - hazard, abs=1e-6)


# ------------------------------------------------------------------------- Weibull


def test_weibull_times_of_the_cosmesis_arm():
    """Shape 1.12161 and scale 57.513, the same by scipy and lifelines beforehand."""
    found = fit([Row(one) for one in cosmesis()])
    assert found.shape == pytest.approx(1.12161, abs=6e-6)
    assert found.scale() == pytest.approx(57.513, abs=6e-4)
    assert found.median() == pytest.approx(
        57.513 * math.log(2) ** (1 / 1.12161), rel=1e-4
    )


@pytest.mark.parametrize("seed", range(8))
def test_weibull_times_are_those_of_scipy(seed):
    seen = [one for one in made_up(seed + 50) if one.right > 0]
    inside = [(one.left, one.right) for one in seen if not math.isinf(one.right)]
    beyond = [one.left for one in seen if math.isinf(one.right) and one.left > 0]
    seen = [one for one in seen if one.left > 0 or not math.isinf(one.right)]
    data = stats.CensoredData(interval=inside, right=beyond)
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    found = fit([Row(one) for one in seen])
    assert found.shape == pytest.approx(shape, rel=2e-3)
    assert found.scale() == pytest.approx(scale, rel=1e-3)


def test_a_treatment_is_that_of_lifelines():
    made = random.Random(5)  # noqa: S311
    rows = []
    for n in range(60):
        faster = 1.4 if n % 2 else 1.0
        day = made.weibullvariate(20, 3) / faster
        left = math.floor(day / 7) * 7
        rows.append((left, INF if left >= 28 else left + 7, float(n % 2)))
    frame = pd.DataFrame(rows, columns=["left", "right", "arm"], dtype=float)
    frame.loc[frame.left == 0, "left"] = 1e-9
    fitter = WeibullAFTFitter().fit_interval_censoring(frame, "left", "right")
    found = fit([Row(Seen(left, right), (arm,)) for left, right, arm in rows])
    told = fitter.params_["lambda_"]
    assert found.coefficients[1] == pytest.approx(told["arm"], abs=2e-3)
    assert found.coefficients[0] == pytest.approx(told["Intercept"], abs=2e-3)
    errors = fitter.standard_errors_["lambda_"]
    assert found.errors[1] == pytest.approx(errors["arm"], rel=2e-2)


def test_exact_times_are_fitted_too():
    days = [3.0, 5.0, 8.0, 9.5, 12.0, 20.0]
    shape, _, scale = stats.weibull_min.fit(days, floc=0)
    found = fit([Row(Seen(day, day)) for day in days])
    assert (found.shape, found.scale()) == pytest.approx((shape, scale), rel=1e-4)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        ([Seen(28, INF, 9)], "none was seen"),
        ([Seen(0, 14, 9)], "one look told everything"),
        ([Seen(7, 14, 9)], "one look told everything"),
    ],
)
def test_too_little_is_said_to_be_too_little(seen, why):
    with pytest.raises(NoFitError, match=why):
        fit([Row(one) for one in seen])


def test_an_arm_that_never_comes_has_no_factor():
    rows = [Row(Seen(7, 14, 4), (0.0,)), Row(Seen(14, 21, 4), (0.0,))]
    with pytest.raises(NoFitError):
        fit([*rows, Row(Seen(28, INF, 8), (1.0,))])


def test_times_before_nothing_are_refused():
    with pytest.raises(ValueError, match="above 0"):
        fit([Row(Seen(-1, 3))])
