"""Limits: which temperatures refuse heat, which lock it off, and which only seem to."""

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import RelayKind, StepPlan
from controller.core.protect import tray_limit_mc
from controller.core.scan import SetSetpoint
from controller.core.state import Mode, Trip
from tests.builders import (
    BROKEN,
    UTC_MS,
    Bench,
    Said,
    a_mat,
    a_plan,
    a_tray,
    mc,
    ms,
    n2_drives,
    surface_probe,
    uncertain,
    warm,
    warm_heating,
)

HOUR_S = 3600
STEADY_S = 1_805
"""An alarm of a limit is over when its condition has been gone for so long."""
STALE_S = 120


# ---------------------------------------------------------------- tray limit


def test_root_zone_far_above_the_setpoint_inhibits_until_it_has_cooled():
    bench = Bench(a_plan(n2_drives())).heating(n1=24.0)
    assert bench.scan(n1=24.999, n2=20.0).on
    bench.scan(n1=25.0, n2=20.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.OVER_TRAY_LIMIT
    assert bench.numbers == {"temp_mc": 25_000, "limit_mc": 25_000}
    assert bench.mat.trip is None
    assert bench.scan(n1=24.999, n2=20.0).on


def test_tray_limit_follows_a_rising_setpoint_at_once_and_a_falling_one_slowly():
    bench = Bench(a_plan(a_mat()))

    def limit_c():
        return tray_limit_mc(bench.plan.mats[0], bench.mat, ms(bench.now_s)) / 1000

    assert limit_c() == 33, "before any scan: the cut-out"
    assert bench.scan() and limit_c() == 25
    assert bench.scan(ask=[SetSetpoint("north", mc(28))]) and limit_c() == 32
    assert bench.scan(ask=[SetSetpoint("north", mc(21))]) and limit_c() == 32
    assert bench.scan(after_s=HOUR_S) and limit_c() == 31
    assert bench.scan(after_s=2.5 * HOUR_S) and limit_c() == 28.5
    assert bench.scan(after_s=24 * HOUR_S) and limit_c() == 25


def test_tray_limit_is_never_above_the_cut_out():
    bench = warm(30).scan()
    assert tray_limit_mc(bench.plan.mats[0], bench.mat, ms(bench.now_s)) == 33_000


def test_tray_limit_follows_the_setpoint_on_its_ramp_not_its_target():
    bench = Bench(a_plan(a_mat(ramp_mk_per_h=1_000))).scan()
    bench.scan(ask=[SetSetpoint("north", mc(25))]).scan(after_s=HOUR_S)
    assert tray_limit_mc(bench.plan.mats[0], bench.mat, ms(bench.now_s)) == 26_000


def test_silent_probe_above_the_tray_limit_goes_on_inhibiting():
    bench = Bench(a_plan(n2_drives(surface=surface_probe())))
    bench.heating(n1=24.9, s1=30.0).scan(n1=25.1, n2=20.0, s1=30.0)
    bench.run(HOUR_S, n2=20.0, s1=30.0)
    assert (bench.on, bench.cause) == (False, Cause.OVER_TRAY_LIMIT)
    # so long after, a jump is not doubted; and a good reading is what it takes
    assert bench.scan(n1=20.0, n2=20.0, s1=30.0).on


def test_limits_name_the_hottest_probe():
    mat = a_mat(trays=(a_tray("N1", "n1", "n2", "n3"), a_tray("N2", "n4")))
    bench = Bench(a_plan(mat)).scan(n1=25.0, n2=27.0, n3=26.0, n4=20.0)
    assert bench.numbers == {"temp_mc": 27_000, "limit_mc": 25_000}
    bench = Bench(a_plan(mat)).scan(n1=33.0, n2=25.0, n3=26.0, n4=20.0)
    assert bench.cause is Cause.OVER_CUTOUT


# ------------------------------------------------------------------- cut-out


def test_cut_out_is_off_at_the_first_reading_and_latched_at_the_second():
    bench = warm_heating()
    assert bench.scan(n1=32.999, n2=28.0).on
    bench.scan(n1=33.0, n2=28.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.OVER_CUTOUT
    assert bench.numbers == {"temp_mc": 33_000, "limit_mc": 33_000}
    bench.scan(n1=33.1, n2=28.0)
    assert (bench.on, bench.mode) == (False, Mode.TRIPPED)
    assert bench.cause is Cause.TRIPPED
    assert bench.numbers == {"temp_mc": 33_100, "limit_mc": 33_000}
    now_ms = ms(bench.now_s)
    assert bench.mat.trip == Trip(
        Cause.OVER_CUTOUT, "n1", 33_100, 33_000, now_ms, UTC_MS + now_ms
    )
    assert bench.decisions.flush


def test_cut_out_does_not_latch_when_it_is_cooler_in_between():
    bench = warm_heating()
    for _ in range(20):
        assert not bench.scan(n1=33.0, n2=28.0).on
        assert bench.scan(n1=32.9, n2=28.0).on
    assert bench.mat.trip is None


def test_scans_without_a_reading_are_not_readings():
    bench = warm_heating().scan(n1=33.0, n2=28.0)
    for _ in range(20):
        bench.scan(n2=28.0)
        assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.scan(n1=33.0, n2=28.0).mode is Mode.TRIPPED


def test_cut_out_latches_if_the_probe_then_falls_silent():
    bench = warm_heating().scan(n1=33.5, n2=28.0).run(STALE_S, n2=28.0)
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.OVER_CUTOUT)
    bench.scan(n2=28.0)
    assert bench.mode is Mode.TRIPPED
    assert bench.mat.trip.temp_mc == 33_500


@pytest.mark.parametrize("broken", [BROKEN, 85.0, 200.0])
def test_cut_out_latches_if_the_probe_then_turns_bad(broken):
    bench = warm_heating().scan(n1=33.5, n2=28.0).scan(n1=broken, n2=28.0)
    assert bench.mode is Mode.TRIPPED


@pytest.mark.parametrize("temp_c", [20.0, 33.5, 40.0])
def test_uncertain_reading_never_trips_until_the_probe_counts_as_silent(temp_c):
    bench = warm_heating().scan(n1=33.5, n2=28.0)
    bench.run(STALE_S, n1=uncertain(temp_c), n2=28.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    bench.scan(n1=uncertain(temp_c), n2=28.0)
    assert bench.mode is Mode.TRIPPED


def test_uncertain_reading_after_one_at_the_cut_out_neither_trips_nor_clears():
    bench = warm_heating().scan(n1=33.5, n2=28.0).scan(n1=uncertain(31.0), n2=28.0)
    assert (bench.on, bench.cause) == (False, Cause.OVER_CUTOUT)
    assert bench.scan(n1=31.0, n2=28.0).on


def test_second_reading_latches_though_a_cooler_one_follows_in_the_same_scan():
    bench = warm_heating()
    late = [bench.reading("n1", Said(t, ago_s=-a)) for t, a in ((33, 1), (33, 2))]
    cooler = bench.reading("n1", Said(32.0, ago_s=-3))
    bench.scan([*late, cooler], n2=28.0)
    assert bench.mode is Mode.TRIPPED
    assert bench.mat.trip.temp_mc == 33_000


def test_probe_that_was_heard_enough_does_not_silence_those_after_it():
    bench = warm_heating()
    hot = [bench.reading("n1", Said(33.0, ago_s=-a)) for a in (1, 2, 3)]
    bench.scan(hot, n2=28.25)
    assert bench.mode is Mode.TRIPPED
    assert bench.probe("n1").good_at_ms == ms(bench.now_s - 3)
    assert bench.probe("n2").good_mc == 28_250


def test_tray_that_was_hot_once_does_not_hide_one_that_was_hot_twice():
    bench = warm().heating(n1=32.0, n2=28.0).scan(n1=32.0, n2=31.0)
    bench.scan(n1=32.0, n2=33.0).scan(n1=33.0, n2=33.0)
    assert bench.mode is Mode.TRIPPED
    assert bench.mat.trip.probe == "n2"


def test_single_reading_at_the_cut_out_between_cooler_ones_of_a_scan_passes():
    bench = warm_heating()
    burst = [
        bench.reading("n1", Said(t, ago_s=-a))
        for t, a in ((33, 1), (32.9, 2), (33, 3), (32.9, 4))
    ]
    assert bench.scan(burst, n2=28.0).on


def test_several_probes_in_a_tray_drive_by_their_mean_and_each_one_guards():
    mat = a_mat(trays=(a_tray("N1", "n1", "n2"),), programme=(StepPlan(mc(29)),))
    bench = Bench(a_plan(mat)).scan(n1=32.9, n2=20.0)
    assert bench.on
    assert bench.numbers["root_mc"] == 26_450
    bench.scan(n1=33.0, n2=20.0)
    assert bench.cause is Cause.OVER_CUTOUT
    assert bench.scan(n1=33.0, n2=20.0).mode is Mode.TRIPPED


@pytest.mark.parametrize("which", ["n1", "n2"])
def test_every_tray_guards_whichever_drives(which):
    temps = {"n1": 28.0, "n2": 28.0}
    bench = warm().heating(**temps).scan(**{**temps, which: 31.0})
    bench.scan(**{**temps, which: 33.0})
    assert bench.cause is Cause.OVER_CUTOUT
    assert bench.scan(**{**temps, which: 33.0}).mode is Mode.TRIPPED


# ------------------------------------------------------------------- surface


def test_surface_limit_inhibits_until_it_has_cooled():
    bench = warm_heating(surface=surface_probe())
    assert bench.scan(n1=28.0, n2=28.0, s1=41.999).on
    bench.scan(n1=28.0, n2=28.0, s1=42.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.OVER_SURFACE_LIMIT
    assert bench.numbers == {"temp_mc": 42_000, "limit_mc": 42_000}
    assert bench.scan(n1=28.0, n2=28.0, s1=41.999).on


def test_surface_cut_out_is_off_at_the_first_and_latched_at_the_second_reading():
    bench = warm_heating(surface=surface_probe())
    for temp_c in (44.0, 47.0, 49.999):
        bench.scan(n1=28.0, n2=28.0, s1=temp_c)
        assert bench.cause is Cause.OVER_SURFACE_LIMIT
    bench.scan(n1=28.0, n2=28.0, s1=50.0)
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.OVER_SURFACE_CUTOUT)
    bench.scan(n1=28.0, n2=28.0, s1=50.0)
    assert bench.mode is Mode.TRIPPED
    trip = bench.mat.trip
    assert (trip.cause, trip.probe, trip.limit_mc) == (
        Cause.OVER_SURFACE_CUTOUT,
        "s1",
        50_000,
    )


def test_trip_says_where_it_was_hot_even_where_both_cut_outs_are_the_same():
    changes = {"cutout_mc": 35_000, "surface_cutout_mc": 35_000}
    mat = a_mat(surface=surface_probe(), surface_limit_mc=34_000, **changes)
    root = Bench(a_plan(mat)).scan(n1=35.0, n2=20.0).scan(n1=35.0, n2=20.0)
    assert root.mat.trip.cause is Cause.OVER_CUTOUT
    temps = {"n1": 20.0, "n2": 20.0, "s1": 35.0}
    surface = Bench(a_plan(mat)).scan(**temps).scan(**temps)
    assert surface.mat.trip.cause is Cause.OVER_SURFACE_CUTOUT


# ----------------------------------------------------------- heat from above


def idle(lasting_s, **changes):
    """Return the warm bench unheated for a time: its driving tray is warm enough."""
    bench = warm(**changes)
    bench.scan(n1=32.5, n2=29.5)
    return bench.scan(n1=32.5, n2=29.5, after_s=lasting_s - 5)


def test_heat_that_comes_from_above_inhibits_and_says_so_but_does_not_latch():
    bench = idle(HOUR_S).run(60, n1=33.5, n2=28.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.HEAT_FROM_ABOVE
    assert bench.numbers == {
        "temp_mc": 33_500,
        "limit_mc": 33_000,
        "unheated_ms": ms(HOUR_S + 60),
    }
    assert (AlarmKind.HEAT_FROM_ABOVE, "north") in bench.alarms
    assert bench.scan(n1=32.9, n2=28.0).on, "no reset is needed"
    bench.run(STEADY_S, n1=32.9, n2=28.0)
    assert (AlarmKind.HEAT_FROM_ABOVE, "north") not in bench.alarms


def test_probe_that_falls_silent_in_the_sun_does_not_latch_but_goes_on_inhibiting():
    bench = idle(HOUR_S).scan(n1=33.5, n2=28.0).run(HOUR_S, n2=28.0)
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.HEAT_FROM_ABOVE)


def test_heat_within_the_settling_time_is_the_mats():
    bench = idle(HOUR_S - 5).scan(n1=33.5, n2=29.5).scan(n1=33.5, n2=29.5, after_s=0)
    assert (bench.now_s, bench.probe("n1").over_cutout) == (HOUR_S, 1)
    bench = idle(HOUR_S - 5)
    readings = [bench.reading("n1", Said(33.5, ago_s=-a)) for a in (1, 2)]
    bench.scan(readings, n2=29.5)
    assert (bench.now_s, bench.mode) == (HOUR_S, Mode.TRIPPED)


def test_settling_time_begins_when_the_mat_was_switched_off():
    bench = warm_heating().run(HOUR_S, n1=32.0, n2=28.0)
    bench.scan(n1=32.0, n2=29.5)
    assert not bench.on
    bench.scan(n1=32.0, n2=29.5, after_s=HOUR_S - 5)
    bench.scan(n1=33.0, n2=29.5)
    assert bench.cause is Cause.OVER_CUTOUT
    assert bench.scan(n1=33.0, n2=29.5).cause is Cause.HEAT_FROM_ABOVE, "an hour past"


def test_sun_on_the_surface_does_not_latch_either():
    bench = warm(surface=surface_probe()).scan(n1=28.0, n2=29.5, s1=41.0)
    bench.scan(n1=28.0, n2=29.5, s1=51.0, after_s=HOUR_S)
    bench.scan(n1=28.0, n2=29.5, s1=51.0)
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.HEAT_FROM_ABOVE)


def test_tray_limit_in_the_sun_is_called_heat_from_above():
    bench = Bench(a_plan(n2_drives())).scan(n1=24.9, n2=22.0)
    bench.scan(n1=25.5, n2=22.0, after_s=HOUR_S + 1)
    assert bench.cause is Cause.HEAT_FROM_ABOVE


def test_relay_that_says_on_is_not_taken_for_the_sun():
    bench = idle(HOUR_S)
    bench.scan(n1=33.5, n2=29.5, reports=[bench.report(on=True)])
    assert bench.cause is Cause.OVER_CUTOUT
    assert bench.scan(n1=33.5, n2=29.5).mode is Mode.TRIPPED


def test_relay_that_said_on_may_have_heated_until_it_said_off():
    bench = idle(HOUR_S)
    bench.scan(n1=32.5, n2=29.5, reports=[bench.report(on=True)])
    off = bench.report(on=False, ago_s=5 - HOUR_S)
    bench.scan(n1=32.5, n2=29.5, reports=[off], after_s=HOUR_S)
    assert bench.scan(n1=33.5, n2=29.5).scan(n1=33.5, n2=29.5).mode is Mode.TRIPPED


@pytest.mark.parametrize(
    ("kind", "mode"),
    [
        (RelayKind.PLAIN, Mode.TRIPPED),
        (RelayKind.LEASE, Mode.INHIBITED),
        (RelayKind.PIN, Mode.INHIBITED),
    ],
)
def test_plain_relay_out_of_reach_is_not_known_to_be_off(kind, mode):
    bench = idle(HOUR_S, relay=kind)
    bench.link_up = False
    assert bench.scan(n1=33.5, n2=29.5).scan(n1=33.5, n2=29.5).mode is mode


def test_hot_bench_at_its_very_first_start_is_not_taken_for_sun():
    bench = warm().scan(n1=33.5, n2=28.0).scan(n1=33.5, n2=28.0)
    assert bench.mode is Mode.TRIPPED


# ------------------------------------------------------------ doubtful and hot


def test_uncertain_hot_reading_inhibits_and_never_trips():
    bench = warm_heating()
    for _ in range(300):
        bench.scan(n1=uncertain(45.0), n2=28.0)
        assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
        assert bench.cause is Cause.DOUBTFUL_HOT
    assert bench.numbers == {"temp_mc": 45_000, "limit_mc": 33_000}
    assert (AlarmKind.OVER_LIMIT, "north") in bench.alarms


@pytest.mark.parametrize("after", [{}, {"n1": BROKEN}, {"n1": uncertain(28.0)}])
def test_doubtful_heat_is_cleared_by_nothing_but_a_good_reading(after):
    mat = n2_drives(programme=(StepPlan(mc(29)),), surface=surface_probe())
    bench = Bench(a_plan(mat)).heating(n1=28.0, n2=28.0, s1=30.0)
    bench.scan(n1=uncertain(33.0), n2=28.0, s1=30.0)
    assert bench.cause is Cause.DOUBTFUL_HOT
    bench.run(HOUR_S, n2=28.0, s1=30.0, **after)
    assert (bench.on, bench.cause) == (False, Cause.DOUBTFUL_HOT)
    assert bench.scan(n1=28.0, n2=28.0, s1=30.0).on


def test_uncertain_reading_just_below_the_limit_is_not_hot():
    mat = n2_drives(programme=(StepPlan(mc(29)),), surface=surface_probe())
    bench = Bench(a_plan(mat)).heating(n1=28.0, n2=28.0, s1=30.0)
    assert bench.scan(n1=uncertain(32.999), n2=28.0, s1=30.0).on


@pytest.mark.parametrize("nothing", [BROKEN, 85.0, 127.94, Said(45.0)])
def test_what_is_no_measurement_is_not_hot(nothing):
    if nothing == Said(45.0):
        nothing = Said(45.0, quality=BROKEN.quality)
    bench = warm().heating(n1=27.0, n2=28.0)
    assert bench.scan(n1=nothing, n2=28.0).on, "N1 is neither driving nor warmest"


def test_jump_on_a_tray_that_does_not_drive_inhibits_at_once_and_trips_when_it_lasts():
    bench = warm().heating(n1=20.0, n2=28.0)
    bench.scan(n1=36.0, n2=28.0)
    assert (bench.on, bench.cause) == (False, Cause.DOUBTFUL_HOT)
    bench.scan(n1=36.0, n2=28.0)
    assert (bench.on, bench.cause) == (False, Cause.OVER_CUTOUT)
    assert bench.scan(n1=36.0, n2=28.0).mode is Mode.TRIPPED


def test_doubtful_surface_inhibits():
    bench = warm_heating(surface=surface_probe())
    bench.scan(n1=28.0, n2=28.0, s1=uncertain(42.0))
    assert (bench.on, bench.cause) == (False, Cause.DOUBTFUL_HOT)


def test_good_hot_reading_is_told_before_a_hotter_doubtful_one():
    bench = warm().heating(n1=31.0, n2=28.0)
    bench.scan(n1=33.0, n2=uncertain(40.0))
    assert (bench.cause, bench.numbers["temp_mc"]) == (Cause.OVER_CUTOUT, 33_000)
