"""Reasons to refuse heat: each appears when it should, holds, and ends as it may."""

from dataclasses import replace

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import DrivenBy, OnLogFailure, RelayKind, StepPlan
from controller.core.protect import tray_limit_mc
from controller.core.scan import Hold, LogHealth, Reset, SetEnabled, SetSetpoint
from controller.core.state import MatState, Mode, RelayState, Trip
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
    surface_probe,
    uncertain,
)

HOUR_S = 3600
STALE_S = 120


def n2_drives(**changes):
    """Return a mat that tray N2 drives, so that N1 only guards."""
    return a_mat(driven_by=DrivenBy.TRAY, driving_tray="N2", **changes)


def warm(setpoint_c=29, **changes):
    """Return a bench at 29 °C, so that its tray limit is the cut-out, 33 °C."""
    plan = changes.pop("plan", {})
    mat = n2_drives(programme=(StepPlan(mc(setpoint_c)),), **changes)
    return Bench(a_plan(mat, **plan))


def warm_heating(**changes):
    """Return that bench heating, the guarded tray N1 one kelvin from tripping."""
    extra = {"s1": 41.0} if "surface" in changes else {}
    return warm(**changes).heating(n1=32.0, n2=28.0, **extra)


def tripped(**changes):
    bench = warm_heating(**changes).scan(n1=33.0, n2=28.0).scan(n1=33.2, n2=28.0)
    assert bench.mode is Mode.TRIPPED
    return bench


# ------------------------------------------------------------------------- start


def test_start_stays_off_while_no_probe_speaks():
    bench = Bench()
    for _ in range(200):
        bench.scan()
        assert not bench.on
        assert (bench.mode, bench.cause) == (Mode.STARTING, Cause.AWAITING_READINGS)
    assert bench.numbers == {"heard": 0, "waited_ms": ms(bench.now_s)}


def test_start_waits_for_every_root_zone_probe():
    bench = Bench().scan(n1=20.0)
    assert not bench.on
    assert bench.numbers["heard"] == 1
    assert bench.scan(n2=20.0).on
    assert bench.mode is Mode.REGULATING


def test_start_waits_no_longer_than_a_silent_probes_stale_time():
    bench = Bench().run(STALE_S, n1=20.0)
    assert bench.now_s == STALE_S
    assert bench.cause is Cause.AWAITING_READINGS
    assert bench.scan(n1=20.0).on


def test_readings_of_before_the_start_do_not_count():
    before = Said(20.0, ago_s=5.001)
    bench = Bench().scan(n1=before, n2=before)
    assert bench.cause is Cause.AWAITING_READINGS
    assert bench.probe("n1").good_at_ms == -1, "it is good, but of before"
    since = Said(20.0, ago_s=5.0)
    assert Bench().scan(n1=since, n2=since).on


def test_mat_whose_only_probe_is_uncertain_never_heats():
    bench = Bench(a_plan(a_mat(trays=(a_tray("N1", "n1"),))))
    for _ in range(500):
        bench.scan(n1=uncertain(15.0))
        assert not bench.on
        assert bench.mode is Mode.STARTING


def test_start_goes_on_without_a_doubtful_probe_once_its_stale_time_is_over():
    bench = Bench().run(STALE_S, n1=20.0, n2=uncertain(20.0))
    assert not bench.on
    assert bench.scan(n1=20.0, n2=uncertain(20.0)).on


def test_start_waits_for_the_driving_tray_for_ever():
    bench = Bench(a_plan(n2_drives())).run(HOUR_S, n1=20.0)
    assert not bench.on
    assert (bench.mode, bench.cause) == (Mode.STARTING, Cause.NO_DRIVING_READING)
    assert bench.numbers["heard"] == 1
    assert (AlarmKind.NO_DRIVING_READING, "north") in bench.alarms
    assert bench.scan(n1=20.0, n2=20.0).on


def test_surface_probe_is_not_waited_for():
    assert Bench(a_plan(a_mat(surface=surface_probe()))).scan(n1=20.0, n2=20.0).on


def test_start_on_a_bench_that_is_too_hot_goes_from_waiting_to_inhibited():
    bench = warm(21).scan(n1=26.0, n2=20.0)
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.OVER_TRAY_LIMIT)


# --------------------------------------------------------------------- the log


def test_start_without_a_writable_log_stays_cold_until_it_is_writable():
    bench = Bench(log=LogHealth.FAILED)
    bench.run(HOUR_S, n1=20.0, n2=20.0)
    assert not bench.on
    assert (bench.mode, bench.cause) == (Mode.STARTING, Cause.LOG_NOT_READY)
    bench.log = LogHealth.OK
    assert bench.scan(n1=20.0, n2=20.0).on


def test_person_may_start_without_a_log():
    bench = Bench(log=LogHealth.FAILED).scan(n1=20.0, n2=20.0)
    assert not bench.on
    assert bench.scan(n1=20.0, n2=20.0, ask=[Reset("north")]).on
    assert bench.decisions.answers[0].accepted
    assert bench.scan(n1=20.0, n2=20.0).on, "once is enough"


def test_failing_log_does_not_stop_heat_within_a_run():
    bench = Bench().heating()
    bench.log = LogHealth.FAILED
    for _ in range(100):
        assert bench.scan(n1=20.0, n2=20.0).on
    assert (AlarmKind.LOG_FAILED, "") in bench.alarms


def test_failing_log_stops_heat_where_the_plan_says_so():
    plan = a_plan(on_log_failure=OnLogFailure.HEAT_OFF)
    bench = Bench(plan).heating()
    bench.log = LogHealth.FAILED
    bench.scan(n1=20.0, n2=20.0)
    assert not bench.on
    assert (bench.mode, bench.cause) == (Mode.INHIBITED, Cause.LOG_FAILED)
    bench.log = LogHealth.OK
    assert bench.scan(n1=20.0, n2=20.0).on


def test_starting_without_a_log_does_not_overrule_a_plan_that_wants_one():
    plan = a_plan(on_log_failure=OnLogFailure.HEAT_OFF)
    bench = Bench(plan, log=LogHealth.FAILED)
    bench.scan(n1=20.0, n2=20.0, ask=[Reset("north")])
    assert (bench.on, bench.cause) == (False, Cause.LOG_FAILED)


# -------------------------------------------------------------------- the link


@pytest.mark.parametrize("kind", [RelayKind.LEASE, RelayKind.PLAIN])
def test_broker_out_of_reach_for_longer_than_a_lease_stops_heat(kind):
    bench = Bench(a_plan(a_mat(relay=kind))).heating()
    bench.link_up = False
    for _ in range(3):
        assert bench.scan(n1=20.0, n2=20.0).on
    bench.scan(n1=20.0, n2=20.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.LINK_DOWN
    assert bench.numbers == {"down_ms": 20_000}
    bench.link_up = True
    assert bench.scan(n1=20.0, n2=20.0).on


def test_pin_of_this_board_needs_no_broker():
    bench = Bench(a_plan(a_mat(relay=RelayKind.PIN))).heating()
    bench.link_up = False
    for _ in range(100):
        assert bench.scan(n1=20.0, n2=20.0).on
    assert bench.alarms == set()


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


# ------------------------------------------------------------- lost probes


def test_driving_probe_is_believed_for_its_stale_time_and_no_longer():
    bench = Bench(a_plan(n2_drives())).heating().run(STALE_S, n1=20.0)
    assert bench.on
    bench.scan(n1=20.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.NO_DRIVING_READING
    assert bench.scan(n2=20.0).on


@pytest.mark.parametrize("doubtful", [BROKEN, 85.0, uncertain(20.0), 60.0])
def test_doubt_about_the_driving_probe_stops_heat_at_once(doubtful):
    bench = Bench(a_plan(n2_drives())).heating()
    assert not bench.scan(n1=20.0, n2=doubtful).on


def test_lost_warmest_probe_stops_heat():
    bench = Bench().heating(n1=20.5).run(STALE_S, n2=20.0)
    assert bench.on
    bench.scan(n2=20.0)
    assert (bench.on, bench.mode) == (False, Mode.INHIBITED)
    assert bench.cause is Cause.WARMEST_LOST
    assert bench.numbers == {"last_mc": 20_500, "silent_ms": 125_000}
    assert (AlarmKind.WARMEST_LOST, "north") in bench.alarms
    assert bench.scan(n1=20.5, n2=20.0).on


def test_lost_probe_that_was_not_the_warmest_does_not_stop_heat():
    assert Bench().heating(n1=20.5).run(HOUR_S, n1=20.5).on


def test_surface_probe_stands_in_for_the_lost_warmest():
    bench = Bench(a_plan(a_mat(surface=surface_probe())))
    bench.heating(n1=20.5, s1=25.0).run(HOUR_S, n2=20.0, s1=25.0)
    assert bench.on
    bench.scan(n2=20.0, s1=BROKEN)
    assert (bench.on, bench.cause) == (False, Cause.WARMEST_LOST)


def test_lost_warmest_of_two_probes_in_one_tray_stops_heat():
    bench = Bench(a_plan(a_mat(trays=(a_tray("N1", "n1", "n2"),))))
    bench.heating(n1=20.0, n2=20.5).run(STALE_S + 5, n1=20.0)
    assert (bench.on, bench.cause) == (False, Cause.WARMEST_LOST)
    assert bench.numbers["last_mc"] == 20_500


def test_lost_cooler_of_two_probes_in_one_tray_does_not_stop_heat():
    bench = Bench(a_plan(a_mat(trays=(a_tray("N1", "n1", "n2"),))))
    assert bench.heating(n1=20.0, n2=20.5).run(HOUR_S, n2=20.5).on
    assert bench.numbers["root_mc"] == 20_500


# --------------------------------------------------------------- by hand


def test_hold_is_off_for_its_time_and_ends_by_itself():
    bench = Bench().heating().scan(n1=20.0, n2=20.0, ask=[Hold("north", ms(60))])
    assert (bench.on, bench.mode, bench.cause) == (False, Mode.HELD, Cause.HELD)
    assert bench.numbers == {"left_ms": 60_000}
    bench.run(55, n1=20.0, n2=20.0)
    assert (bench.mode, bench.numbers) == (Mode.HELD, {"left_ms": 5_000})
    bench.scan(n1=20.0, n2=20.0)
    assert (bench.on, bench.mode) == (False, Mode.STARTING)
    assert bench.mat.hold_until_ms is None
    assert bench.scan(n1=20.0, n2=20.0).on


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        (Hold("north", ms(600)), Hold("north", ms(0))),
        (SetEnabled("north", False), SetEnabled("north", True)),
    ],
)
def test_after_hands_heat_comes_back_only_on_good_readings_taken_since(begin, end):
    bench = Bench().heating().scan(n1=20.0, n2=20.0, ask=[begin])
    bench.scan(n1=Said(20.0, ago_s=0.001), n2=Said(20.0, ago_s=0.001), ask=[end])
    assert (bench.on, bench.mode) == (False, Mode.STARTING)
    bench.scan(n1=20.0, n2=uncertain(20.0))
    assert (bench.on, bench.cause) == (False, Cause.AWAITING_READINGS)
    assert bench.scan(n2=20.0).on


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        (Hold("north", ms(600)), Hold("north", ms(0))),
        (SetEnabled("north", False), SetEnabled("north", True)),
    ],
)
def test_after_hands_readings_of_the_very_moment_count_one_scan_later(begin, end):
    bench = Bench().heating().scan(n1=20.0, n2=20.0, ask=[begin])
    bench.scan(n1=20.0, n2=20.0, ask=[end])
    assert (bench.on, bench.mode) == (False, Mode.STARTING)
    assert bench.cause is Cause.AWAITING_READINGS
    assert bench.scan().on


def test_switched_off_mat_stays_off_for_good():
    bench = Bench().heating()
    bench.scan(n1=15.0, n2=15.0, ask=[SetEnabled("north", False)])
    bench.run(HOUR_S, n1=15.0, n2=15.0)
    assert (bench.on, bench.mode, bench.cause) == (False, Mode.OFF, Cause.DISABLED)
    assert bench.numbers == {}


def test_hold_of_a_switched_off_mat_does_not_switch_it_on_when_it_ends():
    bench = Bench().heating()
    bench.scan(ask=[SetEnabled("north", False), Hold("north", ms(30))])
    assert bench.run(60, n1=20.0, n2=20.0).cause is Cause.DISABLED


@pytest.mark.parametrize("wish", [Hold("north", ms(600)), SetEnabled("north", False)])
def test_mat_trips_while_held_or_switched_off(wish):
    bench = warm_heating().scan(n1=32.5, n2=28.0, ask=[wish])
    bench.scan(n1=33.0, n2=28.0)
    assert bench.mode in {Mode.HELD, Mode.OFF}
    assert bench.scan(n1=33.0, n2=28.0).mode is Mode.TRIPPED


# ------------------------------------------------- off does not wait for anything


@pytest.mark.parametrize(
    ("temps", "ask"),
    [
        ({"n1": 33.0}, ()),
        ({"n1": uncertain(34.0)}, ()),
        ({"n2": BROKEN}, ()),
        ({}, [Hold("north", ms(60))]),
        ({}, [SetEnabled("north", False)]),
    ],
)
def test_refusal_ignores_the_minimum_time_on(temps, ask):
    bench = warm_heating(min_on_ms=ms(600))
    bench.scan(**{"n1": 32.0, "n2": 28.0, **temps}, ask=ask)
    assert not bench.on
    assert bench.relay.since_ms == ms(bench.now_s)


# ---------------------------------------------------------------- watch-only


def test_watch_only_mat_is_never_commanded_and_never_locked_off():
    bench = warm(relay=None)
    for temp_c in (15.0, 18.0, 22.0, 26.0, 29.0, 32.0, 33.0, 34.0, 34.0, 34.0):
        bench.scan(n1=temp_c, n2=15.0)
        assert (bench.on, bench.cause) == (False, Cause.WATCH_ONLY)
        assert bench.numbers == {}
    assert bench.mat.trip is None
    assert bench.mode is Mode.INHIBITED
    assert bench.relay == RelayState(energised=False, since_ms=0)


def test_watch_only_mat_rings_its_alarms():
    bench = warm(relay=None, surface=surface_probe())
    bench.scan(n1=31.0, n2=28.0, s1=41.0)
    assert bench.alarms == {(AlarmKind.ROOT_ZONE_WARM, "n1")}
    bench.scan(n1=31.0, n2=28.0, s1=42.0)
    assert (AlarmKind.OVER_LIMIT, "north") in bench.alarms
    bench.scan(n1=31.0, n2=28.0, s1=41.0)
    assert (AlarmKind.OVER_LIMIT, "north") not in bench.alarms
    bench.run(HOUR_S * 2, n1=31.0, n2=28.0, s1=41.0).scan(n1=33.0, n2=28.0, s1=41.0)
    assert (AlarmKind.OVER_LIMIT, "north") in bench.alarms, "who heats is not known"


# ------------------------------------------------------------ trip and reset


def test_trip_lasts_whatever_the_temperatures_say_afterwards():
    bench = tripped()
    trip = bench.mat.trip
    bench.run(2 * HOUR_S, n1=15.0, n2=15.0)
    bench.scan(ask=[SetEnabled("north", True), Hold("north", ms(0))], n1=15.0)
    bench.run(60, n1=uncertain(15.0)).run(HOUR_S)
    assert (bench.on, bench.mode, bench.cause) == (False, Mode.TRIPPED, Cause.TRIPPED)
    assert bench.mat.trip == trip


def test_reset_well_below_the_cut_out_lets_the_mat_start_again():
    bench = tripped().scan(n1=30.5, n2=28.0)
    bench.scan(n1=29.999, n2=28.0, ask=[Reset("north")])
    assert bench.decisions.answers[0].accepted
    assert bench.mat.trip is None
    assert (AlarmKind.TRIP, "north") not in bench.alarms
    assert bench.on, "its probes have all spoken in this very scan"


def test_reset_wants_good_readings_taken_since():
    bench = tripped().scan(n1=29.5, n2=28.0)
    bench.scan(ask=[Reset("north")])
    assert (bench.on, bench.mode) == (False, Mode.STARTING)
    assert bench.cause is Cause.AWAITING_READINGS
    assert bench.mat.mode_since_ms == ms(bench.now_s)
    bench.scan(n1=29.0)
    assert not bench.on
    assert bench.scan(n2=28.0).on


def refused(bench, **said):
    """Ask for a reset that must be refused; return the sentence."""
    before = bench.mat
    bench.scan(ask=[Reset("north")], **said)
    answer = bench.decisions.answers[0]
    assert not answer.accepted
    after = replace(bench.mat, warmest=before.warmest)
    assert after == before, "a refused reset changes nothing"
    assert (bench.on, bench.mode) == (False, Mode.TRIPPED)
    return answer.sentence


def test_reset_is_refused_until_three_kelvin_below_the_cut_out():
    bench = tripped()
    assert refused(bench, n1=30.0, n2=28.0) == (
        "north stays locked off: probe n1 last read 30.00 °C; "
        "wait until it is below 30.00 °C"
    )


def test_reset_is_refused_while_another_tray_is_hot():
    bench = tripped().scan(n1=30.5, n2=29.0)
    assert "probe n2 last read 30.50" in refused(bench, n1=29.0, n2=30.5)


def test_reset_is_refused_while_the_surface_is_hot():
    bench = tripped(surface=surface_probe()).scan(n1=30.5, n2=28.0, s1=44.0)
    sentence = refused(bench, n1=28.5, n2=28.0, s1=47.0)
    assert sentence.endswith("last read 47.00 °C; wait until it is below 47.00 °C")
    bench.scan(n1=28.5, n2=28.0, s1=46.9, ask=[Reset("north")])
    assert bench.decisions.answers[0].accepted


def test_reset_is_refused_on_an_uncertain_reading():
    bench = tripped()
    assert "last read 33.20" in refused(bench, n1=uncertain(20.0), n2=28.0)


def test_reset_is_refused_while_the_probe_that_tripped_gives_no_good_reading():
    bench = tripped().scan(n1=30.5, n2=28.0).scan(n1=28.0, n2=28.0)
    assert refused(bench, n1=uncertain(28.0), n2=28.0) == (
        "north stays locked off: probe n1, which locked it off, gives no good reading"
    )


def test_reset_is_refused_while_no_root_zone_probe_is_heard():
    bench = tripped().scan(n1=30.5, n2=28.0).scan(n1=28.0, n2=28.0)
    bench.run(STALE_S + 5)
    assert refused(bench) == (
        "north stays locked off: no root-zone probe of this mat gives a good reading"
    )


def test_reset_asks_only_the_probe_that_tripped_and_one_other_to_be_heard():
    bench = tripped().scan(n1=30.5, n2=28.0).scan(n1=28.0, n2=28.0)
    bench.scan(n1=28.0, n2=BROKEN, ask=[Reset("north")])
    assert bench.decisions.answers[0].accepted


def test_reset_in_the_scan_of_the_second_hot_reading_finds_nothing_to_reset():
    bench = warm_heating().scan(n1=33.0, n2=28.0)
    bench.scan(n1=33.0, n2=28.0, ask=[Reset("north")])
    assert not bench.decisions.answers[0].accepted
    assert bench.mode is Mode.TRIPPED


def test_mat_that_is_reset_while_held_or_switched_off_stays_off():
    bench = tripped().scan(n1=30.5, n2=28.0)
    bench.scan(n1=28.0, n2=28.0, ask=[Hold("north", ms(60)), Reset("north")])
    assert (bench.on, bench.mode) == (False, Mode.HELD)
    bench = tripped().scan(n1=30.5, n2=28.0)
    bench.scan(n1=28.0, n2=28.0, ask=[Reset("north"), SetEnabled("north", False)])
    assert (bench.on, bench.mode) == (False, Mode.OFF)


def test_mat_that_is_reset_trips_again():
    bench = tripped().scan(n1=30.5, n2=28.0)
    bench.scan(n1=29.0, n2=28.0, ask=[Reset("north")]).scan(n1=32.0, n2=28.0)
    first = bench.scan(n1=33.0, n2=28.0)
    assert (first.on, first.mode) == (False, Mode.INHIBITED)
    assert bench.scan(n1=33.0, n2=28.0).mode is Mode.TRIPPED


def test_first_trip_is_kept_though_others_would_follow():
    bench = tripped()
    trip = bench.mat.trip
    bench.scan(n1=34.0, n2=29.5).scan(n1=34.0, n2=33.0).scan(n1=34.0, n2=33.0)
    assert bench.mat.trip is trip
    assert bench.numbers["temp_mc"] == trip.temp_mc


def test_mats_do_not_share_trips():
    south = a_mat("south", trays=(a_tray("S1", "m1"),))
    bench = Bench(a_plan(n2_drives(programme=(StepPlan(mc(29)),)), south))
    for temp_c in (32.0, 33.0, 33.0):
        bench.scan(n1=temp_c, n2=28.0, m1=20.0)
    north, other = bench.decisions.commands
    assert (north.mat, north.cause, north.energised) == ("north", Cause.TRIPPED, False)
    assert (other.mat, other.energised) == ("south", True)
    assert isinstance(bench.state.mats["south"], MatState)
