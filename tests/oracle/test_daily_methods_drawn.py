"""Every daily method that draws a day, against sums along the drawn curve.

Nothing is taken from the formulas: a day is drawn point by point, from its lowest
to its highest temperature and on to the next lowest, and what UC IPM says of a
temperature (ipm.ucdavis.edu/WEATHER/ddmoreinfo.html, three kinds of cut-off) is
added up. Drawn at the middles of N equal parts of each half of the day, the sum
of a curve without a jump is wrong by less than its whole rise divided by N; where
a vertical cut-off lets the rate jump, by the height of the jump divided by N more.
"""

import random

import numpy as np
import pytest

from controller.review.daily_degree_days import (
    NEEDS_NEXT_DAY,
    TAKES_CUTOFF,
    DailyMethod,
    degree_days,
    met_service,
)
from controller.review.day_shapes import Cutoff

pytestmark = pytest.mark.oracle

N = 4_000
SHARES = (np.arange(N) + 0.5) / N
DAYS = 2_000
SINES = {DailyMethod.SINGLE_SINE, DailyMethod.DOUBLE_SINE}


def random_days(seed):
    """Yield days: lowest, highest, next lowest, base, upper.

    Every other day is of whole degrees from a narrow range, so that thresholds
    fall on extremes, and days are level, many hundreds of times.
    """
    dice = random.Random(seed)  # noqa: S311
    for number in range(DAYS):
        drawn_from = dice.randint if number % 2 else dice.uniform
        high = drawn_from(-4, 12)
        low, next_low = (drawn_from(-6, high) for _ in "ab")
        base = drawn_from(-8, 12)
        yield low, high, next_low, base, base + drawn_from(1, 10)


def half(method, low, high):
    """Return temperatures at N times of a half of the day, coldest first."""
    rise = (1 - np.cos(np.pi * SHARES)) / 2 if method in SINES else SHARES
    return low + (high - low) * rise


def drawn(method, low, high, next_low):
    end = next_low if method in NEEDS_NEXT_DAY else low
    return np.concatenate([half(method, low, high), half(method, end, high)])


def counted(temps, base, upper, cutoff):
    """Return the mean rate along a day."""
    rate = np.maximum(temps - base, 0)
    if upper is not None:
        over = np.maximum(temps - upper, 0)
        if cutoff is Cutoff.HORIZONTAL:
            rate = rate - over
        elif cutoff is Cutoff.INTERMEDIATE:
            rate = rate - 2 * over
        else:
            rate = np.where(temps > upper, 0, rate)
    return rate.mean()


@pytest.mark.parametrize("method", sorted(TAKES_CUTOFF, key=str))
@pytest.mark.parametrize("cutoff", [None, *Cutoff])
def test_a_method_is_the_mean_rate_along_the_day_it_draws(method, cutoff):
    for low, high, next_low, base, threshold in random_days(str(method)):
        upper = None if cutoff is None else threshold
        kind = cutoff or Cutoff.HORIZONTAL
        day = (high, low, base)
        how = {"upper": upper, "next_low": next_low}
        found = degree_days(method, *day, cutoff=kind, **how)
        temps = drawn(method, low, high, next_low)
        expected = counted(temps, base, upper, kind)
        if kind is Cutoff.INTERMEDIATE and method in SINES:
            # Slowing down never takes more off a day than stopping: see above_base.
            expected = max(expected, counted(temps, base, upper, Cutoff.VERTICAL))
        rise = high - min(low, next_low)
        jump = threshold - base if kind is not Cutoff.HORIZONTAL else 0
        assert found == pytest.approx(expected, abs=(2 * rise + jump + 1e-6) / N), (
            low,
            high,
            next_low,
            base,
            upper,
        )


@pytest.mark.parametrize("method", sorted(TAKES_CUTOFF, key=str))
def test_development_stops_above_the_upper_and_not_at_it(method):
    """A level day at the upper itself: as fast as it gets, by every cut-off."""
    for cutoff in Cutoff:
        how = {"upper": 20, "next_low": 20, "cutoff": cutoff}
        assert degree_days(method, 20, 20, 12, **how) == 8


@pytest.mark.parametrize(
    ("method", "rate"),
    [
        (DailyMethod.AVERAGE_1, lambda lo, hi, b: max((lo + hi) / 2 - b, 0)),
        (DailyMethod.AVERAGE_2, lambda lo, hi, b: (max(lo, b) + max(hi, b)) / 2 - b),
    ],
)
def test_averages_with_and_without_an_upper(method, rate):
    """McMaster and Wilhelm 1997, the two readings of it; held down
    to the upper first, as the rules of the 86/50 method do (Agron 541, 2b).
    """
    for low, high, _, base, upper in random_days(method.value):
        found = degree_days(method, high, low, base)
        assert found == pytest.approx(rate(low, high, base), abs=1e-12)
        found = degree_days(method, high, low, base, upper=upper)
        held_down = rate(min(low, upper), min(high, upper), base)
        assert found == pytest.approx(held_down, abs=1e-12)


def test_the_four_cases_of_met_services_go_over_into_each_other():
    """At the edges of the cases both formulas of met.ie give the same; where the
    mean is the base, a quarter of half the day's rise is left of either.
    """
    for low, high, _, base, _ in random_days("met"):
        found = met_service(high, low, base)
        for nudge in (-1e-9, 1e-9):
            assert met_service(high, low, base + nudge) == pytest.approx(
                found, abs=2e-9
            )
