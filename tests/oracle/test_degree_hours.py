"""Degree-hours of the core against closed forms and a published table."""

import math

import pytest

from controller.core.state import ThermalAccount
from controller.core.thermal_time import add_sample
from controller.core.units import DAY_MS, HOUR_MS, kelvin_hours

pytestmark = pytest.mark.oracle


def counted(samples, base_mc, upper_mc=None, stale_ms=DAY_MS):
    """Return the account after samples of (hours, °C)."""
    account = ThermalAccount(base_mc, upper_mc)
    for at_h, temp_c in samples:
        at_ms, temp_mc = round(at_h * HOUR_MS), round(temp_c * 1000)
        account = add_sample(account, at_ms, temp_mc, stale_ms)
    return account


# ----------------------------------------------------------------- closed forms
# Worked by hand: the area between the line and the base, under the upper cut-off.


@pytest.mark.parametrize(
    ("samples", "k_h"),
    [
        ([(0, 22), (10, 22)], 120),  # level: 12 K for 10 h
        ([(0, 10), (6, 22)], 36),  # ramp from the base: 12 K · 6 h / 2
        ([(0, 6), (8, 14)], 8),  # ramp through it: 4 K · 4 h / 2
        ([(0, 14), (8, 6)], 8),  # and down again
        ([(0, 2), (8, 10)], 0),  # ramp up to it
        ([(0, 15), (4, 25)], 40),  # ramp above it: 10 K · 4 h
        ([(0, 8), (5, 8), (5 + 1e-6, 20), (11, 20)], 60),  # step: 10 K for 6 h
    ],
)
def test_ramps_and_steps_hold_the_area_above_the_base(samples, k_h):
    account = counted(samples, 10_000)
    assert kelvin_hours(account.heat_mk_ms) == pytest.approx(k_h, abs=1e-4)
    assert account.measured_ms == round(samples[-1][0] * HOUR_MS)
    assert account.gaps == 0


@pytest.mark.parametrize(
    ("samples", "k_h"),
    [
        ([(0, 30), (10, 30)], 100),  # level above the cut-off: 10 K for 10 h
        ([(0, 10), (10, 30)], 75),  # 10 K · 5 h / 2, then 10 K for 5 h
        ([(0, 0), (9, 30)], 45),  # 3 h nothing, 10 K · 3 h / 2, 10 K for 3 h
        ([(0, 30), (9, 0)], 45),
        ([(0, 10), (4, 20)], 20),  # up to the cut-off: as without one
    ],
)
def test_horizontal_cut_off_takes_the_area_above_it_away(samples, k_h):
    account = counted(samples, 10_000, 20_000)
    assert kelvin_hours(account.heat_mk_ms) == k_h


def test_sine_day_sampled_every_minute_meets_its_integral():
    """Base at the lowest temperature: the mean height times the day; base at the
    mean: amplitude / pi times the day (by hand, the integral of a half wave).
    """
    samples = [
        (minute / 60, 20 - 5 * math.cos(2 * math.pi * minute / 1440))
        for minute in range(1441)
    ]
    for base_mc, k_h in ((15_000, 5 * 24), (20_000, 5 * 24 / math.pi)):
        found = kelvin_hours(counted(samples, base_mc, stale_ms=120_000).heat_mk_ms)
        assert found == pytest.approx(k_h, abs=0.01)


def test_gap_is_left_out_and_the_rest_is_as_if_it_had_not_been():
    """Straight lines of 12 K, 2 h before and 3 h after 7 h of silence."""
    samples = [(hour / 10, 22) for hour in range(21)]
    samples += [(9 + hour / 10, 22) for hour in range(31)]
    account = counted(samples, 10_000, stale_ms=HOUR_MS)
    assert kelvin_hours(account.heat_mk_ms) == 12 * 5
    assert (account.gap_ms, account.gaps) == (7 * HOUR_MS, 1)
    assert account.measured_ms == 5 * HOUR_MS


# ------------------------------------------------------------ a published table


LOWER_F, UPPER_F = 55, 90
ZALOM_TABLE_7 = [
    (96, 110, 91, 35, 35),
    (91, 105, 96, 35, 35),
    (45, 54, 38, 0, 0),
    (38, 50, 45, 0, 0),
    (60, 80, 75, 15, 18.75),
    (75, 88, 60, 26.5, 22.75),
    (50, 82, 45, 11.39, 10.62),
    (45, 70, 50, 4.5, 5.06),
    (60, 100, 75, 23.75, None),
    (75, 95, 60, 29.38, 25.76),
    (50, 101, 48, 19.56, 19.19),
    (48, 95, 50, 16.76, 17.13),
]
"""Zalom et al. 1983, UC Leaflet 21373, Table 7, °F with thresholds 55 and 90 and
a horizontal cut-off: lowest, highest, next lowest, single triangle, double
triangle; as coded in the test data of the R package degday (zalom83_tbl7). The
double triangle of the ninth row is left out: the printed 24.88 does not follow
from the method, which gives 27.13, and that package leaves it out as well."""


def to_mc(temp_f):
    return (temp_f - 32) * 5000 / 9


def straight_line_day(low_f, high_f, end_f):
    """Return a day [K·d] of straight lines: up for 12 h and down for 12 h.

    Whole degrees Fahrenheit are ninths of a kelvin, so readings are spoken in
    units of nine thousandths to be whole numbers.
    """
    ninths = [round(to_mc(temp_f) * 9) for temp_f in (low_f, high_f, end_f)]
    account = ThermalAccount(round(to_mc(LOWER_F) * 9), round(to_mc(UPPER_F) * 9))
    for at_h, temp in zip((0, 12, 24), ninths, strict=True):
        account = add_sample(account, at_h * HOUR_MS, temp, DAY_MS)
    return kelvin_hours(account.heat_mk_ms) / 9 / 24


def printed(degree_days_f, *, else_k=0.0001):
    """Return degree-days [°F·d], to 0.005 as printed and a little else, in [K·d]."""
    return pytest.approx(degree_days_f * 5 / 9, abs=0.005 * 5 / 9 + else_k)


@pytest.mark.parametrize(("low", "high", "end", "single", "double"), ZALOM_TABLE_7)
def test_straight_line_day_is_the_triangle_of_zalom(low, high, end, single, double):
    """Up and down again is the single triangle; down to the next day's lowest
    temperature it is the double one. (The leaflet rounds halves as it likes:
    10.625 is printed 10.62, 5.0625 as 5.06, 29.375 as 29.38.)
    """
    assert straight_line_day(low, high, low) == printed(single)
    if double is not None:
        assert straight_line_day(low, high, end) == printed(double)


def test_readings_in_whole_thousandths_move_a_day_by_one_at_most():
    """The same table with readings and thresholds in thousandths of a degree
    Celsius: half a thousandth for each of them.
    """
    base, upper = round(to_mc(LOWER_F)), round(to_mc(UPPER_F))
    for low, high, _, single, _ in ZALOM_TABLE_7:
        samples = [(0, to_mc(low) / 1000), (12, to_mc(high) / 1000)]
        account = counted([*samples, (24, to_mc(low) / 1000)], base, upper)
        assert kelvin_hours(account.heat_mk_ms) / 24 == printed(single, else_k=0.001)
