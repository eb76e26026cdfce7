"""Limit cycles and describing functions against closed forms and python-control."""

import math

import control
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.review.limit_cycle import (
    describing_function,
    on_off_cycle,
    relay_cycle,
    ultimate,
)
from controller.review.simc import Model

pytestmark = pytest.mark.oracle

TENTH = Model(gain_k=1, lag_s=10, delay_s=1)

models = st.builds(
    Model, st.floats(2, 40), st.floats(600, 40_000), st.floats(30, 3_000)
)


def simulated(model, hysteresis_k, step_s):
    """Return amplitude and period under a relay of one, stepped exactly."""
    left = math.exp(-step_s / model.lag_s)
    waiting = [1.0] * round(model.delay_s / step_s)
    temp_k, relay, crossed, peak_k = 0.0, 1.0, [], 0.0
    at = 0
    while len(crossed) < 12:
        if relay * temp_k > hysteresis_k:
            relay = -relay
            crossed.append(at * step_s)
            peak_k = 0.0
        waiting.append(relay)
        goal_k = model.gain_k * waiting.pop(0)
        temp_k = goal_k + (temp_k - goal_k) * left
        peak_k = max(peak_k, abs(temp_k))
        at += 1
    waiting_s = crossed[-1] - crossed[-3]
    for _ in range(round(model.delay_s / step_s) + 1):
        waiting.append(relay)
        goal_k = model.gain_k * waiting.pop(0)
        temp_k = goal_k + (temp_k - goal_k) * left
        peak_k = max(peak_k, abs(temp_k))
    return peak_k, waiting_s


@pytest.mark.parametrize("hysteresis_k", [0.0, 0.05])
def test_the_relays_cycle_is_what_stepping_it_gives(hysteresis_k):
    found = relay_cycle(TENTH, 1.0, hysteresis_k)
    size_k, period_s = simulated(TENTH, hysteresis_k, 1e-4)
    assert found.size == pytest.approx(size_k, abs=1e-4)
    assert found.period_s == pytest.approx(period_s, abs=1e-3)


@given(model=models, share=st.floats(0.1, 0.9), band_k=st.floats(0.02, 1.0))
def test_on_off_and_relay_are_one_cycle_where_both_ends_are_equally_far(
    model, share, band_k
):
    band_k = min(band_k, 0.5 * share * model.gain_k)
    middle_c = 10 + model.gain_k / 2
    found = on_off_cycle(model, 10.0, middle_c - band_k / 2, middle_c + band_k / 2)
    relay = relay_cycle(
        Model(model.gain_k, model.lag_s, model.delay_s), 0.5, band_k / 2
    )
    assert found.on_s == pytest.approx(found.off_s)
    assert found.on_s + found.off_s == pytest.approx(relay.period_s)
    assert (found.peak_c - found.trough_c) / 2 == pytest.approx(relay.size)
    assert found.duty == pytest.approx(0.5)
    assert found.operations_a_day == pytest.approx(86_400 / relay.period_s)


@given(
    amplitude=st.floats(0.051, 50), height=st.floats(0.1, 5), dead=st.floats(0, 0.05)
)
def test_the_describing_function_is_python_controls(amplitude, height, dead):
    """control.relay_hysteresis_nonlinearity; both follow the textbook formula."""
    theirs = control.relay_hysteresis_nonlinearity(height, dead)
    expected = theirs.describing_function(amplitude)
    assert describing_function(amplitude, height, dead) == pytest.approx(expected)


@given(model=models, second_s=st.sampled_from([0.0, 60.0, 900.0]))
def test_the_ultimate_gain_is_where_the_phase_is_half_a_turn(model, second_s):
    """The frequency response itself, by numpy: gain 1 and phase -180° together."""
    model = Model(model.gain_k, model.lag_s, model.delay_s, second_s)
    found = ultimate(model)
    s = 2j * np.pi / found.period_s
    loop = found.size * model.gain_k * np.exp(-s * model.delay_s)
    loop /= (1 + s * model.lag_s) * (1 + s * second_s)
    assert loop == pytest.approx(-1, abs=1e-9)


def test_the_describing_function_misjudges_a_thermostat():
    """Why the exact cycle is used: with hysteresis it is off by two fifths."""
    cycle, true = relay_cycle(TENTH, 1.0, 0.05), ultimate(TENTH)
    by_sine = abs(describing_function(cycle.size, 1.0, 0.0))
    assert by_sine / true.size < 0.6
    assert cycle.period_s / true.period_s > 1.4


def test_a_lag_without_delay_never_oscillates():
    with pytest.raises(ValueError, match="delay_s = 0"):
        ultimate(Model(18, 9_000, 0))


@pytest.mark.parametrize(
    ("low", "high"), [(9.9, 22.0), (22.0, 28.1), (23.0, 22.0), (10.0, 22.0)]
)
def test_a_band_that_heat_never_leaves_is_refused(low, high):
    with pytest.raises(ValueError, match=r"between the room, 10\.0 °C"):
        on_off_cycle(Model(18, 9_000, 600), 10.0, low, high)


@pytest.mark.parametrize("hysteresis_k", [1.0, -0.1, float("nan")])
def test_a_hysteresis_that_is_never_passed_is_refused(hysteresis_k):
    with pytest.raises(ValueError, match="hysteresis_k"):
        relay_cycle(TENTH, 1.0, hysteresis_k)


@pytest.mark.parametrize(("amplitude", "dead"), [(0.0, 0.0), (0.1, 0.2), (1.0, -0.1)])
def test_a_sine_that_switches_nothing_is_refused(amplitude, dead):
    with pytest.raises(ValueError, match="switches from that amplitude"):
        describing_function(amplitude, 1.0, dead)


def test_two_lags_have_no_closed_form():
    two = Model(18, 9_000, 600, 60)
    with pytest.raises(ValueError, match="one lag"):
        on_off_cycle(two, 10.0, 21.9, 22.1)
    with pytest.raises(ValueError, match="one lag"):
        relay_cycle(two, 1.0)
