"""Light and unmeasured heat: the same at a minute however one comes to it."""

import numpy as np
import pytest

from sim.light import DULLEST, Given, Light, Unmeasured

DAY = 1440


def test_the_sun_shines_by_day_highest_at_noon_and_differs_by_day_and_seed():
    light = Light(3, 0, 200.0, sun_hours=(480, 1020))
    days = light.over(0, 20 * DAY).reshape(20, DAY)
    assert (days[:, :480] == 0).all()
    assert (days[:, 1020:] == 0).all()
    assert (abs(days.argmax(axis=1) - 750) <= 1).all()
    peaks = days.max(axis=1)
    assert (peaks <= 200).all()
    assert (peaks >= 200 * DULLEST * 0.999).all()
    assert len(set(peaks.round(6))) == 20
    other = Light(4, 0, 200.0, sun_hours=(480, 1020)).over(0, 20 * DAY)
    assert not np.allclose(other, days.ravel())


def test_a_clear_day_gives_what_half_a_sine_gives():
    """Integral of half a sine: peak * length * 2 / pi."""
    light = Light(3, 0, 200.0, sun_hours=(480, 1020))
    day = light.over(0, DAY)
    peak = light.over(749, 2).mean()
    assert day.sum() == pytest.approx(peak * 540 * 2 / np.pi, rel=1e-4)


def test_a_lamp_is_on_in_its_hours_by_the_clock_on_the_wall():
    light = Light(1, 540, 0.0, 80.0, lamp_hours=(600, 720))
    course = light.over(0, DAY)
    assert np.flatnonzero(course).tolist() == list(range(60, 180))
    assert course[60] == light.at(60) == 80.0


@pytest.mark.parametrize("start", [0, 540, 1439])
def test_light_minute_by_minute_is_light_at_once(start):
    once = Light(2, start, 100.0, 20.0).over(100, 4000)
    again = Light(2, start, 100.0, 20.0)
    assert once == pytest.approx([again.at(100 + n) for n in range(4000)])


def test_unmeasured_heat_has_its_size_its_time_and_no_mean():
    """An Ornstein-Uhlenbeck process: rms, and correlation exp(-t / T)."""
    course = np.vstack([Unmeasured(s, 4, 1.5, 2.0).over(0, DAY) for s in range(60)])
    assert course.mean() == pytest.approx(0, abs=0.1)
    assert np.sqrt((course**2).mean()) == pytest.approx(1.5, rel=0.05)
    days = course.reshape(60, DAY, 4)
    product = (days[:, :-120] * days[:, 120:]).mean()
    assert product / (course**2).mean() == pytest.approx(np.exp(-1), abs=0.05)
    trays = np.corrcoef(course.T)
    assert np.abs(trays - np.eye(4)).max() < 0.2


def test_unmeasured_heat_minute_by_minute_is_that_at_once():
    once = Unmeasured(7, 3, 1.0, 2.0).over(0, 3 * DAY)
    again = Unmeasured(7, 3, 1.0, 2.0)
    assert (once == [again.at(minute) for minute in range(3 * DAY)]).all()
    cut, late = Unmeasured(7, 3, 1.0, 2.0), Unmeasured(7, 3, 1.0, 2.0)
    parts = [cut.over(at, 240) for at in range(0, 3 * DAY, 240)]
    assert (np.vstack(parts) == once).all()
    assert (late.over(2 * DAY, 10) == once[2 * DAY : 2 * DAY + 10]).all()


def test_a_cover_takes_from_the_sky_but_not_from_what_is_said():
    given = Given(Light(1, 0, 0, 100.0), Unmeasured(1, 2, 0.0, 2.0), np.array([1, 0.9]))
    given.besides[1] = 50.0
    assert given.at(700).tolist() == pytest.approx([100.0, 140.0, 0.0, 0.0])
    assert given.over(700, 3)[2] == pytest.approx(given.at(702))
