"""Lines stand for curves until surfaces, the room or the water have moved."""

from dataclasses import replace

import numpy as np
import pytest

from sim.holds import Holds
from sim.options import DRIED_MM, MOVED_K, full_world
from sim.surface import Line
from sim.tops import Tops
from tests.sim.lean_to import HOUR, MINUTE

USUAL = full_world()
ROOM_C, LAYER_C = 14.0, np.array([22.0, 20.0])
DARK = np.zeros(2)
J_MM = 2.45e6
"""What a millimetre takes with it from a square metre: FAO-56's latent heat."""


def a_top(mm_per_day=0.0):
    """Return tops that lose 10 W/m²K and so much water, drawn where they are."""
    dry = Line(np.full(2, 10.0), np.full(2, 10.0), np.zeros(2))
    latent = Line(np.zeros(2), np.zeros(2), np.full(2, mm_per_day * J_MM / 86_400))
    up = np.full(2, 40.0)
    at_c = (up * LAYER_C + dry.by_room * ROOM_C - latent.rest) / (up + dry.by_surface)
    return Tops(up, at_c, ROOM_C, (dry, latent))


def seen(ends, *, layer_k=0.0, room_k=0.0, light=0.0):
    """Return so many ends, all of them changed at the last one."""
    layer, rooms_c = np.tile(LAYER_C, (ends, 1)), np.full(ends, ROOM_C)
    shone = np.zeros((ends, 2))
    layer[-1, 1] += layer_k
    rooms_c[-1] += room_k
    shone[-1] += light
    return layer, rooms_c, shone


def test_where_nothing_moves_they_are_drawn_anew_after_an_hour():
    holds = Holds(USUAL)
    assert holds.good(a_top(), *seen(3)) == 3
    assert holds.good(a_top(), *seen(3)) == 2
    assert holds.good(a_top(), *seen(1)) == 0
    holds.begin()
    assert holds.good(a_top(), *seen(9)) == 5


@pytest.mark.parametrize("sign", [1, -1])
def test_a_surface_a_room_or_light_that_moves_ends_them(sign):
    """A surface goes 4/5 of the way of its layer, and 1 W/m² is 1/50 K."""
    for what, enough in (
        ("layer_k", MOVED_K / 0.8),
        ("room_k", MOVED_K),
        ("light", MOVED_K * 50),
    ):
        for share, good in ((0.99, 4), (1.01, 3)):
            holds = Holds(USUAL)
            moved = seen(4, **{what: sign * share * enough})
            assert holds.good(a_top(), *moved) == good


def test_water_that_goes_ends_them_however_its_ends_are_told():
    """At 6 mm a day a tenth of one is gone after 24 minutes."""
    assert Holds(USUAL).good(a_top(6.0), *seen(5)) == 2
    holds = Holds(USUAL)
    assert [holds.good(a_top(6.0), *seen(1)) for _ in range(3)] == [1, 1, 0]
    holds.begin()
    assert holds.good(a_top(-6.0), *seen(5)) == 2


def test_moved_by_nothing_they_are_drawn_anew_each_time():
    holds = Holds(replace(USUAL, moved_k=0.0))
    assert holds.good(a_top(), *seen(4)) == 0
    assert Holds(full_world(hold_ms=HOUR)).good(a_top(), *seen(4)) == 0


def test_holds_that_do_not_fill_an_hour_stay_below_it():
    options = full_world(hold_ms=7 * MINUTE)
    assert (options.most_holds, options.longest_ms) == (8, 56 * MINUTE)
    assert Holds(options).good(a_top(), *seen(20)) == 7


def test_they_are_right_for_the_water_amid_the_longest_time_they_are_held():
    holds = Holds(USUAL)
    going = np.array([1.2, 0.0, -1.2, 24.0, -24.0]) * J_MM / 86_400
    share = 0.4
    expected = share * np.array([0.05, 0.0, -0.05, DRIED_MM, -DRIED_MM])
    assert holds.ahead_mm(going) == pytest.approx(expected)
    brief = Holds(replace(USUAL, moved_k=0.0))
    assert brief.ahead_mm(going[:1]) == pytest.approx([share * 0.05 / 6])


def test_a_bench_without_trays_holds_until_its_room_has_moved():
    none = np.zeros(0)
    line = Line(none, none, none)
    tops = Tops(none, none, ROOM_C, (line, line))
    rooms_c = np.array([ROOM_C, ROOM_C, ROOM_C + 2 * MOVED_K])
    bare = np.zeros((3, 0))
    assert Holds(USUAL).good(tops, bare, rooms_c, bare) == 2
