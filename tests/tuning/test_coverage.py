"""What a log covers, and what lies outside of it."""

import numpy as np
import pytest

from sim.tuning.coverage import coverage, outside, too_much_heat
from tests.tuning.mats import NORTH, a_record, at

STEADY = np.full(3 * 1440, 21.0)


def test_what_was_held_for_an_hour_counts_and_what_was_passed_does_not():
    temps = STEADY.copy()
    temps[:50], temps[1000:1100], temps[2000:2100] = 30.0, 17.0, 24.0
    seen = coverage(a_record(temps), NORTH)
    assert (seen.low_c, seen.high_c) == (17.0, 24.0)
    assert not seen.narrow


def test_one_setpoint_is_little():
    seen = coverage(a_record(STEADY), NORTH)
    assert seen.narrow
    assert outside(at(22.0), seen) == ""
    assert outside(at(22.1), seen) == "a setpoint warmer than the log covers"
    assert outside(at(21.0, 19.9), seen) == "a setpoint colder than the log covers"


def test_a_season_of_one_setpoint_that_began_cold_is_little_too():
    season = np.full(60 * 1440, 21.0)
    season[:600] = np.linspace(12.0, 21.0, 600)
    seen = coverage(a_record(season), NORTH)
    assert seen.low_c < 13.0
    assert seen.narrow
    season[720::1440], season[721::1440] = 18.0, 18.0  # water: minutes of each day
    assert coverage(a_record(season), NORTH).narrow
    for day in range(20, 24):
        season[day * 1440 : day * 1440 + 480] = 18.0
    assert not coverage(a_record(season), NORTH).narrow


def test_it_is_that_of_the_tray_that_drives():
    both = np.column_stack([STEADY - 4, STEADY])
    assert coverage(a_record(both), NORTH).low_c == 21.0
    other = at(21.0, driving_tray="N1")
    assert coverage(a_record(both), other).low_c == 17.0


def test_heat_is_compared_over_six_hours():
    share = np.full(len(STEADY), 0.3)
    share[720:1080] = 0.9
    seen = coverage(a_record(STEADY, share), NORTH)
    assert seen.duty == pytest.approx((0.3, 0.9))
    assert too_much_heat(0.95, seen) == ""
    assert too_much_heat(1.05, seen) == "more heat than the log covers"
    assert too_much_heat(0.15, seen) == "less heat than the log covers"


def test_without_a_driving_temperature_nothing_is_covered():
    with pytest.raises(ValueError, match=r"^mat north: no driving temperature"):
        coverage(a_record(np.full(2000, np.nan)), NORTH)
