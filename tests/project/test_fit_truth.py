"""The fit-truth campaign in small: bounds well above what many seeds show."""

import control
import numpy as np
import pytest

from sim.fitting.fit import fit_zone
from tests.campaigns import fit_truth as campaign
from tests.campaigns.rc_trays import (
    DAY,
    FULL_POWER,
    LOGGED,
    a_room,
    rc_tray,
    saturated_nights,
    unmeasured,
)

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
"""Compiling the closed loop takes some seconds."""


def fitted(seed, excitation, *, common=True):
    log = campaign.logged(seed, excitation, common=common)
    return log, [fit_zone(log.record, index) for index in (0, 1)]


@pytest.mark.parametrize("excitation", LOGGED)
def test_a_week_of_a_bench_of_three_capacities_is_understood(excitation):
    """Measured over 20 seeds of the first: lags 7 to 8 %, gain 3 %, rms."""
    log, fits = fitted(1, excitation)
    for fit, tray in zip(fits, log.trays, strict=True):
        assert fit.usable
        assert fit.slow_s.value == pytest.approx(tray.lags_s[0], rel=0.25)
        assert fit.fast_s.value == pytest.approx(tray.lags_s[-1], rel=0.2)
        assert fit.gain_k.value == pytest.approx(tray.gain_k, rel=0.15)
        assert abs(fit.offset_k.value) < 1.2


@pytest.mark.parametrize("excitation", LOGGED)
@pytest.mark.parametrize("weeks", ["quiet", "fresh", "the log's own"])
def test_other_policies_are_predicted(excitation, weeks):
    found = []
    for seed in (1, 2):
        log, fits = fitted(seed, excitation)
        found.append(campaign.misses(log, fits, seed, weeks))
    heat, saturated, duty, switches = np.array(found).reshape(-1, 4).T
    assert campaign.rms(heat) < 0.03
    assert campaign.rms(saturated) < 0.08
    assert campaign.rms(duty) < 0.06
    assert campaign.rms(switches) < 0.12


@pytest.mark.oracle
def test_the_truth_is_what_it_is_said_to_be():
    """The steady state by hand, as resistances; the lags by python-control."""

    class Nominal:
        def standard_normal(self):
            return 0.0

    tray = rc_tray(Nominal())
    through = 1 / (1 / 1.5 + 1 / 2.4 + 1 / 1.3)
    lower_k = 22 * through / (0.30 + through) * (1 / 2.4 + 1 / 1.3)
    assert tray.gain_k == pytest.approx(lower_k)
    a = np.array(
        [
            [-1.8 / 1500, 1.5 / 1500, 0],
            [1.5 / 9400, -3.9 / 9400, 2.4 / 9400],
            [0, 2.4 / 9400, -3.7 / 9400],
        ]
    )
    poles = control.poles(control.ss(a, [[1], [0], [0]], [[0, 1, 0]], 0)).real
    assert tray.lags_s == pytest.approx(np.sort(-1 / poles)[::-1])
    rng = np.random.default_rng(0)
    heat = unmeasured(200_000, rng)
    assert heat.std() == pytest.approx(1.0, rel=0.1)
    assert np.corrcoef(heat[120:], heat[:-120])[0, 1] == pytest.approx(
        np.exp(-1), abs=0.1
    )
    assert 5 < a_room(28, rng).min() < a_room(28, rng).max() < 24


def test_a_saturated_night_is_long_at_full_power_and_still_short():
    policy = FULL_POWER
    on, temps = np.zeros(4 * DAY), np.full(4 * DAY, 27.0)
    on[23 * 60 : 30 * 60] = 1.0  # seven hours, through midnight
    on[DAY + 23 * 60 : DAY + 28 * 60] = 1.0  # five
    on[2 * DAY + 22 * 60 : 2 * DAY + 31 * 60] = 1.0  # nine, but warm enough
    temps[2 * DAY + 22 * 60 :] = 27.9
    found = np.flatnonzero(saturated_nights(on, temps, policy))
    assert found[[0, -1]].tolist() == [21 * 60, 31 * 60 - 1]
    assert len(found) == 10 * 60


def test_a_cell_that_misses_its_aim_has_a_star():
    assert campaign.marked(0.0051, 0.005, 2) == "0.51 %*"
    assert campaign.marked(0.0049, 0.005, 2) == "0.49 % "
    assert campaign.rms([3.0, np.nan, 4.0]) == pytest.approx(np.sqrt(12.5))
