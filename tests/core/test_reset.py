"""A trip lasts until a person resets it, and a reset is not always granted."""

from dataclasses import replace

from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import StepPlan
from controller.core.scan import Hold, Reset, SetEnabled
from controller.core.state import MatState, Mode
from tests.builders import (
    BROKEN,
    Bench,
    a_mat,
    a_plan,
    a_tray,
    mc,
    ms,
    n2_drives,
    surface_probe,
    tripped,
    uncertain,
    warm_heating,
)

HOUR_S = 3600
STALE_S = 120


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
