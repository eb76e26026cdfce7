"""The simulated bench as a plant: seeded, exact, whatever its steps."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from controller.core.plan import ProbePlan
from controller.core.scan import Quality
from controller.core.units import MilliK
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
    with_trays,
)

STEP_K = 1 / 16


def heard(world, to_ms, energised=BOTH_ON, *, by_ms=5_000):
    """All readings to a time, in steps of by_ms."""
    readings = []
    for at_ms in range(by_ms, to_ms + 1, by_ms):
        readings += world.advance(at_ms, energised).readings
    return readings


def test_the_same_seed_gives_the_same_readings_and_another_seed_others():
    one, again, other = (heard(a_world(seed=seed), HOUR) for seed in (7, 7, 8))
    assert one == again
    assert one != other


def test_another_seed_gives_other_noise_where_all_else_is_alike():
    def noisy(seed):
        world = a_world(seed=seed, room_csv=flat_room(16), unevenness=0)
        said = world.advance(2 * HOUR, BOTH_OFF).readings
        return [reading.milli for reading in said if reading.probe == "N1"]

    assert noisy(1) == noisy(1) != noisy(2)


@given(cuts=st.lists(st.integers(1, 3 * HOUR - 1), max_size=40))
@settings(max_examples=25, deadline=None)
def test_readings_do_not_depend_on_how_time_is_cut(cuts):
    whole, cut = a_world(), a_world()
    wanted = whole.advance(3 * HOUR, BOTH_ON).readings
    readings = []
    for at_ms in [*sorted(cuts), 3 * HOUR]:
        readings += cut.advance(at_ms, BOTH_ON).readings
    assert tuple(readings) == wanted
    assert cut.truth("N2") == pytest.approx(whole.truth("N2"), abs=1e-9)


def test_a_mat_is_on_for_the_whole_step_and_off_in_the_next():
    """Half an hour on in one step equals six steps of five minutes on."""
    one, six = a_world(), a_world()
    one.advance(30 * MINUTE, {"north": True})
    for number in range(1, 7):
        six.advance(number * 5 * MINUTE, {"north": True, "south": False})
    for world in (one, six):
        world.advance(40 * MINUTE, {})
    for tray in ("N1", "N2", "S1"):
        assert one.truth(tray) == pytest.approx(six.truth(tray), abs=1e-9)


def test_only_the_mat_that_is_on_warms():
    on, off = a_world(), a_world()
    on.advance(2 * HOUR, {"north": True, "south": False})
    off.advance(2 * HOUR, BOTH_OFF)
    assert on.truth("N2") > off.truth("N2") + 2
    assert on.surface("north") > off.surface("north") + 5
    assert on.truth("S1") == pytest.approx(off.truth("S1"), abs=1e-9)


def test_every_probe_speaks_every_thirty_seconds_in_order_of_time():
    readings = heard(a_world(), HOUR)
    times = [reading.at_ms for reading in readings]
    assert times == sorted(times)
    assert set(Counter(reading.probe for reading in readings).values()) == {120}
    for probe in ("N1", "north-mat", "room"):
        own = [reading.at_ms for reading in readings if reading.probe == probe]
        assert {late - early for early, late in pairwise(own)} == {30_000}


def test_probes_do_not_all_speak_at_once():
    first = {r.at_ms for r in a_world().advance(30_000, BOTH_OFF).readings}
    assert len(first) > 2


def test_readings_are_good_and_count_in_sixteenths_of_a_kelvin():
    readings = heard(a_world(), HOUR)
    assert {reading.quality for reading in readings} == {Quality.GOOD}
    for reading in readings:
        steps = -(-reading.milli * 16 // 1000)  # back to sixteenths, upwards
        assert steps * 1000 // 16 == reading.milli
    assert len({reading.milli for reading in readings}) > 10


def test_without_noise_a_reading_is_the_truth_to_half_a_step():
    world = a_world(noise_k=0, lag_s=0)
    for at_ms in range(5_000, HOUR, 5_000):
        for reading in world.advance(at_ms, BOTH_ON).readings:
            if reading.probe in ("N1", "N2", "N3", "S1", "S2"):
                assert reading.milli is not None
                truth_c = world.truth(reading.probe)
                assert abs(reading.milli / 1000 - truth_c) <= STEP_K / 2 + 1e-3


def test_noise_has_the_spread_it_was_given():
    world = a_world(
        noise_k=0.5, lag_s=0, room_csv=flat_room(16), evaporation_mm=0.0, unevenness=0
    )
    milli = [r.milli for r in heard(world, 12 * HOUR, BOTH_OFF) if r.probe == "N1"]
    # 1440 values: the standard error of a standard deviation is sd / sqrt(2 n).
    expected_k = np.sqrt(0.5**2 + STEP_K**2 / 12)
    assert np.std(milli) / 1000 == pytest.approx(expected_k, rel=4 / np.sqrt(2 * 1440))
    assert np.mean(milli) / 1000 == pytest.approx(16, abs=4 * 0.5 / np.sqrt(1440))


def test_a_lagging_probe_is_a_first_order_lag_behind_the_truth():
    """Judge: scipy.signal.lfilter on the truth, second by second."""
    lag_s = 600.0
    world = a_world(noise_k=0, lag_s=lag_s)
    truth, readings = [world.truth("N2")], {}
    for at_s in range(1, 2 * 3600 + 1):
        for reading in world.advance(at_s * 1000, BOTH_ON).readings:
            if reading.probe == "N2":
                assert reading.milli is not None
                readings[at_s] = reading.milli / 1000
        truth.append(world.truth("N2"))
    keep = np.exp(-1 / lag_s)
    lagged, _ = signal.lfilter([1 - keep], [1, -keep], truth, zi=[keep * truth[0]])
    worst_k = max(abs(said - lagged[at_s]) for at_s, said in readings.items())
    assert truth[-1] - lagged[-1] > 0.3
    assert worst_k <= STEP_K / 2 + 0.03


def test_a_probe_with_an_offset_reads_wrong_by_it_so_that_the_plan_sets_it_right():
    wrong = ProbePlan(name="N1", depth_mm=40, offset_mk=MilliK(500))
    tray = replace(NORTH.trays[0], probes=(wrong,))
    world = a_world(
        with_trays(tray), noise_k=0, room_csv=flat_room(16), evaporation_mm=0
    )
    said = {r.probe: r.milli for r in world.advance(MINUTE, BOTH_OFF).readings}
    assert said["N1"] == 15_500


def test_the_room_probe_reads_the_room_and_the_room_follows_the_table():
    table = "time,temp_c\n0,10\n24,34\n"
    world = a_world(room_csv=table, noise_k=0)
    readings = heard(world, 6 * HOUR, BOTH_OFF)
    assert world.room_c() == pytest.approx(16, abs=0.05)
    last = [reading.milli for reading in readings if reading.probe == "room"][-1]
    assert last / 1000 == pytest.approx(16, abs=0.1)


def test_without_heat_and_water_everything_comes_to_the_rooms_temperature():
    world = a_world(room_csv=flat_room(12.5), evaporation_mm=0)
    world.advance(4 * DAY, BOTH_OFF)
    for tray in ("N1", "N2", "N3", "S1", "S2"):
        assert world.truth(tray) == pytest.approx(12.5, abs=1e-6)
    assert world.surface("north") == pytest.approx(12.5, abs=1e-6)


def test_a_freshly_wet_tray_is_colder_than_covered_ones_and_others_are_as_before():
    def warmth(**options):
        world = a_world(room_csv=flat_room(16), unevenness=0, **options)
        world.advance(4 * DAY, BOTH_OFF)
        return {name: world.truth(name) for name in ("N1", "S1")}

    dry = warmth(evaporation_mm=0.3)
    wet = warmth(evaporation_mm=0.3, evaporation_by_tray={"N1": 3.0})
    assert wet["N1"] < dry["N1"] - 2
    assert wet["S1"] == pytest.approx(dry["S1"], abs=1e-9)


def test_alike_trays_on_one_mat_still_differ_by_place_and_by_the_mats_wires():
    trays = tuple(a_tray(f"N{column}", column) for column in (1, 2, 3))
    world = a_world(with_trays(*trays), room_csv=flat_room(14))
    world.advance(DAY, {"north": True})
    temps = [world.truth(tray.name) for tray in trays]
    assert min(abs(temps[i] - temps[j]) for i, j in ((0, 1), (1, 2), (0, 2))) > 0.05


def test_a_tray_on_no_mat_stays_with_the_room_while_the_mats_heat():
    plan = replace(PLAN, trays=(a_tray("sill"),))
    world = a_world(plan, room_csv=flat_room(14), evaporation_mm=0)
    readings = heard(world, 2 * DAY, BOTH_ON, by_ms=HOUR)
    assert world.truth("sill") == pytest.approx(14, abs=1e-3)
    assert any(reading.probe == "sill" for reading in readings)


def test_a_bench_without_probes_is_silent_and_still_warms():
    plan = with_trays(replace(a_tray("N1"), probes=()), mat=replace(NORTH, surface=()))
    world = a_world(replace(plan, room=()))
    assert world.advance(HOUR, {"north": True}).readings == ()
    assert world.truth("N1") > 16


def test_time_starts_where_it_is_told_and_never_goes_back():
    world = a_world(start_ms=5 * HOUR, start_temp_c=18.0)
    assert world.truth("N1") == pytest.approx(18)
    assert world.advance(5 * HOUR, BOTH_ON).readings == ()
    assert world.truth("N1") == pytest.approx(18)
    readings = world.advance(5 * HOUR + MINUTE, BOTH_ON).readings
    assert all(5 * HOUR < r.at_ms <= 5 * HOUR + MINUTE for r in readings)
    with pytest.raises(ValueError, match="cannot go"):
        world.advance(5 * HOUR, BOTH_ON)


def test_an_unknown_medium_is_refused_when_the_bench_is_made():
    with pytest.raises(ValueError, match="rockwool"):
        a_world(with_trays(a_tray("N1", medium="rockwool")))


def test_evaporation_of_a_tray_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="N9"):
        a_world(evaporation_by_tray={"N9": 3.0})


def test_trays_at_one_and_the_same_place_are_refused_not_nan():
    with pytest.raises(ValueError, match="place"):
        a_world(with_trays(a_tray("N1"), a_tray("N2")))
