"""One scan: the order of things, demand and permission joined, what is flushed."""

from dataclasses import replace

import pytest

from controller.core.decisions import Cause, Doubted
from controller.core.plan import Pid, ProbePlan, StepPlan
from controller.core.scan import Hold, Reading, Scan, SetSetpoint
from controller.core.state import Mode
from controller.core.step import step
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

COLD = {"n1": 20.0, "n2": 20.0}
WARM = {"n1": 22.0, "n2": 22.0}


def next_scan(bench, **changes):
    """Return the empty scan that comes next, with changes."""
    scan = Scan(bench.seq + 1, ms(bench.now_s + 5), UTC_MS, True, 20_000, 720)
    return replace(scan, **changes)


# ---------------------------------------------------------- demand and permission


def test_mat_heats_below_its_band_and_not_above_it_and_as_before_within_it():
    bench = Bench().scan(n1=20.874, n2=20.874)
    assert (bench.on, bench.cause) == (True, Cause.BELOW_BAND)
    assert bench.numbers == {
        "root_mc": 20_874,
        "setpoint_mc": 21_000,
        "low_mc": 20_875,
        "high_mc": 21_125,
    }
    for temp_c in (20.875, 21.125):
        bench.scan(n1=temp_c, n2=temp_c)
        assert (bench.on, bench.cause) == (True, Cause.WITHIN_BAND)
    bench.scan(n1=21.126, n2=21.126)
    assert (bench.on, bench.cause) == (False, Cause.ABOVE_BAND)
    for temp_c in (21.125, 20.875):
        bench.scan(n1=temp_c, n2=temp_c)
        assert (bench.on, bench.cause) == (False, Cause.WITHIN_BAND)
    assert bench.scan(n1=20.874, n2=20.874).on
    assert bench.mode is Mode.REGULATING


def test_refused_mat_forgets_what_was_demanded():
    bench = Bench().heating().scan(n1=21.0, n2=21.0)
    assert (bench.on, bench.cause) == (True, Cause.WITHIN_BAND)
    bench.scan(n1=21.0, n2=21.0, ask=[Hold("north", ms(10))])
    assert not bench.mat.demand
    bench.run(15, n1=21.0, n2=21.0)
    assert (bench.on, bench.cause) == (False, Cause.WITHIN_BAND)


def test_minimum_times_hold_regulation_back_and_say_for_how_long_it_has_lasted():
    bench = Bench(a_plan(a_mat(min_on_ms=ms(20), min_off_ms=ms(30))))
    bench.scan(**WARM)
    assert bench.cause is Cause.ABOVE_BAND, "nothing is held back"
    bench.run(20, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.MIN_OFF)
    assert bench.command.mat == "north"
    assert bench.numbers["lasting_ms"] == 25_000
    assert bench.numbers["root_mc"] == 20_000, "and what was demanded"
    assert bench.scan(**COLD).on
    bench.run(15, **WARM)
    assert (bench.on, bench.cause) == (True, Cause.MIN_ON)
    assert bench.numbers["lasting_ms"] == 15_000
    assert not bench.scan(**WARM).on


def test_setpoint_in_force_is_the_one_on_its_ramp():
    bench = Bench(a_plan(a_mat(ramp_mk_per_h=1_000))).scan(**COLD)
    bench.scan(**COLD, ask=[SetSetpoint("north", mc(25))])
    bench.scan(**COLD, after_s=1_800).scan(**COLD, after_s=0.001)
    assert bench.numbers["setpoint_mc"] == 21_500


def test_setpoint_that_changes_on_its_way_turns_where_it_stands():
    bench = Bench(a_plan(a_mat(ramp_mk_per_h=1_000))).scan(**COLD)
    bench.scan(**COLD, ask=[SetSetpoint("north", mc(25))])
    bench.scan(**COLD, after_s=3_600)
    bench.scan(ask=[SetSetpoint("north", mc(24))], after_s=0)
    assert bench.numbers["setpoint_mc"] == 22_000
    bench.scan(**COLD, after_s=3_600)
    assert bench.numbers["setpoint_mc"] == 23_000


@pytest.mark.parametrize(("minute", "temp_c"), [(720, 21), (1_380, 18)])
def test_night_setpoint_is_in_force_by_night(minute, temp_c):
    plan = a_plan(a_mat(programme=(StepPlan(mc(21), night_mc=mc(18)),)))
    bench = Bench(plan)
    cold = tuple(Reading(name, ms(5), 15_000) for name in COLD)
    scan = next_scan(bench, local_minute=minute, readings=cold)
    _, decisions = step(plan, bench.state, scan)
    assert dict(decisions.commands[0].numbers)["setpoint_mc"] == mc(temp_c)


def test_pid_gathers_what_is_missing_from_scan_to_scan():
    bench = Bench(a_plan(a_mat(policy=Pid()))).run(60, n1=20.8, n2=20.8)
    early = bench.numbers["integral"]
    bench.run(1_800, n1=20.8, n2=20.8)
    assert bench.numbers["integral"] > early + 0.01


def test_pid_that_remembers_nothing_begins_with_what_the_mat_was_lately_on():
    bench = Bench(a_plan(a_mat(policy=Pid())))
    known = bench.state.mats["north"]
    relay = replace(known.relay, mean_duty=0.375)
    bench.state = replace(bench.state, mats={"north": replace(known, relay=relay)})
    bench.scan(n1=21.0, n2=21.0)
    assert bench.numbers["integral"] == pytest.approx(0.375, abs=1e-3)


@pytest.mark.parametrize(("ramp", "follows"), [(60_000, True), (None, False)])
def test_proportional_part_follows_a_ramp_and_takes_a_jump_over_smoothly(ramp, follows):
    bench = Bench(a_plan(a_mat(policy=Pid(gain_per_k=0.3), ramp_mk_per_h=ramp)))
    bench.run(60, n1=21.0, n2=21.0)
    before = bench.numbers["duty"]
    bench.scan(ask=[SetSetpoint("north", mc(22))]).run(60, n1=21.0, n2=21.0)
    rose = bench.numbers["duty"] - before
    # 0.3 of full power for one kelvin, where the setpoint came by its ramp
    assert rose == pytest.approx(0.3 if follows else 0.0, abs=0.02)


def test_pid_mat_is_on_for_the_first_part_of_each_cycle():
    mat = a_mat(policy=Pid(), min_on_ms=ms(60), min_off_ms=ms(60))
    bench = Bench(a_plan(mat)).run(55, **COLD)
    assert (bench.on, bench.cause) == (False, Cause.MIN_OFF)
    bench.scan(**COLD)
    assert (bench.on, bench.cause) == (True, Cause.DUTY_ON)
    numbers = bench.numbers
    assert (numbers["root_mc"], numbers["setpoint_mc"]) == (20_000, 21_000)
    assert numbers["cycle_ms"] == 600_000
    assert 0 < numbers["duty"] <= 1
    assert 0 < numbers["on_ms"] < 600_000
    assert "integral" in numbers
    left_s = numbers["on_ms"] / 1000 - 55
    bench.run(left_s - 5, **COLD)
    assert bench.on
    bench.scan(**COLD)
    assert (bench.on, bench.cause) == (False, Cause.DUTY_OFF)


def test_pid_cycle_begins_anew_after_a_refusal():
    mat = a_mat(policy=Pid())
    bench = Bench(a_plan(mat)).run(60, **COLD)
    assert bench.mat.cycle.start_ms == ms(5)
    bench.scan(n1=BROKEN, n2=BROKEN)
    assert (bench.on, bench.mat.cycle) == (False, None)
    bench.scan(**COLD)
    assert bench.mat.cycle.start_ms == ms(bench.now_s)


# ------------------------------------------------------------------- decisions


def test_every_mat_gets_one_command_in_plan_order():
    mats = (
        a_mat("zinnia", trays=(a_tray("Z1", "z1"),)),
        a_mat("shelf", relay=None, trays=()),
        a_mat("aster", policy=Pid(), trays=(a_tray("A1", "a1"),)),
    )
    bench = Bench(a_plan(*mats))
    for said in ({}, {"a1": 20.0}, {"z1": 20.0, "a1": 20.0}, {"a1": BROKEN}):
        bench.scan(**said)
        names = [command.mat for command in bench.decisions.commands]
        assert names == ["zinnia", "shelf", "aster"]


def test_bench_without_mats_is_only_logged():
    trays = (a_tray("T1", "t1"), a_tray("T2"))
    plan = replace(a_plan(), mats=(), trays=trays)
    bench = Bench(plan).run(60, t1=20.0)
    assert bench.decisions.commands == ()
    assert bench.state.accounts["T1"].measured_ms == 55_000


def test_switch_on_is_flushed_and_a_switch_off_or_a_renewal_is_not():
    bench = Bench().scan(**WARM)
    assert (bench.on, bench.decisions.flush) == (False, False)
    bench.scan(**COLD)
    assert (bench.on, bench.decisions.flush) == (True, True)
    bench.scan(**COLD)
    assert (bench.on, bench.decisions.flush) == (True, False)
    bench.scan(**WARM)
    assert (bench.on, bench.decisions.flush) == (False, False)


def test_switch_on_of_any_mat_is_flushed():
    south = a_mat("south", trays=(a_tray("S1", "m1"),))
    bench = Bench(a_plan(a_mat(), south)).scan(**COLD, m1=22.0)
    assert not bench.scan(**COLD, m1=22.0).decisions.flush
    assert bench.scan(**COLD, m1=20.0).decisions.flush


def test_doubts_are_told_in_order_of_arrival():
    bench = Bench().heating().scan(n1=85.0, n2=uncertain(20.0))
    doubts = bench.decisions.doubts
    assert [(d.probe, d.why) for d in doubts] == [
        ("n1", Doubted.POWER_UP),
        ("n2", Doubted.UNCERTAIN),
    ]


def test_unknown_probes_are_passed_over():
    bench = Bench().heating()
    before = bench.state
    bench.scan([Reading("stranger", ms(10), 99_000)])
    assert bench.decisions.doubts == ()
    assert bench.state.probes == before.probes
    assert bench.state.accounts == before.accounts
    bench.scan([Reading("stranger", ms(15), 99_000)], n2=20.5)
    assert bench.probe("n2").good_mc == 20_500, "those after them are heard"


# ------------------------------------------------------------------------ time


def test_run_clock_that_goes_back_stands_still():
    bench = Bench().heating().run(60, **COLD)
    now_s = bench.now_s
    bench.scan(after_s=-50)
    assert bench.state.run_ms == ms(now_s)
    assert bench.on
    bench.scan(**COLD, after_s=10)
    assert bench.state.run_ms == ms(now_s)
    assert bench.scan(**COLD, after_s=100).state.run_ms == ms(now_s + 60)


@pytest.mark.parametrize("utc_ms", [0, -(10**13), 10**13])
def test_wall_clock_has_no_part_in_what_is_commanded(utc_ms):
    bench = Bench(a_plan(a_mat(policy=Pid()))).run(300, **COLD)
    usual, decisions = step(bench.plan, bench.state, next_scan(bench))
    odd_scan = next_scan(bench, utc_ms=utc_ms, clock_ok=False)
    assert step(bench.plan, bench.state, odd_scan) == (usual, decisions)


# --------------------------------------------------------------- degree-hours


def account(bench, name="N1"):
    return bench.state.accounts[name]


def test_degree_hours_count_between_good_readings_only():
    bench = Bench().scan(n1=20.0).scan(n1=uncertain(30.0)).scan(n1=20.0)
    assert (account(bench).measured_ms, account(bench).gaps) == (10_000, 0)
    assert account(bench).heat_mk_ms == 10_000 * 10_000
    assert account(bench, "N2").last_ms is None


def test_silence_of_exactly_the_stale_time_is_bridged_and_a_longer_one_is_a_gap():
    bench = Bench().scan(n1=20.0).scan(n1=20.0, after_s=120)
    assert (account(bench).measured_ms, account(bench).gap_ms) == (120_000, 0)
    bench.scan(n1=20.0, after_s=120.001)
    assert (account(bench).measured_ms, account(bench).gap_ms) == (120_000, 120_001)


def test_tray_of_several_probes_counts_their_mean_by_the_most_patient():
    patient = ProbePlan(name="n2", stale_after_ms=ms(300))
    tray = replace(a_tray("N1", "n1"), probes=(ProbePlan(name="n1"), patient))
    bench = Bench(a_plan(a_mat(trays=(tray,)))).scan(n1=20.0, n2=24.0)
    bench.scan(n1=20.0, n2=24.0, after_s=250)
    assert account(bench).measured_ms == 250_000
    assert account(bench).last_mc == 22_000
    assert account(bench).heat_mk_ms == 11_000 * 250_000


def test_tray_counts_though_one_of_its_probes_is_only_older_than_a_doubt():
    tray = a_tray("N1", "n1")
    bench = Bench(a_plan(a_mat(trays=(tray,)))).scan(n1=20.0).scan(n1=uncertain(20.0))
    older = bench.reading("n1", Said(20.0, ago_s=1))
    bench.scan([older])
    assert account(bench).last_ms == ms(5), "a doubted probe tells no temperature"


@pytest.mark.parametrize("place", ["surface", "room"])
def test_probes_that_are_in_no_tray_count_nowhere(place):
    plan = a_plan(a_mat(surface=surface_probe("x")))
    if place == "room":
        plan = a_plan(room=(ProbePlan(name="x"),))
    bench = Bench(plan).scan(x=30.0).scan(x=30.0)
    assert bench.probe("x").good_mc == 30_000
    assert {a.last_ms for a in bench.state.accounts.values()} == {None}


def test_probe_of_a_tray_on_no_mat_guards_nothing():
    bench = Bench(a_plan(trays=(a_tray("T1", "t1"),))).heating(t1=45.0)
    bench.run(60, **COLD, t1=45.0)
    assert bench.on
    assert bench.probe("t1").over_cutout == 0
    assert account(bench, "T1").measured_ms == 60_000


# ------------------------------------------------------------------- purity


def test_step_leaves_its_inputs_as_they_were_and_answers_alike():
    bench = Bench().heating()
    before = bench.state
    kept = replace(before, probes=dict(before.probes), mats=dict(before.mats))
    hot = (Reading("n1", ms(bench.now_s + 4), 23_000),)
    scan = next_scan(bench, readings=hot, link_up=False)
    assert step(bench.plan, before, scan) == step(bench.plan, before, scan)
    assert before == kept


def test_quiet_scan_keeps_what_did_not_change():
    bench = Bench().heating().scan(**COLD)
    before = bench.state
    bench.scan()
    assert bench.state.probes is before.probes
    assert bench.state.accounts is before.accounts
    assert bench.mat is before.mats["north"]
