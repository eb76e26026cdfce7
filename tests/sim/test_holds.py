"""Lines stand for curves until they are off, too much water is gone, or time."""

from dataclasses import replace

import numpy as np
import pytest

from sim.holds import Holds
from sim.options import DRIED, OFF_K, full_world
from tests.sim.lean_to import HOUR, MINUTE

USUAL = full_world(hold_ms=10 * MINUTE)
J_MM = 2.45e6
"""What a millimetre takes with it from a square metre: FAO-56's latent heat."""


DEPTH_MM = np.array([60.0, 120.0])


def w_m2(mm_per_day):
    return np.array(mm_per_day) * J_MM / 86_400


def begun(options=USUAL, left_mm=(20.0, 20.0)):
    holds = Holds(options, DEPTH_MM[: len(left_mm)])
    holds.begin(np.array(left_mm))
    return holds


def passed(holds, ends, *, off_k=0.0, mm_per_day=0.0):
    """Return how many of so many ends pass; one tray is off at the last."""
    off = np.zeros((ends, 2))
    off[-1, 1] = off_k
    return holds.let_pass(off, holds.gone_mm(np.full((ends, 2), w_m2(mm_per_day))))


def test_where_nothing_moves_they_are_drawn_anew_after_an_hour_and_a_half():
    holds = begun()
    assert passed(holds, 4) == 4
    assert not holds.over
    assert passed(holds, 6) == 4
    assert holds.over
    assert passed(holds, 1) == 0
    holds.begin(np.array([20.0, 20.0]))
    assert not holds.over
    assert passed(holds, 12) == 8


@pytest.mark.parametrize("sign", [1, -1])
def test_one_surface_that_is_off_ends_them(sign):
    assert passed(begun(), 4, off_k=sign * 0.99 * OFF_K) == 4
    assert passed(begun(), 4, off_k=sign * 1.01 * OFF_K) == 3


def test_water_that_goes_or_falls_ends_them_however_ends_are_told():
    """At 6 mm a day 0.09 mm are gone after 21.6 minutes: 0.0015 of 60 mm."""
    assert pytest.approx(0.0015) == DRIED
    assert passed(begun(), 5, mm_per_day=6.0) == 2
    assert passed(begun(), 5, mm_per_day=-6.0) == 2
    assert passed(begun(), 5, mm_per_day=[0.0, 6.0]) == 4
    holds = begun()
    assert [passed(holds, 1, mm_per_day=6.0) for _ in range(3)] == [1, 1, 0]
    holds.begin(np.array([20.0, 20.0]))
    assert passed(holds, 1, mm_per_day=6.0) == 1


def test_half_of_the_last_water_ends_them():
    """At 1.2 mm a day 0.05 mm go in an hour."""
    assert passed(begun(), 8, mm_per_day=1.2) == 8
    assert passed(begun(left_mm=(20.0, 0.05)), 8, mm_per_day=1.2) == 3
    assert passed(begun(left_mm=(20.0, 0.0)), 8, mm_per_day=0.0) == 8


def test_never_off_by_anything_they_are_drawn_anew_each_time():
    for options in (replace(USUAL, off_k=0.0), full_world(hold_ms=HOUR)):
        holds = begun(options)
        assert holds.over
        assert passed(holds, 4) == 0


def test_holds_that_do_not_fill_the_longest_time_stay_below_it():
    options = full_world(hold_ms=7 * MINUTE)
    assert (options.most_holds, options.longest_ms) == (12, 84 * MINUTE)
    assert passed(begun(options), 20) == 11


def test_they_are_right_for_the_water_amid_the_longest_time_they_are_held():
    """Not for dew: where it only may fall, nothing is wetter yet."""
    share, holds = 0.4, begun()
    for going, expected in (
        ((0.8, 0.4), (0.05, 0.025)),
        ((0.0, -0.8), (0.0, 0.0)),
        ((24.0, 24.0), (0.09, 0.18)),
    ):
        ahead = share * np.array(expected)
        assert holds.ahead_mm(w_m2(going)) == pytest.approx(ahead)
    brief = begun(replace(USUAL, off_k=0.0))
    assert brief.ahead_mm(w_m2([0.8, 0.0])) == pytest.approx([share * 0.05 / 9, 0.0])


def test_no_more_than_half_of_what_is_left_may_go_while_they_are_held():
    """16 mm a day are one in an hour and a half."""
    most = begun().most_of(w_m2([16.0, 16.0]), np.array([4.0, 0.0]))
    assert most == pytest.approx([2.0, 0.0])
    assert (begun().most_of(w_m2([0.0, -5.0]), np.array([1.0, 1.0])) > 1).all()


def test_a_bench_without_trays_holds_as_long_as_may_be():
    holds, bare = begun(left_mm=()), np.zeros((12, 0))
    assert holds.let_pass(bare, holds.gone_mm(bare)) == 8
