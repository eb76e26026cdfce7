"""On-off regulation of a plant with dead time against its closed form."""

import math
from collections import deque
from dataclasses import dataclass
from itertools import pairwise

import pytest

from controller.core.plan import OnOff
from controller.core.regulate import on_off
from controller.review.limit_cycle import on_off_cycle
from controller.review.simc import Model

pytestmark = pytest.mark.oracle


@dataclass(frozen=True)
class Case:
    """A first-order plant with dead time, its thermostat, and how it is stepped."""

    gain_k: float
    lag_s: float
    delay_s: float
    room_c: float
    setpoint_c: float
    differential_k: float
    step_s: float

    @property
    def hot_c(self):
        return self.room_c + self.gain_k

    @property
    def band_c(self):
        half_k = self.differential_k / 2
        return self.setpoint_c - half_k, self.setpoint_c + half_k


def regulated(case, cycles):
    """Return highest, lowest [°C] and switching times [s] of the last cycles."""
    policy = OnOff(round(case.differential_k * 1000))
    setpoint_mc = round(case.setpoint_c * 1000)
    on_its_way = deque([False] * round(case.delay_s / case.step_s))
    left = math.exp(-case.step_s / case.lag_s)
    temp_c, demand, at = case.setpoint_c, False, 0
    temps, switches = [], []
    while len(switches) < 2 * cycles + 3:
        before = demand
        demand = on_off(policy, setpoint_mc, round(temp_c * 1000), demand)
        if demand is not before:
            switches.append((at * case.step_s, demand))
        if len(switches) > 2:
            temps.append(temp_c)
        on_its_way.append(demand)
        goal_c = case.hot_c if on_its_way.popleft() else case.room_c
        temp_c = goal_c + (temp_c - goal_c) * left
        at += 1
    return max(temps), min(temps), switches[2:]


@pytest.mark.parametrize(
    "case",
    [
        Case(18, 9_000, 600, 12, 22, 0.25, 1.0),
        Case(18, 9_000, 600, 12, 22, 1.0, 1.0),
        Case(18, 9_000, 600, 12, 27, 0.25, 1.0),
        Case(25, 3_600, 120, 10, 20, 0.5, 0.5),
        Case(2, 10, 1, 19, 20, 0.1, 0.001),  # a relay of ±1 K about the middle
    ],
    ids=["tray", "wide-band", "near-full-heat", "light-tray", "symmetric"],
)
def test_thermostat_cycles_as_the_closed_form_says(case):
    """Peak, trough, time on and time off, to a step and the thousandth of a degree
    in which temperatures are told.
    """
    model = Model(case.gain_k, case.lag_s, case.delay_s)
    expected = on_off_cycle(model, case.room_c, *case.band_c)
    highest_c, lowest_c, switches = regulated(case, cycles=3)
    low_c, high_c = case.band_c
    fastest = max(case.hot_c - lowest_c, highest_c - case.room_c) / case.lag_s
    slowest = min(case.hot_c - high_c, low_c - case.room_c) / case.lag_s
    slack_k = fastest * case.step_s + 0.0015
    assert highest_c == pytest.approx(expected.peak_c, abs=slack_k)
    assert lowest_c == pytest.approx(expected.trough_c, abs=slack_k)
    slack_s = 2 * case.step_s + 2 * 0.0015 / slowest
    assert slack_s < 0.012 * (expected.on_s + expected.off_s), "or it would say little"
    for (begin_s, demand), (end_s, _) in pairwise(switches):
        expected_s = expected.on_s if demand else expected.off_s
        assert end_s - begin_s == pytest.approx(expected_s, abs=slack_s)
