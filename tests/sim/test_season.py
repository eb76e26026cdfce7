"""A season at once is what a world goes through minute by minute."""

import numpy as np
import pytest

from sim.season import season
from sim.watering import Watering
from sim.world import World, WorldOptions, full_world
from tests.sim.lean_to import DAY, HOUR, MINUTE, PLAN, flat_room

OFTEN = (
    Watering(mm=5, temp_c=11, at_minute=7 * 60 + 13),
    Watering(mm=2, temp_c=20, at_minute=18 * 60, trays=("N2",)),
)
WORLDS = {
    "plain": WorldOptions(),
    "by-table": WorldOptions(room_csv="time,temp_c\n0,12\n5,17\n20,11\n40,15\n"),
    "many-layers": WorldOptions(layers=7, evaporation_by_tray={"N1": 2.5}),
    "linear": WorldOptions(sun_w_m2=150, unmeasured_w=2, waterings=OFTEN),
    "full": full_world(waterings=OFTEN),
    "full-by-sevens": full_world(hold_ms=7 * MINUTE, seed=6, sun_w_m2=400),
    "full-each-time": full_world(off_k=0.0, waterings=OFTEN, seed=8),
    "full-by-round-numbers": full_world(
        room_csv="time,temp_c\n0,8.9\n5,18.9\n9,16.9\n", start_temp_c=8.9
    ),
    "full-by-hours": full_world(hold_ms=HOUR, start_ms=5 * DAY, seed=4),
}
NAMES = ("N1", "N2", "N3", "S1", "S2")


def series(minutes, seed=2):
    rng = np.random.default_rng(seed)
    return {mat.name: rng.integers(0, 2, minutes).astype(float) for mat in PLAN.mats}


@pytest.mark.slow
@pytest.mark.parametrize("options", WORLDS.values(), ids=WORLDS.keys())
def test_a_season_at_once_is_the_world_minute_by_minute(options):
    minutes = 30 * 60
    duty, world = series(minutes), World(PLAN, options)
    passed = season(PLAN, options, duty)
    assert passed.trays == NAMES
    for minute in range(minutes):
        assert passed.room_c[minute] == pytest.approx(world.room_c(), abs=1e-9)
        on = {name: bool(shares[minute]) for name, shares in duty.items()}
        world.advance(world.now_ms + MINUTE, on)
        truths = [world.truth(name) for name in NAMES]
        assert passed.tray_c[minute] == pytest.approx(truths, abs=1e-9)
        mats = [world.surface(name) for name in passed.mats]
        assert passed.mat_c[minute] == pytest.approx(mats, abs=1e-9)
    for one, other in zip(passed.watered, world.watered, strict=True):
        assert (one.at_ms, one.tray, one.mm) == (other.at_ms, other.tray, other.mm)
        assert one.kept_mm == pytest.approx(other.kept_mm, abs=1e-9)
        assert one.out_c == pytest.approx(other.out_c, abs=1e-9)
    if options.plain:
        assert passed.ledger is world.ledger() is None
    else:
        assert passed.ledger.lost_j == pytest.approx(world.ledger().lost_j)


@pytest.mark.slow
def test_half_power_is_as_warm_as_on_for_half_of_each_minute():
    options = WorldOptions(room_csv=flat_room(14))
    half = season(PLAN, options, {"north": np.full(2 * 1440, 0.5)})
    world = World(PLAN, options)
    for _ in range(2 * 1440):
        for on in (True, False):
            world.advance(world.now_ms + MINUTE // 2, {"north": on})
    assert half.tray_c[-1][0] == pytest.approx(world.truth("N1"), abs=0.01)


def test_a_mat_without_a_series_stays_off():
    options = WorldOptions(room_csv=flat_room(14), evaporation_mm=0)
    passed = season(PLAN, options, {"north": np.ones(4 * 1440)})
    assert passed.tray_c[-1][0] > 18
    assert passed.tray_c[-1][3] == pytest.approx(14, abs=1e-6)


@pytest.mark.parametrize(
    ("duty", "says"),
    [
        ({}, "none"),
        ({"north": np.ones(0)}, "at least a minute"),
        ({"north": np.ones(5), "south": np.ones(6)}, r"\[5, 6\]"),
        ({"west": np.ones(5)}, "west"),
        ({"north": np.full(5, 1.5)}, "from 0 to 1"),
        ({"north": np.full(5, np.nan)}, "from 0 to 1"),
    ],
)
def test_a_series_of_no_use_is_refused_by_name(duty, says):
    with pytest.raises(ValueError, match=says):
        season(PLAN, WorldOptions(), duty)


def test_what_is_held_for_parts_of_a_minute_is_refused():
    with pytest.raises(ValueError, match="whole minutes"):
        season(PLAN, full_world(hold_ms=90_000), series(10))
