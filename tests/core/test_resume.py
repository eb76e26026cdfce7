"""A new run goes on from an earlier one: what stays, what must be said again."""

from dataclasses import replace

import pytest

from controller.core.decisions import Cause
from controller.core.plan import OnOff, Pid, RelayKind, StepPlan
from controller.core.scan import Hold, LogHealth, Reset, SetEnabled, SetSetpoint
from controller.core.state import (
    MatState,
    Mode,
    PowerState,
    ProbeState,
    RelayState,
    Trip,
    fresh_state,
    resumed_state,
    with_trips,
)
from tests.builders import BROKEN, Bench, a_mat, a_plan, a_tray, mc, ms, surface_probe

COLD = {"n1": 20.0, "n2": 20.0}
HOUR_S = 3600
WARM_PROGRAMME = (StepPlan(mc(29)),)


def restarted(bench, away_s=60.0, *, plan=None, known=True):
    """Return the bench in a new run, this long after the last scan."""
    plan = plan or bench.plan
    now_s = bench.now_s + (away_s if known else 0)
    state = resumed_state(plan, bench.state, ms(now_s), outage_known=known)
    return Bench(plan, state, now_s)


def a_trip(**changes):
    made = Trip(Cause.OVER_CUTOUT, "n1", mc(33.5), mc(33), ms(100), 0)
    return replace(made, **changes)


def tripped():
    bench = Bench(a_plan(a_mat(programme=WARM_PROGRAMME))).heating(n1=30.0, n2=27.0)
    bench.scan(n1=33.0, n2=28.0).scan(n1=33.2, n2=28.0)
    assert bench.mode is Mode.TRIPPED
    return bench


# ---------------------------------------------------------------------- trips


@pytest.mark.parametrize("known", [True, False])
def test_trip_survives_a_restart(known):
    before = tripped()
    bench = restarted(before, known=known)
    assert bench.mode is Mode.TRIPPED
    bench.run(HOUR_S, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.TRIPPED)
    assert bench.mat.trip == before.mat.trip
    bench.scan(**COLD, ask=[Reset("north")])
    assert bench.decisions.answers[0].accepted


def test_reset_after_a_restart_waits_for_the_probe_that_tripped():
    bench = restarted(tripped()).scan(n2=20.0, ask=[Reset("north")])
    assert bench.decisions.answers[0].sentence == (
        "north stays locked off: probe n1, which locked it off, gives no good reading"
    )
    assert bench.scan(**COLD, ask=[Reset("north")]).mat.trip is None


def test_trip_of_a_probe_that_the_plan_no_longer_has_can_be_reset():
    plan = a_plan(a_mat(trays=(a_tray("N2", "n2"),)))
    bench = restarted(tripped(), plan=plan)
    assert bench.mode is Mode.TRIPPED
    bench.scan(n2=20.0, ask=[Reset("north")])
    assert bench.decisions.answers[0].accepted


def test_trip_outlasts_a_run_in_which_the_mat_is_only_watched():
    bench = restarted(tripped(), plan=a_plan(a_mat(relay=None)))
    began_ms = ms(bench.now_s)
    bench.run(60, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.WATCH_ONLY)
    assert (bench.mode, bench.mat.mode_since_ms) == (Mode.TRIPPED, began_ms)
    bench = restarted(bench, plan=a_plan(a_mat())).run(60, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.TRIPPED)


def test_trips_of_the_side_file_are_united_with_the_log():
    plan = a_plan()
    state = with_trips(fresh_state(plan), {"north": a_trip(), "gone": a_trip()})
    assert set(state.mats) == {"north"}
    assert state.mats["north"].mode is Mode.TRIPPED
    bench = Bench(plan, state).run(60, **COLD)
    assert (bench.on, bench.mode, bench.cause) == (
        False,
        Mode.TRIPPED,
        Cause.TRIPPED,
    )
    assert bench.mat.trip == a_trip()


def test_trip_that_the_log_knows_is_not_replaced():
    state = tripped().state
    united = with_trips(state, {"north": a_trip(probe="n2")})
    assert united.mats["north"] is state.mats["north"]


# ------------------------------------------------------------------ a new start


def test_every_run_starts_off_until_its_probes_have_spoken_again():
    before = Bench().heating()
    bench = restarted(before)
    assert bench.state.probes == {"n1": ProbeState(), "n2": ProbeState()}
    assert (bench.mode, bench.relay.energised) == (Mode.STARTING, False)
    assert bench.mat.mode_since_ms == ms(bench.now_s)
    assert bench.state.started_ms == bench.state.run_ms == ms(bench.now_s)
    assert not bench.scan(n1=20.0).on
    assert bench.scan(n2=20.0).on


def test_demand_and_cycle_begin_anew_and_the_integral_goes_on():
    mat = a_mat(policy=Pid(), min_on_ms=ms(60), min_off_ms=ms(60))
    before = Bench(a_plan(mat)).run(200, **COLD)
    assert before.mat.demand
    assert before.mat.cycle is not None
    after = restarted(before).mat
    assert (after.demand, after.cycle) == (False, None)
    assert after.pid == before.mat.pid is not None
    assert after.ramp == before.mat.ramp is not None
    assert after.limit_ramp == before.mat.limit_ramp is not None


def test_log_must_be_seen_writable_again():
    bench = restarted(Bench().heating())
    bench.log = LogHealth.FAILED
    assert bench.scan(**COLD).cause is Cause.LOG_NOT_READY


def test_alarms_and_link_are_found_anew():
    before = Bench().heating(n1=20.5)
    before.link_up = False
    before.run(200, n2=20.0)
    assert before.alarms and before.state.link_down_ms is not None
    after = restarted(before).state
    assert (after.alarms, after.link_down_ms, after.log_ready) == ((), None, False)


def test_lost_warmest_probe_is_remembered():
    bench = restarted(Bench().heating(n1=20.5).run(30, n1=20.5, n2=20.0))
    bench.run(200, n2=20.0)
    assert (bench.on, bench.cause) == (False, Cause.WARMEST_LOST)
    assert bench.numbers == {}, "what it said is not remembered"
    assert bench.scan(**COLD).on


def test_minimum_time_off_begins_with_the_run():
    bench = Bench(a_plan(a_mat(min_off_ms=ms(120)))).run(300, **COLD)
    assert bench.on
    bench = restarted(bench).run(115, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.MIN_OFF)
    assert bench.scan(**COLD).on


# ---------------------------------------------------------------------- relay


def test_time_on_is_counted_up_to_the_last_scan_that_saw_it():
    before = Bench().heating().run(600, **COLD)
    bench = restarted(before, away_s=HOUR_S)
    assert bench.relay == RelayState(
        energised=False,
        since_ms=ms(605 + HOUR_S),
        on_seq=0,
        heated_ms=ms(605 + HOUR_S),
        on_ms=ms(600),
        operations=1,
    )


def test_time_on_is_added_up_over_many_runs():
    bench = Bench().heating().run(600, **COLD)
    bench = restarted(restarted(bench).heating().run(300, **COLD))
    assert bench.relay.on_ms == ms(900)
    assert bench.relay.operations == 2


def test_time_off_adds_nothing_and_forgets_nothing():
    before = Bench().heating().run(600, **COLD).scan(n1=22.0, n2=22.0)
    bench = restarted(before.run(60, n1=22.0, n2=22.0), away_s=HOUR_S)
    assert (bench.relay.on_ms, bench.relay.heated_ms) == (ms(605), ms(610))
    assert bench.relay.since_ms == ms(bench.now_s)
    assert bench.relay.mean_duty == before.relay.mean_duty > 0


def test_relay_that_said_on_may_have_heated_until_the_new_run():
    before = Bench().heating().scan(n1=22.0, n2=22.0)
    before.scan(reports=[before.report(on=True)])
    bench = restarted(before, away_s=HOUR_S)
    assert bench.relay.heated_ms == ms(bench.now_s)
    assert bench.relay.disagrees_ms is None


@pytest.mark.parametrize(
    ("was_on", "mode"), [(True, Mode.TRIPPED), (False, Mode.INHIBITED)]
)
def test_sun_during_an_outage_is_told_from_a_mat_that_was_on_when_it_began(
    was_on, mode
):
    mat = a_mat(programme=WARM_PROGRAMME, relay=RelayKind.PIN)
    before = Bench(a_plan(mat)).heating(n1=28.0, n2=28.0)
    if not was_on:
        before.scan(n1=30.0, n2=30.0)
    bench = restarted(before, away_s=2 * HOUR_S)
    bench.scan(n1=33.5, n2=30.0).scan(n1=33.5, n2=30.0)
    assert bench.mode is mode


# --------------------------------------------------------------- degree-hours


def counted(bench, name="N1"):
    return bench.state.accounts[name]


def test_outage_of_known_length_is_a_gap():
    before = Bench().heating().run(600, **COLD)
    bench = restarted(before, away_s=HOUR_S).scan(**COLD)
    account = counted(bench)
    assert (account.measured_ms, account.gaps) == (ms(600), 1)
    assert account.gap_ms == ms(HOUR_S + 5)


def test_outage_of_unknown_length_is_no_gap_that_could_be_counted():
    before = Bench().heating().run(600, **COLD)
    bench = restarted(before, known=False).scan(**COLD).scan(**COLD)
    account = counted(bench)
    assert (account.measured_ms, account.gap_ms, account.gaps) == (ms(605), 0, 0)
    assert account.heat_mk_ms == 10_000 * ms(605)


@pytest.mark.parametrize("change", [{"base_mc": 7_000}, {"upper_mc": 28_000}])
def test_degree_hours_of_another_base_are_not_continued(change):
    before = Bench().heating().run(600, **COLD)
    trays = (a_tray("N1", "n1", **change), a_tray("N2", "n2"))
    bench = restarted(before, plan=a_plan(a_mat(trays=trays)))
    assert counted(bench).measured_ms == 0
    assert counted(bench).last_ms is None
    assert (counted(bench).base_mc, counted(bench).upper_mc) == (
        change.get("base_mc", 10_000),
        change.get("upper_mc"),
    )
    assert counted(bench, "N2") == counted(before, "N2")


def test_tray_that_moved_to_no_mat_keeps_its_degree_hours():
    before = Bench().heating().run(600, **COLD)
    mat = a_mat(trays=(a_tray("N2", "n2"),))
    bench = restarted(before, plan=a_plan(mat, trays=(a_tray("N1", "n1"),)))
    assert counted(bench) == counted(before)


# ------------------------------------------------- setpoints, steps, by hand


def test_override_survives():
    before = Bench().heating().scan(ask=[SetSetpoint("north", mc(23))])
    bench = restarted(before).scan(**COLD)
    assert bench.mat.override == before.mat.override is not None
    assert bench.mat.ramp.to_mc == mc(23)


def test_override_is_dropped_when_the_plans_setpoint_changes():
    before = Bench().heating().scan(ask=[SetSetpoint("north", mc(23))])
    plan = a_plan(a_mat(programme=(StepPlan(mc(22)),), policy=OnOff(500)))
    bench = restarted(before, plan=plan)
    assert bench.mat.override is None
    assert bench.scan(**COLD).mat.ramp.to_mc == mc(22)


def test_override_survives_other_changes_of_the_plan():
    before = Bench().heating().scan(ask=[SetSetpoint("north", mc(23))])
    plan = a_plan(a_mat(warn_mc=mc(29), policy=OnOff(500)))
    assert restarted(before, plan=plan).mat.override == before.mat.override


def test_override_that_outlived_its_step_survives_a_restart_too():
    programme = (StepPlan(mc(24), days=1.0), StepPlan(mc(21)))
    before = Bench(a_plan(a_mat(programme=programme))).heating()
    before.scan(ask=[SetSetpoint("north", mc(23))]).scan(after_s=25 * HOUR_S)
    assert before.mat.step == 1
    assert restarted(before).mat.override == before.mat.override is not None


def test_step_goes_on_where_it_was():
    programme = (
        StepPlan(mc(24), days=1.0),
        StepPlan(mc(21), days=1.0),
        StepPlan(mc(17)),
    )
    before = Bench(a_plan(a_mat(programme=programme))).heating()
    before.scan(after_s=30 * HOUR_S)
    bench = restarted(before)
    assert (bench.mat.step, bench.mat.step_since_ms) == (1, ms(24 * HOUR_S))


def test_step_beyond_a_shorter_programme_becomes_its_last_one_anew():
    programme = (StepPlan(mc(24), days=1.0), StepPlan(mc(21)))
    before = Bench(a_plan(a_mat(programme=programme))).heating()
    before.scan(after_s=30 * HOUR_S)
    bench = restarted(before, plan=a_plan(a_mat()))
    assert (bench.mat.step, bench.mat.step_since_ms) == (0, ms(bench.now_s))


def test_hold_and_switch_survive():
    before = Bench().heating()
    before.scan(ask=[Hold("north", ms(600)), SetEnabled("north", False)])
    bench = restarted(before).run(300, **COLD)
    assert bench.cause is Cause.DISABLED
    bench.scan(**COLD, ask=[SetEnabled("north", True)])
    assert bench.cause is Cause.HELD
    bench.run(240, **COLD)
    assert bench.on


def test_what_the_plan_no_longer_has_is_dropped_and_what_is_new_is_fresh():
    before = Bench(a_plan(a_mat(surface=surface_probe()))).heating()
    south = a_mat("south", trays=(a_tray("S1", "m1"),))
    bench = restarted(before, plan=a_plan(south))
    now_ms = ms(bench.now_s)
    relay = RelayState(energised=False, since_ms=now_ms)
    fresh = MatState(Mode.STARTING, now_ms, relay, step_since_ms=now_ms)
    assert bench.state.mats == {"south": fresh}
    assert set(bench.state.probes) == {"m1"}
    assert set(bench.state.accounts) == {"S1"}
    assert bench.scan(m1=BROKEN).cause is Cause.AWAITING_READINGS


def test_what_relay_and_wattmeter_said_in_the_earlier_run_says_nothing_now():
    bench = Bench().heating()
    power = PowerState(ms(bench.now_s), True, ms(bench.now_s))
    relay = replace(bench.relay, said=True)
    mats = {"north": replace(bench.mat, relay=relay, power=power)}
    bench.state = replace(bench.state, mats=mats)
    after = restarted(bench)
    assert (after.relay.said, after.mat.power) == (None, None)
