"""Which setpoint is in force: programme, night, override, ramp."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.plan import Night, StepPlan
from controller.core.plan_rules import problems
from controller.core.scan import Scan
from controller.core.setpoints import (
    LIMIT_FALL_MK_PER_H,
    heading_for,
    is_night,
    limit_reference,
    on_ramp,
    present_step,
    target,
)
from controller.core.state import MatState, Mode, Override, Ramp, RelayState
from controller.core.units import DAY_MS, HOUR_MS
from tests.builders import UTC_MS, a_mat, a_plan, mc

NIGHT_STEP = StepPlan(mc(24), night_mc=mc(19))


def scan_at(minute, *, clock_ok=True):
    return Scan(1, 0, UTC_MS, clock_ok, 20_000, minute)


def mat_with(*programme, **changes):
    return a_mat(programme=programme, **changes)


def in_step(step, since_ms):
    relay = RelayState(energised=False, since_ms=0)
    return MatState(Mode.STARTING, 0, relay, step=step, step_since_ms=since_ms)


# -------------------------------------------------------------------- programme

PROGRAMME = mat_with(
    StepPlan(mc(25), days=2),
    StepPlan(mc(22), days=0.5),
    StepPlan(mc(20)),
    StepPlan(mc(18), days=1),
    StepPlan(mc(16)),
)
START_MS = 12_345


@pytest.mark.parametrize(
    ("days", "step", "since_days"),
    [(0, 0, 0), (1.99, 0, 0), (2, 1, 2), (2.4, 1, 2), (2.5, 2, 2.5), (99, 2, 2.5)],
)
def test_steps_end_on_the_run_clock_and_several_at_once(days, step, since_days):
    now_ms = START_MS + round(days * DAY_MS)
    since_ms = START_MS + since_days * DAY_MS
    found = present_step(PROGRAMME, in_step(0, START_MS), now_ms)
    assert found == (step, since_ms)


def test_step_ends_to_the_millisecond():
    begun = in_step(0, START_MS)
    end_ms = START_MS + 2 * DAY_MS
    assert present_step(PROGRAMME, begun, end_ms - 1) == (0, START_MS)
    assert present_step(PROGRAMME, begun, end_ms) == (1, end_ms)


def test_step_that_ends_by_hand_stays_and_the_one_after_it_counts_from_then():
    assert present_step(PROGRAMME, in_step(2, START_MS), 1_000 * DAY_MS)[0] == 2
    late = 50 * DAY_MS
    assert present_step(PROGRAMME, in_step(3, late), late + DAY_MS - 1) == (3, late)
    ended = late + DAY_MS
    assert present_step(PROGRAMME, in_step(3, late), ended) == (4, ended)


def test_last_step_stays_for_good():
    assert present_step(PROGRAMME, in_step(4, 7), 10_000 * DAY_MS) == (4, 7)


def test_last_step_stays_even_where_it_has_days():
    mat = mat_with(StepPlan(mc(25), days=1))
    assert present_step(mat, in_step(0, 0), 3 * DAY_MS) == (0, 0)


@settings(deadline=None, max_examples=50)
@given(st.floats(1e-6, 5), st.integers(0, 10**9))
def test_step_never_begins_in_the_future(days, start_ms):
    mat = mat_with(StepPlan(mc(25), days=days), StepPlan(mc(20)))
    now_ms = start_ms + int(days * DAY_MS)
    for later_ms in (now_ms, now_ms + 1):
        step, since_ms = present_step(mat, in_step(0, start_ms), later_ms)
        assert since_ms <= later_ms
    assert step == 1
    assert abs(since_ms - (start_ms + days * DAY_MS)) <= 0.5


# ------------------------------------------------------------------------ night


@pytest.mark.parametrize(
    ("minute", "night"),
    [(0, True), (359, True), (360, False), (1319, False), (1320, True), (1439, True)],
)
def test_night_may_span_midnight(minute, night):
    assert is_night(Night(22 * 60, 6 * 60), scan_at(minute)) is night


@pytest.mark.parametrize(
    ("minute", "night"),
    [(0, False), (59, False), (60, True), (299, True), (300, False)],
)
def test_night_may_lie_within_a_day(minute, night):
    assert is_night(Night(60, 300), scan_at(minute)) is night


@pytest.mark.parametrize("minute", [0, 299, 300, 301, 1_439])
def test_night_of_no_length_is_never_and_no_plan_may_have_it(minute):
    none = Night(300, 300)
    assert not is_night(none, scan_at(minute))
    assert [found.where for found in problems(a_plan(a_mat(night=none)))] == [
        "mat north: night"
    ]


def test_night_setpoint_holds_by_night_only():
    mat = mat_with(NIGHT_STEP)
    assert target(mat, 0, None, scan_at(0)) == mc(19)
    assert target(mat, 0, None, scan_at(720)) == mc(24)


def test_night_setpoint_waits_while_the_wall_clock_is_not_known_to_be_right():
    assert target(mat_with(NIGHT_STEP), 0, None, scan_at(0, clock_ok=False)) == mc(24)


def test_step_without_a_night_setpoint_is_by_night_as_by_day():
    mat = mat_with(NIGHT_STEP, StepPlan(mc(21)))
    assert target(mat, 1, None, scan_at(0)) == mc(21)


@pytest.mark.parametrize("minute", [0, 720])
def test_setpoint_of_a_person_goes_before_programme_and_night(minute):
    wish = Override(mc(17), "Ada", UTC_MS, None, planned_mc=mc(24))
    assert target(mat_with(NIGHT_STEP), 0, wish, scan_at(minute)) == mc(17)


# ------------------------------------------------------------------------- ramp

spans = st.integers(1, HOUR_MS)
UP = Ramp(20_000, 1_000, 24_000)
DOWN = Ramp(24_000, 1_000, 20_000)


@pytest.mark.parametrize(
    ("hours", "gone_mk"),
    [(0, 0), (0.5, 1_000), (1, 2_000), (1.999, 3_998), (2, 4_000), (99, 4_000)],
)
def test_ramp_goes_its_rate_up_and_down_and_then_stays(hours, gone_mk):
    now_ms = 1_000 + round(hours * HOUR_MS)
    assert on_ramp(UP, 2_000, now_ms) == 20_000 + gone_mk
    assert on_ramp(DOWN, 2_000, now_ms) == 24_000 - gone_mk


def test_ramp_moves_when_a_whole_thousandth_is_gone():
    # 1 K/h is a thousandth each 3.6 s
    for late_ms, gone_mk in ((3_599, 0), (3_600, 1), (7_199, 1), (7_200, 2)):
        assert on_ramp(UP, 1_000, 1_000 + late_ms) == 20_000 + gone_mk
        assert on_ramp(DOWN, 1_000, 1_000 + late_ms) == 24_000 - gone_mk


@pytest.mark.parametrize("ramp", [UP, DOWN])
def test_without_a_rate_the_target_holds_at_once(ramp):
    assert on_ramp(ramp, None, ramp.at_ms) == ramp.to_mc


def test_first_setpoint_of_all_is_no_ramp():
    assert heading_for(None, mc(24), 1_000, 77) == Ramp(mc(24), 77, mc(24))


def test_ramp_to_the_same_target_goes_on():
    assert heading_for(UP, 24_000, 2_000, 1_000 + HOUR_MS) is UP


def test_interrupted_ramp_turns_where_it_stands():
    now_ms = 1_000 + HOUR_MS
    assert heading_for(UP, 19_000, 2_000, now_ms) == Ramp(22_000, now_ms, 19_000)
    assert heading_for(DOWN, 30_000, 2_000, now_ms) == Ramp(22_000, now_ms, 30_000)
    assert heading_for(UP, 19_000, None, now_ms) == Ramp(24_000, now_ms, 19_000)


def test_ramp_that_meets_its_new_target_is_at_rest_there():
    now_ms = 1_000 + HOUR_MS
    assert heading_for(UP, 22_000, 2_000, now_ms) == Ramp(22_000, now_ms, 22_000)


@pytest.mark.parametrize("rate", [2_000, None])
def test_ramp_that_arrived_is_not_put_back_by_a_slower_rate_of_a_later_plan(rate):
    arrived_ms = 1_000 + 2 * HOUR_MS
    rested = heading_for(UP, 24_000, rate, arrived_ms)
    assert rested == Ramp(24_000, arrived_ms, 24_000)
    later_ms = arrived_ms + HOUR_MS
    assert heading_for(rested, 24_000, 100, later_ms) is rested
    assert on_ramp(rested, 100, later_ms) == 24_000


@settings(deadline=None, max_examples=50)
@given(
    st.integers(5_000, 30_000),
    st.lists(st.tuples(st.integers(5_000, 30_000), spans), max_size=9),
    st.integers(1, 60_000),
)
def test_setpoint_never_jumps_whatever_targets_follow(first, wishes, rate):
    now_ms = 0
    ramp = heading_for(None, first, rate, now_ms)
    before = on_ramp(ramp, rate, now_ms)
    for wish, lasting_ms in wishes:
        ramp = heading_for(ramp, wish, rate, now_ms)
        assert on_ramp(ramp, rate, now_ms) == before
        now_ms += lasting_ms
        stands = on_ramp(ramp, rate, now_ms)
        gone_mk = min(abs(wish - before), rate * lasting_ms / HOUR_MS)
        assert gone_mk - 1 < abs(stands - before) < gone_mk + 1
        assert min(before, wish) <= stands <= max(before, wish)
        before = stands


# ------------------------------------------------------ reference of the tray limit


def reference_mc(ramp, now_ms):
    return on_ramp(ramp, LIMIT_FALL_MK_PER_H, now_ms)


def test_limit_begins_at_the_setpoint():
    assert limit_reference(None, 21_000, 5) == Ramp(21_000, 5, 21_000)


def test_limit_follows_a_rising_setpoint_at_once():
    ramp = limit_reference(Ramp(21_000, 0, 21_000), 24_000, 5)
    assert ramp == Ramp(24_000, 5, 24_000)


def test_limit_that_rests_on_the_setpoint_is_the_same_value():
    rest = Ramp(21_000, 0, 21_000)
    assert limit_reference(rest, 21_000, 5_000) is rest


def test_limit_falls_by_a_kelvin_an_hour_and_rests():
    ramp = limit_reference(Ramp(24_000, 0, 24_000), 21_000, 1_000)
    assert ramp == Ramp(24_000, 1_000, 21_000)
    assert reference_mc(ramp, 1_000) == 24_000
    for hours, at_mc in ((0.5, 23_500), (1, 23_000), (2.5, 21_500)):
        now_ms = 1_000 + round(hours * HOUR_MS)
        assert limit_reference(ramp, 21_000, now_ms) == ramp
        assert reference_mc(ramp, now_ms) == at_mc
    now_ms = 1_000 + 3 * HOUR_MS
    assert limit_reference(ramp, 21_000, now_ms) == Ramp(21_000, now_ms, 21_000)


def test_limit_that_falls_is_caught_by_a_setpoint_that_rises_above_it():
    falling = Ramp(24_000, 0, 21_000)
    kept = limit_reference(falling, 22_900, HOUR_MS)
    assert kept == Ramp(24_000, 0, 22_900), "at 23.0 °C, still above it: falls on"
    for setpoint_mc in (23_000, 23_001):
        risen = limit_reference(falling, setpoint_mc, HOUR_MS)
        assert risen == Ramp(setpoint_mc, HOUR_MS, setpoint_mc)


def test_limit_begins_a_new_fall_from_where_an_earlier_one_ended():
    ended = Ramp(24_000, 0, 22_000)
    now_ms = 5 * HOUR_MS
    assert limit_reference(ended, 20_000, now_ms) == Ramp(22_000, now_ms, 20_000)


@pytest.mark.parametrize("scan_ms", [1_000, 5_000, 30_000])
@pytest.mark.parametrize("rate", [700, 1_000, 2_000, 60_000])
def test_limit_falls_as_fast_below_a_setpoint_on_its_own_way_down(scan_ms, rate):
    """A scan late, and however short the scans: what is less than a thousandth
    of a kelvin is not lost.
    """
    setpoint = Ramp(25_000, 0, 20_000)
    ramp = limit_reference(None, 25_000, 0)
    for now_ms in range(scan_ms, 3 * HOUR_MS + 1, scan_ms):
        wanted_mc = on_ramp(setpoint, rate, now_ms)
        ramp = limit_reference(ramp, wanted_mc, now_ms)
        late_ms = now_ms - scan_ms
        slowest_mc = 25_000 - LIMIT_FALL_MK_PER_H * late_ms // HOUR_MS
        highest_mc = max(on_ramp(setpoint, rate, late_ms), slowest_mc) + 5
        assert wanted_mc <= reference_mc(ramp, now_ms) <= highest_mc
