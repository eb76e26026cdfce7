"""Settings, sums and prices as they are typed."""

from dataclasses import replace

import pytest

from controller.cli.asked import mat_with, rooting
from controller.cli.prices import AskedError, price
from controller.core.plan import DrivenBy, Night, OnOff, Pid
from controller.core.units import MilliK, Millis
from sim.tuning.figures import Rooting
from tests.tuning.mats import NORTH, at


@pytest.mark.parametrize(
    ("pairs", "expected"),
    [
        ([], NORTH),
        (["setpoint=22°C"], at(22.0)),
        (["setpoint = 71.6 °F", "night_setpoint=18 °C"], at(22.0, 18.0)),
        (["driven_by=median"], at(21, driven_by=DrivenBy.MEDIAN, driving_tray=None)),
        (["driven_by=N1"], at(21, driving_tray="N1")),
        (
            ["night=21:00-05:30", "night_setpoint=18 °C"],
            at(21, 18, night=Night(1260, 330)),
        ),
        (["ramp=none"], at(21, ramp_mk_per_h=None)),
        (
            ["min_on=90 s", "min_off=3 min"],
            at(21, min_on_ms=90_000, min_off_ms=180_000),
        ),
        (
            ["pid.gain_per_k=0.7", "pid.integral_time=90 min", "cycle=15 min"],
            at(21, policy=Pid(0.7, 5_400.0, 0.0, Millis(900_000))),
        ),
        (
            ["policy=on-off", 'differential="0.5 K"'],
            at(
                21,
                policy=OnOff(MilliK(500)),
                ramp_mk_per_h=None,
                min_on_ms=120_000,
                min_off_ms=120_000,
            ),
        ),
    ],
)
def test_a_mat_with_other_settings(pairs, expected):
    assert mat_with(NORTH, pairs) == expected


def test_a_night_can_go():
    assert mat_with(at(21.0, 18.0), ["night_setpoint=none"]) == at(21.0)


def test_of_the_same_policy_what_is_not_said_stays():
    own = replace(NORTH, policy=OnOff(MilliK(300)), ramp_mk_per_h=5_000)
    assert mat_with(own, ["setpoint=22 °C"]).policy == OnOff(MilliK(300))
    back = mat_with(own, ["policy=pid"])
    assert (back.policy, back.ramp_mk_per_h, back.min_on_ms) == (Pid(), 3_000, 60_000)


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (["setpoint=22"], "--set setpoint=22: write a temperature with its unit"),
        (["setpoint"], "--set setpoint: write KEY=VALUE, such as setpoint=22°C"),
        (["cutout=30 °C"], "a model answers for policy, setpoint"),
        (["setpoint=22 °C", "setpoint=23 °C"], "--set setpoint: it is said twice"),
        (["policy=bang"], '--set policy=bang: write "on-off" or "pid"'),
        (["differential=1 K"], '--set differential: it belongs to policy = "on-off"'),
        (["night=21:00-05:30"], "--set night: there is no night_setpoint, so it does"),
        (
            ["night_setpoint=none", "night=21:00-05:30"],
            "--set night: there is no night_setpoint",
        ),
        (["pid.gain_per_k=much"], "--set pid.gain_per_k=much: write a number"),
    ],
)
def test_what_makes_no_sense_is_refused(pairs, says):
    with pytest.raises(AskedError) as caught:
        mat_with(NORTH, pairs)
    assert says in str(caught.value)


def test_a_price_has_a_free_currency():
    assert price("0.30 per kWh").of(5.0) == "1.50"
    assert price("0.30 EUR per kWh").of(5.0) == "1.50 EUR"
    assert price("2 shells per kWh").of(5.0) == "10.00 shells"


@pytest.mark.parametrize("text", ["0.30", "cheap", "0.30 per day", "-1 per kWh"])
def test_no_price_is_refused(text):
    with pytest.raises(AskedError, match="write what a kilowatt-hour costs"):
        price(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("3200 K·h above 10 °C", Rooting(3200.0, 10_000)),
        ("3200 K h above 10 °C", Rooting(3200.0, 10_000)),
        ("5760 °F·h above 50 °F", Rooting(3200.0, 10_000)),
    ],
)
def test_a_sum_and_its_base(text, expected):
    assert rooting(text) == expected


@pytest.mark.parametrize(
    "text", ["3200", "3200 K·h", "3200 K·h above 10", "0 K·h above 1 °C"]
)
def test_no_sum_is_refused(text):
    with pytest.raises(AskedError, match="write the sum and its base"):
        rooting(text)
