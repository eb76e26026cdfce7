"""Curves of rate against temperature, held against published figures.

Germination: days to emergence of Harrington and Minges 1954 (Knott's Handbook for
Vegetable Growers 1997, reprinted in Teaching Organic Farming and Gardening, unit
1.3, appendix 4); fitted figures are plain least squares of 1/days, worked out
independently. The broken stick and the beta function: rates of the help page of
drcSeedGerm, fitted independently. Poinsettia: Wilkerson, Gates, Zolnier, Kester and
Geneve 2005, J. Amer. Soc. Hort. Sci. 130: 302-307, abstract.
"""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import linregress

from controller.trials.response_curves import (
    Beta,
    BrokenStick,
    Linear,
    fit_beta,
    fit_broken_stick,
    fit_linear,
)

DAYS = {  # at 5, 10, 15, 20 and 25 °C; None: none came up, or not tested
    "asparagus": (None, 53, 24, 15, 10),
    "beet": (42, 17, 10, 6, 5),
    "cabbage": (None, 15, 9, 6, 5),
    "carrot": (51, 17, 10, 7, 6),
    "corn": (None, 22, 12, 7, 4),
    "cucumber": (None, None, 13, 6, 4),
    "lettuce": (15, 7, 4, 3, 2),
    "onion": (31, 13, 7, 5, 4),
    "parsley": (None, 29, 17, 14, 13),
    "parsnip": (57, 27, 19, 14, 15),
    "pea": (36, 14, 9, 8, 6),
    "pepper": (None, None, 25, 13, 8),
    "radish": (29, 11, 6, 4, 4),
    "tomato": (None, 43, 14, 8, 6),
}
DERIVED = {  # base [°C], thermal time [K·d], r²
    "onion": (2.43, 89.5, 0.997),
    "carrot": (2.10, 132.2, 0.992),
    "beet": (3.06, 108.6, 0.987),
    "lettuce": (2.77, 47.3, 0.979),
    "radish": (1.58, 84.7, 0.947),
    "pea": (-0.15, 150.9, 0.978),
    "tomato": (7.52, 103.3, 0.998),
    "asparagus": (6.92, 186.3, 0.992),
    "corn": (7.81, 74.3, 0.948),
    "cabbage": (2.56, 109.8, 0.992),
    "pepper": (10.51, 117.6, 0.994),
    "cucumber": (10.49, 57.8, 1.000),
}
TEMPS = [2, 5, 10, 15, 20, 25, 30, 35, 40]
RATES = [0, 0, 0.209, 0.435, 0.759, 0.821, 0.417, 0.145, 0]


def fit_of(crop: str):
    told = zip((5, 10, 15, 20, 25), DAYS[crop], strict=True)
    pairs = [(temp, 1 / days) for temp, days in told if days]
    return fit_linear(*zip(*pairs, strict=True))


@pytest.mark.parametrize("crop", DERIVED)
def test_emergence_gives_the_base_and_thermal_time_worked_out_elsewhere(crop):
    found = fit_of(crop)
    base_c, thermal_time, r_squared = DERIVED[crop]
    assert found.base_c == pytest.approx(base_c, abs=0.0051)
    assert found.thermal_time == pytest.approx(thermal_time, abs=0.051)
    assert found.r_squared == pytest.approx(r_squared, abs=0.00051)


def test_onion_has_the_base_of_the_book_from_other_data():
    """Brewster, Onions and Other Vegetable Alliums: 2.5 °C (Harrington 1962)."""
    assert fit_of("onion").base_c == pytest.approx(2.5, abs=0.3)


@pytest.mark.parametrize(("crop", "base_c"), [("parsley", -4.1), ("parsnip", -3.5)])
def test_a_negative_base_is_told_as_it_is(crop, base_c):
    assert fit_of(crop).base_c == pytest.approx(base_c, abs=0.051)


def test_brewster_s_onion_days_follow_from_his_base_and_sum():
    """80 K·d above 2.5 °C: 4 days at 22.5 °C, 16 at 7.5 °C, as the book prints."""
    onion = Linear(2.5)
    assert 80 / onion.warmth(22.5) == 4
    assert 80 / onion.warmth(7.5) == 16


@pytest.mark.parametrize("crop", DERIVED)
def test_a_straight_line_is_that_of_scipy(crop):
    told = zip((5, 10, 15, 20, 25), DAYS[crop], strict=True)
    temps, rates = zip(*((t, 1 / d) for t, d in told if d), strict=True)
    line = linregress(temps, rates)
    found = fit_linear(temps, rates)
    assert found.base_c == pytest.approx(-line.intercept / line.slope, rel=1e-9)
    assert found.thermal_time == pytest.approx(1 / line.slope, rel=1e-9)
    assert found.r_squared == pytest.approx(line.rvalue**2, rel=1e-9)


def test_codling_moth_eggs_have_the_published_base():
    """rate = -0.1339 + 0.013 T: 10.3 °C and 76.9 K·d (Aghdam 2009, in devRate)."""
    found = fit_linear([15, 30], [-0.1339 + 0.013 * temp for temp in (15, 30)])
    assert found.base_c == pytest.approx(10.3, abs=0.01)
    assert found.thermal_time == pytest.approx(76.9, abs=0.05)


def test_a_broken_stick_is_the_one_found_elsewhere():
    found = fit_broken_stick(TEMPS, RATES)
    assert found.curve.base_c == pytest.approx(6.50, abs=0.01)
    assert found.curve.optimum_c == pytest.approx(23.22, abs=0.01)
    assert found.curve.ceiling_c == pytest.approx(36.82, abs=0.01)
    assert found.thermal_time == pytest.approx(18.18, abs=0.01)
    assert found.squares == pytest.approx(0.0045, abs=0.0001)


def test_a_beta_function_is_the_one_found_elsewhere():
    found = fit_beta(TEMPS, RATES)
    assert found.greatest == pytest.approx(0.738, abs=0.001)
    assert found.curve.optimum_c == pytest.approx(24.3, abs=0.05)
    assert found.curve.ceiling_c == pytest.approx(35.6, abs=0.05)
    assert found.squares == pytest.approx(0.0515, abs=0.0001)


def test_a_beta_function_with_its_own_base_is_as_good_as_scipy_s():
    temps, rates = np.array(TEMPS, float), np.array(RATES)

    def curve(temp, greatest, base, optimum, ceiling):
        up = np.clip((temp - base) / (optimum - base), 0, None)
        down = np.clip((ceiling - temp) / (ceiling - optimum), 0, None)
        return greatest * down * up ** ((optimum - base) / (ceiling - optimum))

    start = [0.75, 7, 23, 36]
    theirs, _ = curve_fit(curve, temps, rates, start, maxfev=20_000)
    squares = float(((curve(temps, *theirs) - rates) ** 2).sum())
    found = fit_beta(TEMPS, RATES, None)
    assert found.squares <= squares * 1.0001
    assert found.curve.optimum_c == pytest.approx(theirs[2], abs=0.02)


@pytest.mark.parametrize(
    ("curve", "shares"),
    [
        (Beta(0, 28, 32), {28: 1, 23: 0.5678, 20: 0.2846, 10: 0.0041}),
        (Beta(0, 31, 41), {31: 1, 26: 0.8695, 20: 0.5397, 10: 0.0929}),
    ],
)
def test_yan_and_hunt_s_formula_gives_the_figures_worked_out_elsewhere(curve, shares):
    """Yan and Hunt 1999, Annals of Botany 84: 607-614."""
    for temp, share in shares.items():
        assert curve.share(temp) == pytest.approx(share, abs=0.00005)
    assert curve.share(0) == curve.share(curve.ceiling_c) == curve.share(50) == 0


@pytest.mark.parametrize("curve", [BrokenStick(21, 28, 32), Beta(21, 28, 32)])
def test_poinsettia_roots_slowly_or_not_at_20_and_32_degrees(curve):
    """Base 21 °C, optimum 28 °C, none at 20 and less and at 32 and more."""
    assert curve.warmth(20) == curve.warmth(32) == curve.warmth(35) == 0
    assert curve.warmth(28) == pytest.approx(7)
    assert 0 < curve.warmth(24) < 7
    assert 0 < curve.warmth(31) < 7


def test_above_an_upper_cut_off_a_line_is_level():
    assert Linear(10, 30).warmth(40) == Linear(10, 30).warmth(30) == 20
    assert Linear(10).warmth(40) == 30
    assert Linear(10).warmth(5) == 0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Linear(20, 20), "base 20 °C, upper 20 °C"),
        (lambda: BrokenStick(21, 20, 32), "each must lie above the one before"),
        (lambda: Beta(0, 30, math.nan), "ceiling nan °C"),
        (lambda: fit_linear([10, 10], [0.1, 0.2]), "1 temperatures: at least 2"),
        (lambda: fit_linear([10, 20], [0.2, 0.1]), "does not rise"),
        (lambda: fit_linear([10, 20], [0.2]), "2 temperatures and 1 rates"),
        (lambda: fit_beta([1, 2, 3], [0, 0, 0]), "nothing happened"),
        (lambda: fit_broken_stick([1, 2, 3], [0, 1, 2]), "at least 4"),
    ],
)
def test_what_is_no_curve_is_refused_in_words(make, words):
    with pytest.raises(ValueError, match=words):
        make()
