"""What happens to trays and probes, held against balances of heat."""

import copy
import math
from dataclasses import replace

import numpy as np
import pytest

from sim.bench import COVERED, Standing, mat_network
from sim.media import WATER_J_M3K, medium
from sim.probes import AIR_LAG_S, IN_PLACE, ON_MAT, in_air
from sim.world import World, WorldOptions, full_world
from tests.sim.lean_to import (
    BOTH_OFF,
    BOTH_ON,
    DAY,
    HOUR,
    MINUTE,
    NORTH,
    PLAN,
    a_tray,
    a_world,
    flat_room,
)

DUMB = replace(
    PLAN,
    mats=tuple(
        replace(mat, surface=(), trays=tuple(replace(t, probes=()) for t in mat.trays))
        for mat in PLAN.mats
    ),
    room=(),
)
"""The bench without its probes, whose days pass faster."""

STILL = {"room_csv": flat_room(14), "unevenness": 0, "evaporation_mm": 0.0}
AREA_M2 = COVERED**2 * NORTH.length_mm * NORTH.width_mm / 1e6 / len(NORTH.trays)


def a_warm_world(plan=DUMB):
    """A world after a day of heat, so that nothing is as warm as the room."""
    world = a_world(plan, **STILL)
    world.advance(DAY, BOTH_ON)
    return world


def said(world, probe, lasting_ms, energised=BOTH_OFF):
    """What a probe says in a time, by its time [°C]."""
    readings = world.advance(world.now_ms + lasting_ms, energised).readings
    return [(r.at_ms, r.milli / 1000) for r in readings if r.probe == probe]


# ------------------------------------------------------------------------ water


@pytest.mark.parametrize("mm", [0.5, 8.0, 60.0])
def test_water_takes_as_much_heat_as_the_medium_loses(mm):
    world = a_warm_world()
    before = world.layers("N3")
    out_c = world.pour("N3", mm, 5.0)
    lost_k = sum(before) - sum(world.layers("N3"))
    stuff = medium("peat-perlite").heat_capacity()
    layer_j_k = AREA_M2 * 0.060 / len(before) * stuff
    carried_j = AREA_M2 * mm / 1000 * WATER_J_M3K * (out_c - 5.0)
    assert layer_j_k * lost_k == pytest.approx(carried_j)
    assert lost_k > 0


def test_the_top_is_cooled_most_by_cold_water_and_nothing_else_is():
    world = a_warm_world()
    before = {tray: world.layers(tray) for tray in ("N1", "N2", "S1")}
    world.pour("N1", 6.0, 8.0)
    drops = [b - a for b, a in zip(before["N1"], world.layers("N1"), strict=True)]
    assert drops == sorted(drops)
    assert drops[0] > 0
    for tray in ("N2", "S1"):
        assert world.layers(tray) == pytest.approx(before[tray], abs=1e-9)


def test_water_as_warm_as_the_medium_changes_nothing():
    world = a_world(start_temp_c=14.0, **STILL)
    world.pour("N1", 20.0, 14.0)
    assert world.layers("N1") == pytest.approx((14.0, 14.0, 14.0), abs=1e-9)


def test_very_much_water_leaves_its_own_warmth():
    world = a_warm_world()
    world.pour("N1", 10_000.0, 9.0)
    assert world.layers("N1") == pytest.approx((9.0, 9.0, 9.0), abs=0.3)


def test_a_wet_top_cools_its_tray_until_it_is_dry_again():
    wet, dry = a_warm_world(), a_warm_world()
    wet.evaporate("N1", 3.0)
    for world in (wet, dry):
        world.advance(world.now_ms + 6 * HOUR, BOTH_OFF)
    assert wet.truth("N1") < dry.truth("N1") - 0.5
    wet.evaporate("N1", None)
    for world in (wet, dry):
        world.advance(world.now_ms + 4 * DAY, BOTH_OFF)
    assert wet.truth("N1") == pytest.approx(dry.truth("N1"), abs=0.01)


# ------------------------------------------------------------------------- sun


def test_sun_gives_a_tray_the_heat_that_it_then_loses():
    """In a steady state the losses to the room equal what the sun gives."""
    world = a_world(DUMB, start_temp_c=14.0, **STILL)
    world.shine("N2", 300.0)
    world.advance(8 * DAY, BOTH_OFF)
    net = mat_network(NORTH).network
    temps = np.array(world._warmth.heat.temps("north"))
    assert float(net.ground @ (temps - 14.0)) == pytest.approx(300.0 * AREA_M2)


def test_sun_of_300_watts_raises_the_top_most_and_by_many_kelvin():
    world = a_warm_world()
    before = world.layers("N2")
    world.shine("N2", 300.0)
    world.advance(world.now_ms + 3 * HOUR, BOTH_OFF)
    rises = [a - b for b, a in zip(before, world.layers("N2"), strict=True)]
    assert rises[-1] > 8
    assert rises == sorted(rises)
    world.shine("N2", 0.0)
    world.advance(world.now_ms + 8 * DAY, BOTH_OFF)
    assert world.truth("N2") == pytest.approx(14.0, abs=0.05)


# ----------------------------------------------------------------- tray lifted


def test_a_lifted_tray_decays_by_itself_with_its_own_time_constant():
    """The slowest mode of its three layers, from the network by hand."""
    world = a_warm_world()
    world.lift("N2")
    world.advance(world.now_ms + 12 * HOUR, BOTH_ON)
    early_k = np.array(world.layers("N2")) - 14.0
    world.advance(world.now_ms + 2 * HOUR, BOTH_ON)
    late_k = np.array(world.layers("N2")) - 14.0
    net = mat_network(NORTH, Standing(lifted=frozenset({"N2"})))
    own = list(net.trays["N2"].layers)
    matrix = net.network.conductances[np.ix_(own, own)]
    rates = np.linalg.eigvals(matrix / net.network.capacity[own][:, np.newaxis])
    expected = math.exp(-min(rates.real) * 2 * 3600)
    assert late_k / early_k == pytest.approx([expected] * 3, rel=0.01)


def test_under_a_lifted_tray_the_mat_is_bare_and_its_neighbours_lose_little():
    lifted, standing = a_warm_world(), a_warm_world()
    lifted.lift("N2")
    for world in (lifted, standing):
        world.advance(world.now_ms + DAY, BOTH_ON)
    # The heat goes to the air through 0.10 m²K/W: hardly warmer than 10 K per
    # 100 W/m², and much cooler than under a tray.
    assert lifted.surface("north") < standing.surface("north") - 8
    assert abs(lifted.truth("N1") - standing.truth("N1")) < 1.5
    assert lifted.truth("N2") < 14.5


def test_a_tray_that_was_put_back_is_as_if_it_never_had_been_off():
    back, always = a_warm_world(), a_warm_world()
    back.lift("N2")
    back.advance(back.now_ms + 20 * MINUTE, BOTH_ON)
    back.put_back("N2")
    always.advance(always.now_ms + 20 * MINUTE, BOTH_ON)
    assert back.truth("N2") < always.truth("N2") - 0.3
    for world in (back, always):
        world.advance(world.now_ms + 4 * DAY, BOTH_ON)
    for tray in ("N1", "N2", "N3"):
        assert back.truth(tray) == pytest.approx(always.truth(tray), abs=0.01)


def test_lifting_and_putting_back_in_one_moment_changes_nothing():
    world = a_warm_world()
    before = world.layers("N2")
    world.lift("N2")
    world.lift("N1")
    world.put_back("N2")
    world.put_back("N1")
    assert world.layers("N2") == pytest.approx(before, abs=1e-9)


def test_its_probe_goes_with_a_tray():
    world = a_warm_world(PLAN)
    world.lift("N2")
    last_c = said(world, "N2", 10 * HOUR, BOTH_ON)[-1][1]
    assert last_c == pytest.approx(world.truth("N2"), abs=0.3)


def test_a_tray_on_no_mat_may_be_lifted_too():
    world = a_world(replace(PLAN, trays=(a_tray("sill"),)), start_temp_c=20, **STILL)
    world.lift("sill")
    world.advance(3 * DAY, BOTH_OFF)
    assert world.truth("sill") == pytest.approx(14.0, abs=0.1)


# --------------------------------------------------------------------- medium


def test_a_dry_medium_warms_faster_and_carries_heat_worse():
    dry, moist = (a_world(DUMB, start_temp_c=14.0, **STILL) for _ in range(2))
    dry.dry("N1", 0.2)
    for world in (dry, moist):
        world.advance(HOUR, BOTH_ON)
    assert dry.layers("N1")[0] > moist.layers("N1")[0] + 0.5
    for world in (dry, moist):
        world.advance(4 * DAY, BOTH_ON)
    spans = [world.layers("N1")[0] - world.layers("N1")[-1] for world in (dry, moist)]
    assert spans[0] > 1.5 * spans[1]


def test_drying_out_and_wetting_leaves_the_temperatures_of_that_moment():
    world = a_warm_world()
    before = world.layers("N1")
    world.dry("N1", 0.2)
    assert world.layers("N1") == pytest.approx(before, abs=1e-9)
    world.dry("N1", 1.0)
    assert world.layers("N1") == pytest.approx(before, abs=1e-9)


# ----------------------------------------------------------------- probe, room


def test_a_probe_in_the_air_follows_it_as_a_lag_of_first_order():
    world = a_warm_world(PLAN)
    from_c = said(world, "N2", MINUTE)[-1][1]
    start_ms = world.now_ms
    world.move_probe("N2", in_air(2.0))
    for at_ms, shown_c in said(world, "N2", 20 * MINUTE):
        share = math.exp(-(at_ms - start_ms) / 1000 / AIR_LAG_S)
        expected_c = 16.0 + (from_c - 16.0) * share
        assert shown_c == pytest.approx(expected_c, abs=0.25)
    assert share < 1e-5


def test_a_probe_put_back_reads_its_tray_again():
    world = a_warm_world(PLAN)
    world.move_probe("N2", in_air(0.0))
    world.advance(world.now_ms + HOUR, BOTH_ON)
    world.move_probe("N2", IN_PLACE)
    shown_c = said(world, "N2", HOUR, BOTH_ON)[-1][1]
    assert shown_c == pytest.approx(world.truth("N2"), abs=0.25)


def test_a_probe_on_the_mat_reads_the_part_under_its_own_tray():
    world = a_world(**STILL)
    world.move_probe("N2", ON_MAT)
    shown_c = said(world, "N2", DAY, BOTH_ON)[-1][1]
    # N2 is the middle tray: the surface probe lies under it.
    assert shown_c == pytest.approx(world.surface("north"), abs=0.25)
    assert shown_c > world.truth("N2") + 5


def test_a_door_left_open_makes_the_room_colder_until_it_is_shut():
    world = a_warm_world()
    world.shift_room(-8.0)
    assert world.room_c() == pytest.approx(6.0)
    world.advance(world.now_ms + 20 * MINUTE, BOTH_OFF)
    assert world.room_c() == pytest.approx(6.0)
    world.shift_room(0.0)
    assert world.room_c() == pytest.approx(14.0)


def test_happenings_do_not_depend_on_how_time_is_cut():
    whole, cut = a_warm_world(PLAN), a_warm_world(PLAN)
    for world, step_ms in ((whole, HOUR), (cut, 7_000)):
        world.pour("N1", 8.0, 8.0)
        world.lift("N2")
        world.move_probe("N3", in_air(1.0))
        world.shine("S1", 200.0)
        until_ms = world.now_ms + HOUR
        while world.now_ms < until_ms:
            world.advance(min(until_ms, world.now_ms + step_ms), BOTH_ON)
    for tray in ("N1", "N2", "N3", "S1"):
        assert whole.truth(tray) == pytest.approx(cut.truth(tray), abs=1e-9)
    assert said(whole, "N3", HOUR) == said(cut, "N3", HOUR)


@pytest.mark.parametrize("options", [WorldOptions(), full_world()])
def test_what_happens_to_a_copy_is_what_would_have_happened(options):
    """Campaigns keep settled benches, pickled."""
    world = World(PLAN, options)
    world.advance(5 * HOUR, BOTH_ON)
    dull = copy.deepcopy(world)
    copied = copy.deepcopy(world)
    for one in (world, copied):
        one.shine("S1", 500.0)
        one.evaporate("N1", 10.0)
        one.pour("N3", 8.0, 8.0)
        one.lift("N2")
    for one in (world, copied, dull):
        one.advance(8 * HOUR, BOTH_ON)
    for tray in ("N1", "N2", "N3", "S1", "S2"):
        assert copied.truth(tray) == pytest.approx(world.truth(tray), abs=1e-9)
    assert copied.truth("S1") > dull.truth("S1") + 2
    assert copied.layers("N1")[-1] < dull.layers("N1")[-1] - 0.5


@pytest.mark.parametrize("options", [{}, {"drying": True}], ids=["plain", "drying"])
@pytest.mark.parametrize(
    ("happens", "says"),
    [
        (lambda world: world.pour("N1", -5.0, 12.0), "water in mm = -5.0: must be"),
        (lambda world: world.pour("N1", math.nan, 12.0), "water in mm = nan: must"),
        (lambda world: world.pour("N1", 5.0, math.nan), "water in °C = nan: must"),
        (lambda world: world.dry("N1", 1.5), "share of water = 1.5: must be from 0"),
        (lambda world: world.evaporate("N1", -1.0), "evaporation in mm a day = -1.0"),
        (lambda world: world.shine("N1", -20.0), "light in W/m² = -20.0: must be"),
        (lambda world: world.shift_room(math.inf), "shift of the room in K = inf"),
    ],
)
def test_what_cannot_happen_is_refused_and_changes_nothing(options, happens, says):
    world, spared = a_world(**STILL | options), a_world(**STILL | options)
    with pytest.raises(ValueError, match=says):
        happens(world)
    for one in (world, spared):
        one.advance(HOUR, BOTH_ON)
    assert world.layers("N1") == spared.layers("N1")
