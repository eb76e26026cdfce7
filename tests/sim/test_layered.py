"""Three lags: against scipy and python-control, and where two say it all."""

import control
import numpy as np
import pytest
from scipy.linalg import expm, solve_discrete_are

from sim.fitting import models
from sim.fitting.fit import fit_zone, left_out
from sim.fitting.fitted import Noise
from sim.fitting.innovations import USUAL_COUPLING, best, held, zone_at
from sim.fitting.jackknife import spread
from sim.fitting.lasting import lasting
from sim.fitting.layered import PROVEN, Layered, lags_at, layered, rates_at
from sim.fitting.layered import _rows_at as rows_at
from sim.fitting.layered import held as held_of_three
from sim.fitting.layered import stepped as of_rates
from sim.fitting.models import by_days, led
from sim.fitting.sight import Sight, sight
from sim.zone_model import steps
from tests.sim.test_fitting import TRAY, a_log, a_record

MAT_S, BETWEEN_S, OUTER_S, RATIO = 900.0, 3_500.0, 6_500.0, 2e-3
WHERE = np.log([MAT_S, BETWEEN_S, OUTER_S, RATIO])
GAIN_K, OFFSET_K = 17.0, -1.0
PUSH_K_S, READING_K = 1e-4, 0.03


def continuous():
    """The same equations written down once more."""
    into = 2 * USUAL_COUPLING / MAT_S
    a = np.array(
        [
            [-1 / MAT_S, 1 / MAT_S, 0],
            [into, -into - 1 / BETWEEN_S, 1 / BETWEEN_S],
            [0, 1 / BETWEEN_S, -1 / BETWEEN_S - 1 / OUTER_S],
        ]
    )
    b = np.array([[1 / MAT_S, 0, 0], [0, 0, 0], [0, 1 / OUTER_S, 1]])
    b[0, 0] *= GAIN_K / -np.linalg.solve(a, b)[1, 0]
    return a, b


def stepped():
    a, b = continuous()
    block = np.zeros((6, 6))
    block[:3, :3], block[:3, 3:] = a, b
    exact = expm(60.0 * block)
    return exact[:3, :3], exact[:3, 3:]


def a_thermostats_log(days, seed):
    """A thermostat on such a medium, with nights 3 K lower."""
    rng = np.random.default_rng(seed)
    minute = np.arange(days * 1440)
    room = 13 + 4 * np.sin(2 * np.pi * minute / 1440)
    wanted = 22.0 - 3.0 * (minute % 1440 >= 960)
    carry, by = stepped()
    state, on = np.full(3, 20.0), 0.0
    said, on_share = np.empty(len(room)), np.empty(len(room))
    for n in range(len(room)):
        said[n] = state[1] + READING_K * rng.standard_normal()
        if abs(said[n] - wanted[n]) > 0.2:
            on = float(said[n] < wanted[n])
        on_share[n] = on
        push = PUSH_K_S * rng.standard_normal()
        state = carry @ state + by @ [on, room[n] + OFFSET_K, push]
    return a_record(said[:, np.newaxis], on_share, room)


@pytest.mark.oracle
def test_the_lags_are_those_of_python_control():
    a, b = continuous()
    poles = control.poles(control.ss(a, b, [[0, 1, 0]], np.zeros((1, 3)))).real
    assert lags_at(WHERE) == pytest.approx(np.sort(-1 / poles)[::-1])


def a_kalman_filter(carry, by, pushed):
    """Return what a probe offers, and the errors of a Kalman filter written out.

    scipy's solve_discrete_are gives the steady gain; the rest is a loop.

    Args:
        carry: What a step leaves of the state, whose second part is read.
        by: What heat and room add in a step.
        pushed: The covariance of what a push adds, for a reading's variance of 1.
    """
    size = len(carry)
    c = np.eye(size)[[1]]
    p = solve_discrete_are(carry.T, c.T, pushed, np.eye(1))
    gain = (carry @ p @ c.T / ((c @ p @ c.T)[0, 0] + 1))[:, 0]
    rng = np.random.default_rng(4)
    count = 20_000
    temps, on, room = rng.normal(20, 1, count), rng.random(count), rng.random(count)
    state, errors = np.zeros(size), np.empty(count)
    for n in range(count):
        errors[n] = temps[n] - state[1]
        state = carry @ state + by @ [on[n], room[n] + OFFSET_K] + gain * errors[n]
    seen = Sight(
        step_s=60.0,
        seen=1,
        spans=((0, count),),
        temps_c=temps,
        on_share=on,
        room_c=room,
        counts=np.ones(count, dtype=bool),
        day=np.zeros(count, dtype=np.int64),
    )
    return seen, errors


@pytest.mark.oracle
def test_errors_are_those_of_a_kalman_filter_written_out():
    carry, by = stepped()
    pushed = RATIO * by[:, 2]
    seen, theirs = a_kalman_filter(carry, by[:, :2], np.outer(pushed, pushed))
    ours = rows_at(seen, WHERE) @ [1.0, -GAIN_K, -1.0, -OFFSET_K]
    late = slice(10_000, None)  # how a window begins is projected out
    assert ours[late] == pytest.approx(theirs[late], abs=1e-6)


def test_three_lags_are_found_where_there_are_three():
    record = a_thermostats_log(7, seed=2)
    fit = fit_zone(record, 0)
    truth = lags_at(WHERE)
    assert fit.usable
    assert fit.slow_s.value == pytest.approx(truth[0], rel=0.1)
    assert fit.fast_s.value == pytest.approx(truth[2], rel=0.1)
    assert fit.gain_k.value == pytest.approx(GAIN_K, rel=0.05)
    assert fit.zone.gain_k == fit.gain_k.value
    seen = sight(record, 0)
    two = best(seen)
    three = layered(seen, two)
    stand_in = held(seen, three.gain_k, three.offset_k, two.where)
    assert zone_at(stand_in.where).lags_s[0] < 0.95 * truth[0]
    gained = np.log(np.sum(two.errors**2) / np.sum(three.errors**2))
    assert seen.counted * gained > 10 * PROVEN
    assert three.lags_s[1] == pytest.approx(truth[1], rel=0.2)
    # And three are what is replayed, in every replicate.
    assert fit.zone.lags_s == pytest.approx(three.lags_s)
    assert {one.parts for one in (fit.zone, *fit.replicates)} == {3}
    assert fit.covariance.shape == (7, 7)
    assert fit.noise == three.noise
    assert fit.noise.reading_k == pytest.approx(READING_K, rel=0.1)
    assert fit.noise.push_k_s == pytest.approx(PUSH_K_S, rel=0.2)
    delay_s = three.lags_s[1] / 2 + three.lags_s[2]  # the half rule
    assert fit.delay_s.value == pytest.approx(delay_s)
    assert fit.residuals.rms_k == pytest.approx(np.std(three.errors), rel=1e-3)


def test_a_zone_of_halves_is_what_was_fitted():
    zone = Layered(WHERE, GAIN_K, OFFSET_K, Noise(0, 0), np.zeros(1)).zone(
        "N1", at_mat=False
    )
    theirs, ours = of_rates(rates_at(WHERE), 60.0), steps(zone, 60.0)
    assert ours.carry == pytest.approx(theirs.carry)
    assert ours.by_heat == pytest.approx(GAIN_K * theirs.by_heat)
    assert ours.by_room == pytest.approx(theirs.by_room)
    assert ours.by_push == pytest.approx(theirs.by_push)
    assert zone.lags_s == pytest.approx(lags_at(WHERE))


def test_lags_that_swing_from_day_to_day_are_not_replayed(monkeypatch):
    """Two that stand for them are: with their gain, and told lags are of three."""
    monkeypatch.setattr(models, "_STEADY", 1e-3)
    record = a_thermostats_log(4, seed=2)
    seen = sight(record, 0)
    whole, anew = by_days(seen, left_out(record))
    three = layered(seen, best(seen))
    assert [one.three for one in (whole, *anew)] == [None] * 5
    assert whole.zone("N1").parts == 2
    assert whole.zone("N1").gain_k == three.gain_k
    assert whole.slow_s == three.lags_s[0] != pytest.approx(whole.zone("N1").lags_s[0])


def test_three_lags_with_a_given_gain_predict_as_well_as_such_lags_can():
    """Their own gain gives them back; another bends the times, none of them far."""
    seen = sight(a_thermostats_log(4, seed=2), 0)
    own = layered(seen, best(seen))
    again = held_of_three(seen, own.gain_k, own.offset_k, own)
    assert again.where == pytest.approx(own.where, abs=0.01)
    bent = held_of_three(seen, 1.1 * own.gain_k, own.offset_k, own)
    whole = [1.0, -bent.gain_k, -1.0, -bent.offset_k]
    assert bent.errors == pytest.approx(rows_at(seen, bent.where) @ whole)
    stays = rows_at(seen, own.where) @ whole
    assert np.sum(own.errors**2) < np.sum(bent.errors**2) < np.sum(stays**2)
    assert bent.lags_s[0] > own.lags_s[0]  # as much heat, and later
    assert bent.noise.reading_k == pytest.approx(own.noise.reading_k, rel=0.05)


def test_replicates_of_three_lags_are_led_to_where_a_push_lasts():
    record = a_thermostats_log(4, seed=2)
    seen = sight(record, 0)
    whole, by_day = by_days(seen, left_out(record))
    other, anew = lasting(seen, whole.two), led(seen, whole, by_day)
    place = held_of_three(seen, other.gain_k, other.offset_k, whole.three).where
    for one, before, way in zip(anew, by_day, spread(4), strict=True):
        moved = one.three.where - before.three.where
        assert moved == pytest.approx(way * (place - whole.three.where))
        gains = one.zone("N1").gain_k / before.zone("N1").gain_k
        assert gains == pytest.approx((other.gain_k / whole.two.gain_k) ** way)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_two_lags_are_kept_where_there_are_two(seed):
    seen = sight(a_log(seed=seed), 0)
    assert layered(seen, best(seen)) is None


def a_log_of_lingering_heat(days, seed, push_k_s=3e-4, lasts_s=7_200.0):
    """A thermostat on two lags, with heat that comes and goes over hours."""
    rng = np.random.default_rng(seed)
    minute = np.arange(days * 1440)
    room = 13 + 4 * np.sin(2 * np.pi * minute / 1440)
    step = steps(TRAY, 60.0)
    by = np.column_stack([step.by_heat, step.by_room, step.by_push])
    keeps = np.exp(-60.0 / lasts_s)
    state, on, push = np.array([18.0, 18.0]), 0.0, 0.0
    said, on_share = np.empty(len(room)), np.empty(len(room))
    for n in range(len(room)):
        said[n] = state[1] + 0.003 * rng.standard_normal()
        if abs(said[n] - 22.0) > 0.2:
            on = float(said[n] < 22.0)
        on_share[n] = on
        push = keeps * push + np.sqrt(1 - keeps**2) * push_k_s * rng.standard_normal()
        state = step.carry @ state + by @ [on, room[n] + TRAY.offset_k, push]
    return a_record(said[:, np.newaxis], on_share, room)


@pytest.mark.parametrize("seed", [2, 3])
def test_three_lags_whose_gain_runs_off_are_not_taken(seed):
    """They predict the next minute better, since heat lingers: that is no lag."""
    record = a_log_of_lingering_heat(8, seed)
    seen = sight(record, 0)
    two = best(seen)
    three = layered(seen, two)
    assert seen.counted * np.log(np.sum(two.errors**2) / np.sum(three.errors**2)) > 1e3
    fit = fit_zone(record, 0)
    assert fit.usable  # though what errs too much is not told
    assert fit.zone.gain_k == pytest.approx(two.gain_k)
    wrong = abs(three.gain_k - TRAY.gain_k)
    assert abs(fit.zone.gain_k - TRAY.gain_k) < 0.5 * wrong
