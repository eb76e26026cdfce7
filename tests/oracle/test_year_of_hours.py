"""A full year of hourly temperatures: integral and daily methods, done twice.

The second time with numpy and by other ways: the integral as a trapezoid on a
grid of minutes, the shapes of a day drawn point by point. Data: see
tests/year_of_hours.
"""

import numpy as np
import pytest

from controller.core.units import DAY_MS, HOUR_MS, kelvin_hours
from controller.review.daily_degree_days import DailyMethod
from controller.review.day_shapes import Cutoff
from tests.year_of_hours import PLACES, booked, by_day, hours, summary

pytestmark = pytest.mark.oracle

CASES = [(5_000, None), (10_000, None), (10_000, 18_000), (12_000, 16_000)]
SHARES = (np.arange(20_000) + 0.5) / 20_000


@pytest.fixture(scope="module", params=PLACES)
def year(request):
    return hours(request.param)


def on_minutes(samples):
    """Return the temperature [°C] at every minute of the year, by straight lines."""
    at_ms, temp_mc = (
        np.array(column, dtype=float) for column in zip(*samples, strict=True)
    )
    minutes_ms = np.arange(at_ms[0], at_ms[-1] + 1, 60_000)
    return minutes_ms, np.interp(minutes_ms, at_ms, temp_mc) / 1000


def heat_c(temp_c, base_mc, upper_mc):
    upper_c = np.inf if upper_mc is None else upper_mc / 1000
    return np.clip(temp_c, base_mc / 1000, upper_c) - base_mc / 1000


@pytest.mark.parametrize(("base_mc", "upper_mc"), CASES)
def test_the_years_integral_is_numpys_trapezoid_on_minutes(year, base_mc, upper_mc):
    """A minute's trapezoid is wrong by an eighth of its rise at most, and only
    where it crosses a threshold: far less than a hundred-thousandth of a year.
    """
    minutes_ms, temp_c = on_minutes(year)
    expected_k_h = np.trapezoid(heat_c(temp_c, base_mc, upper_mc), minutes_ms / HOUR_MS)
    account = booked(year, base_mc, upper_mc).account()
    assert kelvin_hours(account.heat_mk_ms) == pytest.approx(expected_k_h, rel=1e-5)
    assert account.measured_ms == year[-1][0] - year[0][0]
    mean_c = account.warmth_mk_ms / account.measured_ms / 1000
    assert mean_c == pytest.approx(
        np.trapezoid(temp_c, minutes_ms) / (minutes_ms[-1] - minutes_ms[0]), abs=1e-6
    )


def test_the_days_integrals_are_numpys_too_and_add_up_to_the_year(year):
    minutes_ms, temp_c = on_minutes(year)
    heat = heat_c(temp_c, 10_000, 18_000)
    ledger = booked(year, 10_000, 18_000)
    days = ledger.days()
    assert len(days) == 365
    assert sum(day.heat_mk_ms for day in days) == ledger.account().heat_mk_ms
    for number in (0, 72, 180, 300, 364):
        inside = (minutes_ms >= minutes_ms[0] + number * DAY_MS) & (
            minutes_ms <= minutes_ms[0] + (number + 1) * DAY_MS
        )
        expected = np.trapezoid(heat[inside], minutes_ms[inside] / HOUR_MS)
        found = kelvin_hours(days[number].heat_mk_ms)
        assert found == pytest.approx(expected, abs=0.002)


def drawn_days(year, base_mc, upper_mc, curve):
    """Return each day's degree-days [K·d] by drawing it, all but the last day."""
    by_date = {}
    for at_ms, temp_mc in year:
        by_date.setdefault(at_ms // DAY_MS, []).append(temp_mc / 1000)
    lows = np.array([min(day) for day in by_date.values()])
    highs = np.array([max(day) for day in by_date.values()])
    drawn = curve(lows[:-1, None], highs[:-1, None], SHARES[None, ::10])
    return heat_c(drawn, base_mc, upper_mc).mean(axis=1)


CURVES = {
    DailyMethod.SINGLE_SINE: lambda low, high, at: (
        (low + high) / 2 + (high - low) / 2 * np.sin(2 * np.pi * at)
    ),
    DailyMethod.SINGLE_TRIANGLE: lambda low, high, at: (
        low + (high - low) * (1 - np.abs(2 * at - 1))
    ),
    DailyMethod.AVERAGE_1: lambda low, high, at: (low + high) / 2 + 0 * at,
}


@pytest.mark.parametrize("method", list(CURVES))
@pytest.mark.parametrize(("base_mc", "upper_mc"), CASES[:2])
def test_each_day_of_the_year_by_a_method_is_the_drawn_day(
    year, base_mc, upper_mc, method
):
    found = [pair[1] for pair in by_day(year, base_mc, upper_mc, method)]
    expected = drawn_days(year, base_mc, upper_mc, CURVES[method])
    np.testing.assert_allclose(found, expected, atol=2e-5)


@pytest.mark.parametrize(
    "method", [DailyMethod.SINGLE_SINE, DailyMethod.SINGLE_TRIANGLE]
)
def test_each_day_with_a_horizontal_cut_off_is_the_drawn_day(year, method):
    found = [pair[1] for pair in by_day(year, 10_000, 18_000, method)]
    expected = drawn_days(year, 10_000, 18_000, CURVES[method])
    np.testing.assert_allclose(found, expected, atol=2e-5)


@pytest.mark.parametrize(
    "method",
    [
        DailyMethod.SINGLE_TRIANGLE,
        DailyMethod.DOUBLE_TRIANGLE,
        DailyMethod.SINGLE_SINE,
        DailyMethod.DOUBLE_SINE,
    ],
)
def test_shapes_of_two_readings_stand_above_the_integral_within_bounds(year, method):
    """Nights are longer than noons: of these years most hours lie below the mean
    of a day's highest and lowest, which a wave or a triangle cannot know. They
    count more than there was, in every case here, by less than a sixth of it at
    base 10 °C; and no day is wrong by more than its mean is (below 1 K).
    """
    integral, by_method, worst = summary(year, 10_000, None, method)
    assert 1 < by_method / integral < 7 / 6
    assert worst < 1


def test_what_a_cutoff_means_matters_more_than_the_shape(year):
    totals = {
        cutoff: sum(
            pair[1]
            for pair in by_day(year, 10_000, 16_000, DailyMethod.SINGLE_SINE, cutoff)
        )
        for cutoff in Cutoff
    }
    assert totals[Cutoff.VERTICAL] <= totals[Cutoff.INTERMEDIATE]
    assert totals[Cutoff.INTERMEDIATE] < totals[Cutoff.HORIZONTAL]
