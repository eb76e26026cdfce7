"""A mat that leaks under a push that lasts: taken where a log shows it, else not."""

import json

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.signal import lfilter

from sim.fitting import leaking as leaks
from sim.fitting.fit import fit_mat, fit_zone, left_out
from sim.fitting.fitted import Noise
from sim.fitting.innovations import USUAL_COUPLING, best
from sim.fitting.jackknife import spread
from sim.fitting.layered import PROVEN, Layered, lags_at, layered
from sim.fitting.layered import _rows_at as rows_at
from sim.fitting.layered import held as held_of_three
from sim.fitting.leaking import leaking
from sim.fitting.model_file import read, written
from sim.fitting.models import by_days, led
from sim.fitting.sight import sight
from sim.fitting.smoother import smoothed
from sim.zone_model import steps
from tests.sim.test_fitting import a_record
from tests.sim.test_layered import a_kalman_filter

MAT_S, BETWEEN_S, OUTER_S, RATIO = 900.0, 3_500.0, 6_500.0, 2e-3
LEAK, LASTS_S = 0.25, 9_000.0
WHERE = np.array([*np.log([MAT_S, BETWEEN_S, OUTER_S, RATIO]), LEAK, np.log(LASTS_S)])
GAIN_K, OFFSET_K = 17.0, -1.0
PUSH_K_S, READING_K = 1e-4, 0.03
DAYS = 14


def stepped(leak=LEAK):
    """The same equations written down once more, and scipy's expm of them."""
    into = 2 * USUAL_COUPLING / MAT_S
    a = np.array(
        [
            [-(1 + leak) / MAT_S, 1 / MAT_S, 0],
            [into, -into - 1 / BETWEEN_S, 1 / BETWEEN_S],
            [0, 1 / BETWEEN_S, -1 / BETWEEN_S - 1 / OUTER_S],
        ]
    )
    b = np.array([[1 / MAT_S, leak / MAT_S, 0], [0, 0, 0], [0, 1 / OUTER_S, 1]])
    b[0, 0] *= GAIN_K / -np.linalg.solve(a, b)[1, 0]
    block = np.zeros((6, 6))
    block[:3, :3], block[:3, 3:] = a, b
    exact = expm(60.0 * block)
    lags_s = np.sort(-1 / np.linalg.eigvals(a).real)[::-1]
    return exact[:3, :3], exact[:3, 3:], lags_s


def a_leaky_log(days=DAYS, seed=2, leak=LEAK, lasts_s=LASTS_S):
    """A thermostat on such a mat, with nights 3 K lower."""
    rng = np.random.default_rng(seed)
    minute = np.arange(days * 1440)
    hourly = lfilter([0.25], [1, -0.97], rng.standard_normal(days * 24 + 1))
    weather = np.interp(minute / 60, np.arange(len(hourly)), hourly)
    room = 13 + 4 * np.sin(2 * np.pi * minute / 1440) + weather
    wanted = 22.0 - 3.0 * (minute % 1440 >= 960)
    carry, by, _ = stepped(leak)
    stays = np.exp(-60.0 / lasts_s) if lasts_s else 0.0
    state, on, push = np.full(3, 20.0), 0.0, 0.0
    said, on_share = np.empty(len(room)), np.empty(len(room))
    for n in range(len(room)):
        said[n] = state[1] + READING_K * rng.standard_normal()
        if abs(said[n] - wanted[n]) > 0.2:
            on = float(said[n] < wanted[n])
        on_share[n] = on
        push *= stays
        push += np.sqrt(1 - stays**2) * PUSH_K_S * rng.standard_normal()
        state = carry @ state + by @ [on, room[n] + OFFSET_K, push]
    return a_record(said[:, np.newaxis], on_share, room)


@pytest.fixture(scope="module")
def record():
    return a_leaky_log()


@pytest.fixture(scope="module")
def text(record):
    return written("season.db", (fit_mat(record),))


@pytest.mark.oracle
def test_errors_are_those_of_a_kalman_filter_written_out():
    """scipy's solve_discrete_are gives the steady gain; the push is a fourth state."""
    three, by, lags_s = stepped()
    assert lags_at(WHERE, LEAK) == pytest.approx(lags_s)
    carry = np.zeros((4, 4))
    carry[:3, :3], carry[:3, 3] = three, by[:, 2]
    carry[3, 3] = np.exp(-60.0 / LASTS_S)
    known = np.vstack([by[:, :2], np.zeros(2)])
    seen, theirs = a_kalman_filter(carry, known, np.diag([0, 0, 0, RATIO**2]))
    ours = rows_at(seen, WHERE) @ [1.0, -GAIN_K, -1.0, -OFFSET_K]
    late = slice(10_000, None)  # how a window begins is projected out
    assert ours[late] == pytest.approx(theirs[late], abs=1e-6)


def test_a_zone_with_a_leak_is_what_was_fitted():
    zone = Layered(WHERE, GAIN_K, OFFSET_K, Noise(0, 0), np.zeros(1)).zone(
        "N1", at_mat=False
    )
    (carry, by, lags_s), ours = stepped(), steps(zone, 60.0)
    assert ours.carry == pytest.approx(carry)
    assert ours.by_heat == pytest.approx(by[:, 0])
    assert ours.by_room == pytest.approx(by[:, 1])
    assert ours.by_push == pytest.approx(by[:, 2])
    assert zone.lags_s == pytest.approx(lags_s)


def test_it_is_found_where_it_is(record):
    seen = sight(record, 0)
    three = layered(seen, best(seen))
    found = leaking(seen, three)
    _, _, lags_s = stepped()
    gained = np.log(np.sum(three.errors**2) / np.sum(found.errors**2))
    assert seen.counted * gained > 10 * PROVEN
    assert three.gain_k > 1.04 * GAIN_K  # what leads astray without it
    assert found.lags_s[0] == pytest.approx(lags_s[0], rel=0.05)
    assert found.where[4] == pytest.approx(LEAK, abs=0.1)
    assert np.exp(found.where[5]) == pytest.approx(LASTS_S, rel=0.3)
    assert found.gain_k == pytest.approx(GAIN_K, rel=0.02)
    assert found.noise == three.noise  # a replay smooths the push as one that is new
    # And it is what is told and replayed, without any day as well.
    fit = fit_zone(record, 0)
    assert fit.usable and fit.noise == three.noise
    assert fit.zone.leak == found.where[4]
    assert fit.zone.lags_s == pytest.approx(found.lags_s)
    assert fit.gain_k.value == found.gain_k
    assert fit.slow_s.value == pytest.approx(found.lags_s[0])
    assert min(one.leak for one in fit.replicates) > 0
    # The model goes through the readings all the same.
    states = smoothed(fit.zone, record, 0, fit.noise).states
    assert np.std(states[:, 1] - record.temps_c[:, 0]) < 1.1 * READING_K


@pytest.mark.parametrize("seed", [1, 2])
def test_a_mat_that_does_not_leak_is_found_not_to(seed):
    seen = sight(a_leaky_log(seed=seed, leak=0.0), 0)
    found = leaking(seen, layered(seen, best(seen)))
    _, _, lags_s = stepped(0.0)
    assert 0 <= found.where[4] < LEAK / 2
    assert found.lags_s[0] == pytest.approx(lags_s[0], rel=0.05)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_push_that_is_new_in_each_step_shows_none(seed):
    seen = sight(a_leaky_log(seed=seed, leak=0.0, lasts_s=0.0), 0)
    assert leaking(seen, layered(seen, best(seen))) is None


def test_where_gains_differ_neither_is_believed_more(record, monkeypatch):
    monkeypatch.setattr(leaks, "AGREED", 1e-6)
    seen = sight(record, 0)
    three = layered(seen, best(seen))
    assert leaking(seen, three) is None
    fit = fit_zone(record, 0)
    assert fit.zone.leak == 0
    assert fit.gain_k.value == three.gain_k


def test_a_mat_that_leaks_without_bound_is_none():
    place = WHERE.copy()
    place[4] = 0.9995
    assert Layered(WHERE, GAIN_K, OFFSET_K, Noise(0, 0), np.zeros(1)).credible
    assert not Layered(place, GAIN_K, OFFSET_K, Noise(0, 0), np.zeros(1)).credible


def test_replicates_are_led_to_where_nothing_leaks_or_lasts(record):
    seen = sight(record, 0)
    whole, by_day = by_days(seen, left_out(record))
    plain, anew = layered(seen, best(seen)), led(seen, whole, by_day)
    stand_in = held_of_three(seen, plain.gain_k, plain.offset_k, whole.three)
    away = stand_in.where - whole.three.where
    for one, before, way in zip(anew, by_day, spread(DAYS), strict=True):
        moved = one.three.where - before.three.where
        assert moved == pytest.approx(way * away, abs=1e-6)
        gains = one.zone("N1").gain_k / before.zone("N1").gain_k
        assert gains == pytest.approx((plain.gain_k / whole.three.gain_k) ** way)
        slow = np.log(one.slow_s / before.slow_s)
        expected = way * np.log(plain.lags_s[0] / whole.three.lags_s[0])
        assert slow == pytest.approx(expected)


def test_a_leak_is_read_back(text):
    (fit,) = read(text)
    assert written("season.db", (fit,)) == text
    (zone,) = fit.zones
    assert zone.zone.leak > 0 and zone.covariance.shape == (7, 7)
    assert {one.leak > 0 for one in zone.replicates} == {True}


def test_a_file_from_before_a_mat_leaked_is_read(text):
    whole = json.loads(text)
    whole["version"] = 2
    known = whole["mats"][0]["zones"][0]
    known["covariance"] = [row[:6] for row in known["covariance"][:6]]
    for numbers in (known["zone"], *known["replicates"]):
        del numbers["leak"]
    (fit,) = read(json.dumps(whole))
    (zone,) = fit.zones
    assert {one.leak for one in (zone.zone, *zone.replicates)} == {0.0}
    assert zone.zone.parts == 3 and zone.covariance.shape == (6, 6)
