"""Reasons to refuse heat: each appears when it should, holds, and ends as it may."""

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import OnLogFailure, RelayKind
from controller.core.scan import Hold, LogHealth, Reset, SetEnabled
from controller.core.state import Mode, RelayState
from tests.builders import (
    BROKEN,
    Bench,
    Said,
    a_mat,
    a_plan,
    a_tray,
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


def test_start_says_how_many_it_heard_and_for_how_long_it_waits():
    trays = tuple(a_tray(f"N{n}", f"n{n}") for n in (1, 2, 3))
    bench = Bench(a_plan(a_mat(trays=trays)), now_s=1_000).scan(n1=20.0)
    bench.scan(n3=20.0)
    assert bench.numbers == {"heard": 2, "waited_ms": 10_000}


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
    assert bench.numbers == {"heard": 0, "waited_ms": 0}
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
    bench.run(STEADY_S, n1=31.0, n2=28.0, s1=41.0)
    assert (AlarmKind.OVER_LIMIT, "north") not in bench.alarms
    bench.run(HOUR_S * 2, n1=31.0, n2=28.0, s1=41.0).scan(n1=33.0, n2=28.0, s1=41.0)
    assert (AlarmKind.OVER_LIMIT, "north") in bench.alarms, "who heats is not known"
