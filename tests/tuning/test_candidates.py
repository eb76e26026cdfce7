"""Candidates: drawn from a seed, each a plan that the rules accept."""

from dataclasses import replace

import pytest

from controller.core.mat_rules import mat_problems
from controller.core.plan import DrivenBy, OnOff, Pid, StepPlan
from controller.core.units import MilliC, MilliK
from controller.review.simc import as_pid, half_rule, simc
from sim.tuning.candidates import candidates, knobs_of, simc_pid
from sim.zone_model import MatModel
from tests.tuning.mats import MODEL, NORTH, at

GRID = range(-8_000, 4_001, 500)


@pytest.fixture
def knobs():
    return knobs_of(NORTH, MODEL, GRID)


def test_every_candidate_is_accepted_and_no_two_are_alike(knobs):
    plans = candidates(knobs, 500, seed=3)
    assert len(set(plans)) == 500
    assert [list(mat_problems(plan)) for plan in plans] == [[]] * 500


def test_the_present_way_comes_first_then_a_narrow_on_off_and_simc(knobs):
    own, narrow, pid = candidates(knobs, 3, seed=3)
    assert own == NORTH
    assert narrow.policy == OnOff(MilliK(100))
    assert isinstance(pid.policy, Pid)
    assert narrow.programme == pid.programme == NORTH.programme


def test_the_same_seed_draws_the_same(knobs):
    assert candidates(knobs, 50, seed=7) == candidates(knobs, 50, seed=7)
    assert candidates(knobs, 50, seed=7) != candidates(knobs, 50, seed=8)


def test_both_policies_get_their_share(knobs):
    plans = candidates(knobs, 400, seed=1)
    on_off = sum(isinstance(plan.policy, OnOff) for plan in plans)
    assert 150 < on_off < 250


def test_what_belongs_to_a_person_stays(knobs):
    for plan in candidates(knobs, 200, seed=1):
        tuned = {
            name: getattr(NORTH, name)
            for name in (
                "policy",
                "programme",
                "driven_by",
                "driving_tray",
                "min_on_ms",
                "min_off_ms",
            )
        }
        assert replace(plan, **tuned) == NORTH


def test_a_programme_of_steps_is_left_alone():
    steps = (StepPlan(MilliC(24_000), days=10.0), StepPlan(MilliC(18_000)))
    own = replace(NORTH, programme=steps)
    plans = candidates(knobs_of(own, MODEL, GRID), 100, seed=1)
    assert {plan.programme for plan in plans} == {steps}


def test_setpoints_that_a_limit_forbids_are_not_drawn():
    own = at(28.0, warn_mc=30_000)
    plans = candidates(knobs_of(own, MODEL, GRID), 300, seed=1)
    assert max(plan.programme[0].setpoint_mc for plan in plans) == 29_000


def test_nobody_is_led_to_the_coolest_tray_by_a_search(knobs):
    plans = candidates(knobs, 300, seed=1)
    assert DrivenBy.COOLEST not in {plan.driven_by for plan in plans}
    own = replace(NORTH, driven_by=DrivenBy.COOLEST, driving_tray=None)
    plans = candidates(knobs_of(own, MODEL, GRID), 300, seed=1)
    assert DrivenBy.COOLEST in {plan.driven_by for plan in plans}


def test_the_gains_are_those_of_simc_for_the_driving_zone(knobs):
    zone = MODEL.zones[1]
    reduced = half_rule(zone.gain_k, zone.lags_s, delay_s=300.0)
    told = as_pid(simc(reduced, 2 * reduced.delay_s))
    found = simc_pid(knobs, NORTH, 2.0, 600_000)
    assert found.gain_per_k == pytest.approx(told.gain_per_k, rel=0.05)
    assert found.integral_s == pytest.approx(told.integral_s, abs=150)


def test_three_lags_and_two_drive_by_their_mean():
    zones = MODEL.zones[0], replace(MODEL.zones[1], between_s=4_000.0)
    knobs = knobs_of(NORTH, MatModel("north", zones), GRID)
    plan = replace(NORTH, driven_by=DrivenBy.MEAN, driving_tray=None)
    each = [half_rule(z.gain_k, z.lags_s, delay_s=300.0) for z in zones]
    gain_k, lag_s, delay_s = (
        sum(getattr(one, name) for one in each) / 2
        for name in ("gain_k", "lag_s", "delay_s")
    )
    assert each[1].delay_s > each[0].delay_s
    told = as_pid(simc(replace(each[0], gain_k=gain_k, lag_s=lag_s, delay_s=delay_s)))
    found = simc_pid(knobs, plan, 1.0, 600_000)
    assert found.gain_per_k == pytest.approx(told.gain_per_k, rel=0.05)
    assert found.integral_s == pytest.approx(told.integral_s, abs=150)


def test_no_candidate_at_all_is_refused(knobs):
    with pytest.raises(ValueError, match=r"^candidates = 0: at least 1"):
        candidates(knobs, 0, seed=1)
