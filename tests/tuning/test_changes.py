"""What differs between two ways of keeping a mat, and as text."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.settings import quantities
from controller.cli.asked import as_toml, temperature_text
from controller.core.plan import DrivenBy, OnOff, Pid, StepPlan
from controller.core.units import MilliC, MilliK, Millis
from sim.tuning.changes import changes
from tests.tuning.mats import NORTH, at


def test_what_is_alike_changes_nothing():
    assert changes(NORTH, NORTH) == {}


def test_single_keys_are_said_with_their_units():
    other = at(22.5, 19.0, driven_by=DrivenBy.MEDIAN, driving_tray=None)
    other = replace(other, policy=Pid(0.7, 5_400.0, 0.0, Millis(900_000)))
    assert as_toml(changes(NORTH, other), fahrenheit=False) == {
        "setpoint": '"22.5 °C"',
        "night_setpoint": '"19 °C"',
        "driven_by": '"median"',
        "cycle": '"15 min"',
        "pid.gain_per_k": "0.7",
        "pid.integral_time": '"90 min"',
    }


def test_a_new_policy_says_all_that_goes_with_it():
    other = replace(NORTH, policy=OnOff(MilliK(300)), ramp_mk_per_h=None)
    assert as_toml(changes(NORTH, other), fahrenheit=False) == {
        "policy": '"on-off"',
        "differential": '"0.3 K"',
        "cycle": None,
        "pid.gain_per_k": None,
        "pid.integral_time": None,
        "pid.derivative_time": None,
        "min_on": '"2 min"',
        "min_off": '"2 min"',
        "ramp": '"none"',
    }
    back = as_toml(changes(other, NORTH), fahrenheit=False)
    assert back["differential"] is None
    assert back["ramp"] == '"3 K/h"'


def test_a_night_that_goes_and_a_programme_that_stays():
    assert changes(at(21.0, 18.0), at(21.0)) == {"night_setpoint": None}
    steps = (StepPlan(MilliC(24_000), days=10.0), StepPlan(MilliC(18_000)))
    own = replace(NORTH, programme=steps)
    assert changes(own, replace(own, min_on_ms=Millis(90_000))).keys() == {"min_on"}


@given(st.integers(5_000, 30_000), st.booleans())
def test_a_temperature_is_read_again_as_the_very_same(milli, fahrenheit):
    text = temperature_text(milli, fahrenheit=fahrenheit)
    assert quantities.temperature(text).milli == milli


@pytest.mark.parametrize(("milli", "text"), [(23_889, "75 °F"), (20_278, "68.5 °F")])
def test_a_fahrenheit_setpoint_stays_round(milli, text):
    assert temperature_text(milli, fahrenheit=True) == text
