"""The full world: what differs when it dries, is covered, shone on and lifted."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.plan import Plan
from sim.drying import Evaporation
from sim.season import season
from sim.surface import Cover, Film
from sim.watering import Watering
from sim.world import World, WorldOptions, full_world
from tests.sim.lean_to import (
    BOTH_OFF,
    BOTH_ON,
    DAY,
    HOUR,
    MINUTE,
    PLAN,
    a_tray,
    a_world,
    flat_room,
)

QUIET = full_world(
    room_csv=flat_room(14), sun_w_m2=0, unmeasured_w=0, unevenness=0, waterings=()
)


def a_full_world(**changes):
    return World(PLAN, replace(QUIET, **changes))


def test_default_options_are_plain_and_full_ones_are_not():
    assert WorldOptions().plain
    assert not WorldOptions(sun_w_m2=1).plain
    assert not WorldOptions(cover_by_tray={"N1": Cover.VENTED}).plain
    assert not WorldOptions(sun_w_m2=1).changes
    assert full_world().changes
    assert not full_world().plain


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"layers": 0}, "layers"),
        ({"humidity": 1.2}, "humidity"),
        ({"sun_w_m2": -1}, "sun_w_m2"),
        ({"hold_ms": 7_200_000}, "hold_ms"),
        ({"off_k": -0.1}, "off_k = -0.1"),
        ({"unmeasured_h": 0}, "unmeasured_h"),
        ({"sun_hours": (900, 600)}, "sun_hours"),
        ({"lamp_hours": (0, 1441)}, "lamp_hours"),
        ({"seed": -1}, "seed = -1"),
        ({"start_minute_of_day": 1440}, "start_minute_of_day = 1440"),
        ({"start_temp_c": float("nan")}, "start_temp_c = nan"),
        ({"evaporation_mm": -0.5}, "evaporation_mm = -0.5: must be from 0 to 30"),
        ({"evaporation_by_tray": {"N1": -3.0}}, r"evaporation_by_tray\['N1'\] = -3.0"),
        ({"unevenness": 1.0}, "unevenness = 1.0: must be from 0 to 0.2"),
        ({"noise_k": -0.1}, "noise_k"),
        ({"lag_s": -1}, "lag_s"),
    ],
)
def test_options_out_of_range_are_refused_by_name(wrong, says):
    with pytest.raises(ValueError, match=says):
        full_world(**wrong)


def test_there_is_no_option_of_another_name():
    with pytest.raises(TypeError, match="shine"):
        full_world(shine=3)


def test_a_cover_of_a_tray_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="N9"):
        a_full_world(cover_by_tray={"N9": Cover.CLOSED})


@pytest.mark.slow
@given(cuts=st.lists(st.integers(1, 3 * HOUR - 1), max_size=25))
@settings(max_examples=10, deadline=None)
def test_a_full_world_does_not_depend_on_how_time_is_cut(cuts):
    often = (Watering(mm=5, temp_c=11, at_minute=10 * 60),)
    whole, cut = (a_world(**_named(full_world(waterings=often))) for _ in range(2))
    wanted = whole.advance(3 * HOUR, BOTH_ON).readings
    readings = []
    for at_ms in [*sorted(cuts), 3 * HOUR]:
        readings += cut.advance(at_ms, BOTH_ON).readings
        cut.ledger()
    assert tuple(readings) == wanted
    assert cut.truth("N2") == pytest.approx(whole.truth("N2"), abs=1e-9)
    assert cut.gone_mm("N2") == pytest.approx(whole.gone_mm("N2"), abs=1e-9)


def _named(options):
    return {name: getattr(options, name) for name in WorldOptions.__slots__}


def test_the_same_seed_gives_the_same_world_and_another_seed_another():
    def said(seed):
        world = World(PLAN, full_world(seed=seed))
        return world.advance(8 * HOUR, BOTH_ON).readings

    assert said(5) == said(5) != said(6)


@pytest.mark.slow
def test_evaporation_falls_from_day_to_day_until_somebody_waters():
    world = a_full_world(waterings=(Watering(mm=20, temp_c=14, every_days=6),))
    gone = []
    for day in range(1, 9):
        world.advance(day * DAY, BOTH_ON)
        gone.append(world.gone_mm("N3"))
    daily = [b - a for a, b in pairwise(gone[1:5])]
    assert daily == sorted(daily, reverse=True)
    assert len(world.watered) == 5
    # From 08:00 to 09:00 on day 6, then a day: as wet as in the beginning.
    assert gone[5] < 0.3
    assert gone[6] - gone[5] > 1.2 * daily[-1]


@pytest.mark.slow
def test_a_dry_medium_has_a_larger_spread_from_bottom_to_top():
    """Less water conducts less: the same heat needs more kelvin."""
    wet, dry = a_full_world(), a_full_world()
    dry.dry("N3", 0.4)
    for world in (wet, dry):
        world.advance(2 * DAY, BOTH_ON)
    spreads = [w.layers("N3")[0] - w.layers("N3")[-1] for w in (wet, dry)]
    assert spreads[1] > 1.3 * spreads[0]
    dry.dry("N3", 1.0)
    assert dry.gone_mm("N3") == 0


def test_a_medium_that_somebody_lets_dry_conducts_less_in_any_world():
    options = WorldOptions(sun_w_m2=1.0, room_csv=flat_room(14))
    wet, dry = World(PLAN, options), World(PLAN, options)
    dry.dry("N3", 0.3)
    for world in (wet, dry):
        world.advance(12 * HOUR, BOTH_ON)
    spreads = [w.layers("N3")[0] - w.layers("N3")[-1] for w in (wet, dry)]
    assert spreads[1] > 1.3 * spreads[0]


def test_a_bench_of_nothing_has_a_full_world_too():
    world = World(Plan(bench="nothing"), full_world())
    world.advance(3 * HOUR, {})
    assert world.ledger().came_j() == world.ledger().went_j() == 0


def test_a_bench_without_trays_has_a_full_world_too():
    plan = replace(PLAN, mats=tuple(replace(mat, trays=()) for mat in PLAN.mats))
    world = World(plan, full_world())
    world.advance(30 * HOUR, BOTH_ON)
    assert world.surface("north") > 20
    ledger = world.ledger()
    assert ledger.went_j() == pytest.approx(ledger.came_j(), rel=1e-9)


@pytest.mark.slow
def test_no_medium_loses_more_water_than_it_has():
    world = a_full_world(evaporation=Evaporation.BY_DEFICIT, hold_ms=HOUR)
    world.dry("N1", 0.02)
    held_mm = world.gone_mm("N1") / 0.98
    world.evaporate("N2", 30.0)
    world.advance(4 * DAY, BOTH_ON)
    assert 0.98 * held_mm < world.gone_mm("N1") <= held_mm
    assert world.gone_mm("N2") <= 0.35 * 60


@pytest.mark.slow
@pytest.mark.parametrize("hold_ms", [5 * MINUTE, HOUR])
@pytest.mark.parametrize(
    ("medium", "depth_mm", "room_c", "humidity", "lamp_w_m2"),
    [
        ("bark-sand", 20, 25, 0.3, 500),
        ("bark-sand", 30, 30, 0.2, 900),
        ("peat", 60, 35, 0.1, 1000),
        ("bark-sand", 20, 45, 0.0, 1000),
    ],
)
def test_the_last_water_goes_but_no_more(
    medium, depth_mm, room_c, humidity, lamp_w_m2, hold_ms
):
    """Under a lamp in a dry room; from a tenth of its water, and from none."""
    trays = tuple(
        a_tray(name, column, medium=medium, depth_mm=depth_mm, probe_mm=10)
        for column, name in enumerate(("N1", "N2"), 1)
    )
    plan = replace(PLAN, mats=(replace(PLAN.mats[0], trays=trays),))
    options = {"humidity": humidity, "lamp_w_m2": lamp_w_m2, "hold_ms": hold_ms}
    always = {"lamp_hours": (0, 1440), "room_csv": flat_room(room_c)}
    world = World(plan, replace(QUIET, **options, **always))
    world.dry("N2", 0.0)
    held_mm = world.gone_mm("N2")
    world.dry("N1", 0.1)
    for hour in range(1, 31):
        world.advance(hour * HOUR, {"north": True})
        assert world.gone_mm("N1") <= held_mm
        assert world.gone_mm("N2") <= held_mm
    assert world.gone_mm("N1") > 0.97 * held_mm


def test_asking_changes_nothing_where_dew_falls():
    """Dew on a full medium runs out when lines are drawn, not when one looks."""
    dewy = replace(QUIET, room_csv=flat_room(20), humidity=0.9, start_temp_c=10)
    asked, left_alone = World(PLAN, dewy), World(PLAN, dewy)
    for minute in range(1, 8 * 60 + 1):
        asked.advance(minute * MINUTE, BOTH_ON)
        assert asked.gone_mm("N1") >= 0
    left_alone.advance(8 * HOUR, BOTH_ON)
    assert asked.truth("N1") == pytest.approx(left_alone.truth("N1"), abs=1e-9)
    assert asked.gone_mm("N1") == pytest.approx(left_alone.gone_mm("N1"), abs=1e-9)
    ledger = asked.ledger()
    assert ledger.drained_kg > 0
    assert ledger.went_j() == pytest.approx(ledger.came_j(), rel=1e-9)


@pytest.mark.slow
def test_covers_keep_water_and_warmth():
    covers = {"N1": Cover.NONE, "N2": Cover.VENTED, "N3": Cover.CLOSED}
    trays = tuple(a_tray(name, column) for column, name in enumerate(covers, 1))
    mats = (replace(PLAN.mats[0], trays=trays),)
    options = replace(QUIET, cover_by_tray=covers)
    world = World(replace(PLAN, mats=mats), options)
    world.advance(2 * DAY, {"north": True})
    gone = [world.gone_mm(name) for name in covers]
    assert gone == sorted(gone, reverse=True)
    assert gone[2] < 0.35 * gone[0]
    assert world.truth("N3") > world.truth("N1") + 1


@pytest.mark.slow
def test_each_piece_of_physics_can_be_had_alone():
    for options in (
        WorldOptions(film=Film.NATURAL),
        WorldOptions(evaporation=Evaporation.FALLING),
        WorldOptions(evaporation=Evaporation.BY_DEFICIT),
        WorldOptions(drying=True),
        WorldOptions(cover=Cover.CLOSED),
    ):
        plain, other = a_world(), World(PLAN, options)
        for world in (plain, other):
            world.advance(DAY, BOTH_ON)
        assert 0.02 < abs(plain.truth("N3") - other.truth("N3")) < 10


@pytest.mark.slow
def test_what_happens_to_trays_happens_in_a_full_world_too():
    world, still = a_full_world(), a_full_world()
    for one in (world, still):
        one.advance(DAY, BOTH_ON)
    world.lift("N1")
    world.shine("N2", 300.0)
    world.evaporate("N3", 8.0)
    world.shift_room(4.0)
    for one in (world, still):
        one.advance(one.now_ms + 2 * HOUR, BOTH_ON)
    assert world.truth("N1") < still.truth("N1") - 1
    assert world.truth("N2") > still.truth("N2") + 2
    assert world.layers("N3")[-1] < still.layers("N3")[-1] - 0.3
    assert world.truth("S1") > still.truth("S1") + 0.2
    world.put_back("N1")
    world.shine("N2", 0.0)
    world.evaporate("N3", None)
    world.shift_room(0.0)
    for one in (world, still):
        for tray in ("N1", "N2", "N3", "S1", "S2"):
            one.pour(tray, 40.0, 14.0)
        one.advance(one.now_ms + 3 * DAY, BOTH_ON)
    assert world.truth("N2") == pytest.approx(still.truth("N2"), abs=0.05)
    ledger = world.ledger()
    assert ledger.went_j() == pytest.approx(ledger.came_j(), rel=1e-9)


def test_cold_water_cools_and_its_warmth_runs_out_below():
    world = a_full_world()
    world.advance(DAY, BOTH_ON)
    before = world.layers("N2")
    out_c = world.pour("N2", 10.0, 5.0)
    after = world.layers("N2")
    assert after[-1] < before[-1] - 3
    assert after[0] > after[-1]
    assert out_c == pytest.approx(after[0], abs=1e-9)
    ledger = world.ledger()
    assert ledger.went_j() == pytest.approx(ledger.came_j(), rel=1e-9)
    assert ledger.poured_kg == pytest.approx(10.0 * 0.9**2 * 1.2 * 0.53 / 3)


@pytest.mark.slow
def test_a_tray_on_no_mat_dries_and_stays_below_the_room():
    """Evaporation cools what nobody heats, to above the wet bulb."""
    plan = replace(PLAN, trays=(a_tray("sill"),))
    world = World(plan, QUIET)
    world.advance(2 * DAY, BOTH_OFF)
    wet_bulb_c = 11.1  # 14 °C, 0.70: FAO-56, equation 15, solved
    assert wet_bulb_c < world.truth("sill") < 14.0


def test_unmeasured_heat_moves_a_tray_by_tenths_of_a_kelvin():
    quiet, noisy = (
        season(
            PLAN,
            WorldOptions(unmeasured_w=w, lamp_w_m2=1e-9),
            {"north": np.ones(4 * DAY // MINUTE)},
        )
        for w in (0.0, 1.0)
    )
    off_k = noisy.tray_c - quiet.tray_c
    assert 0.05 < off_k.std() < 0.6
    assert abs(off_k).max() < 2
