"""A push that lasts: against scipy, and what it adds to the errors that are said."""

import numpy as np
import pytest
from scipy.linalg import expm

from sim.fitting.fit import fit_zone
from sim.fitting.innovations import USUAL_COUPLING, best
from sim.fitting.jackknife import jackknife_error, spread
from sim.fitting.lasting import LASTS_S, LEAK, lasting, lasting_step
from sim.fitting.models import by_days, led
from sim.fitting.sight import sight
from tests.sim.test_fitting import TRAY, a_log
from tests.sim.test_layered import a_log_of_lingering_heat

MAT_S, BETWEEN_S, OUTER_S, RATIO = 900.0, 3_500.0, 6_500.0, 2e-3
WHERE = np.log([MAT_S, BETWEEN_S, OUTER_S, RATIO])
STEP_S = 60.0


@pytest.mark.oracle
def test_a_step_is_scipys_matrix_exponential():
    into = 2 * USUAL_COUPLING / MAT_S
    a = np.array(
        [
            [-(1 + LEAK) / MAT_S, 1 / MAT_S, 0],
            [into, -into - 1 / BETWEEN_S, 1 / BETWEEN_S],
            [0, 1 / BETWEEN_S, -1 / BETWEEN_S - 1 / OUTER_S],
        ]
    )
    b = np.array([[1 / MAT_S, LEAK / MAT_S, 0], [0, 0, 0], [0, 1 / OUTER_S, 1]])
    b[0, 0] /= -np.linalg.solve(a, b)[1, 0]  # 1 K at full power
    block = np.zeros((6, 6))
    block[:3, :3], block[:3, 3:] = a, b
    exact = expm(block * STEP_S)
    step = lasting_step(WHERE, STEP_S)
    assert step.carry[:3, :3] == pytest.approx(exact[:3, :3])
    assert step.by_heat == pytest.approx([*exact[:3, 3], 0.0])
    assert step.by_room == pytest.approx([*exact[:3, 4], 0.0])
    # The push stands still within a step, then fades; what is new comes into it.
    assert step.carry[:, 3] == pytest.approx([*exact[:3, 5], np.exp(-60 / LASTS_S)])
    assert step.by_push == pytest.approx([0, 0, 0, 1])
    assert np.sort(step.decay) == pytest.approx(
        np.sort(np.linalg.eigvals(step.carry).real)
    )


@pytest.mark.parametrize("count", [2, 3, 7, 30, 31])
def test_replicates_are_led_so_that_their_variance_is_that_of_what_leads(count):
    ways = spread(count)
    assert ways.sum() == pytest.approx(0.0, abs=1e-12)
    assert jackknife_error(ways)[0] == pytest.approx(1.0)


def test_a_lone_replicate_is_not_led():
    assert spread(1).tolist() == [0.0]


@pytest.mark.parametrize("seed", [2, 3])
def test_heat_that_lingers_is_told_as_an_error(seed):
    """Days left out all share what is wrong: their errors alone are too small."""
    record = a_log_of_lingering_heat(8, seed)
    seen, fit = sight(record, 0), fit_zone(record, 0)
    way = np.log(lasting(seen, best(seen)).gain_k / fit.zone.gain_k)
    error = np.sqrt(fit.covariance[0, 0])  # of ln gain
    assert error > 0.6 * abs(way)
    assert abs(np.log(fit.zone.gain_k / TRAY.gain_k)) < 2.45 * error
    # The slow lag is out by half as much again: better none than that.
    assert fit.zone.lags_s[0] > 1.4 * TRAY.lags_s[0]
    assert fit.slow_s.value is None
    assert "to last for hours" in fit.slow_s.why


def test_replicates_are_without_days_and_led_towards_a_push_that_lasts():
    record = a_log(days=4, seed=1, night_k=3.0)
    seen = sight(record, 0)
    blocks = [record.local_day == day for day in range(4)]
    whole, by_day = by_days(seen, blocks)
    anew = led(seen, whole, by_day)
    gains = [np.log([one.two.gain_k for one in many]) for many in (by_day, anew)]
    way = np.log(lasting(seen, whole.two).gain_k / whole.two.gain_k)
    assert gains[1] - gains[0] == pytest.approx(spread(4) * way)
    slow = [np.log([one.slow_s for one in many]) for many in (by_day, anew)]
    other = lasting(seen, whole.two).lags_s[0]
    assert slow[1] - slow[0] == pytest.approx(spread(4) * np.log(other / whole.slow_s))


def test_a_push_that_does_not_last_adds_little():
    seen = sight(a_log(days=4, seed=1, night_k=3.0), 0)
    two = best(seen)
    other = lasting(seen, two)
    assert other.gain_k == pytest.approx(two.gain_k, rel=0.1)
