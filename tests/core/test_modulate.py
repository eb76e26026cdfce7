"""From duty to relay: cycles, what they carry over, and minimum times."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from controller.core.decisions import Cause
from controller.core.modulate import cycle_demand, cycle_for, hold_back
from controller.core.plan import Pid
from controller.core.plan_rules import problems
from controller.core.relays import on_time_ms, switched
from controller.core.state import Cycle, RelayState
from tests.builders import Bench, a_mat, a_plan, ms

CYCLE_MS = 600_000
PID = Pid(cycle_ms=CYCLE_MS)
MAT = a_mat(policy=PID, min_on_ms=60_000, min_off_ms=120_000)


def after(before, duty, now_ms=None, mat=MAT, policy=PID):
    """Return the cycle after one, at its end unless said otherwise."""
    if now_ms is None:
        now_ms = 0 if before is None else before.start_ms + policy.cycle_ms
    return cycle_for(mat, policy, before, duty, now_ms)


# ----------------------------------------------------------------------- cycles


def test_cycle_is_on_for_the_share_that_is_asked_for():
    assert after(None, 0.25, 77_000) == Cycle(77_000, 150_000, 0)


def test_mat_is_on_from_the_start_of_a_cycle_for_its_time_on():
    cycle = Cycle(1_000, 150_000, 0)
    assert cycle_demand(cycle, 1_000)
    assert cycle_demand(cycle, 150_999)
    assert not cycle_demand(cycle, 151_000)


@pytest.mark.parametrize("now_ms", [0, 1, CYCLE_MS - 1])
@pytest.mark.parametrize("duty", [0.0, 0.9, 1.0])
def test_duty_is_latched_until_the_cycle_ends(duty, now_ms):
    cycle = after(None, 0.25)
    assert after(cycle, duty, now_ms) is cycle


@pytest.mark.parametrize("late_ms", [0, 1, 4_999, CYCLE_MS - 1])
def test_next_cycle_keeps_the_phase_however_late_the_scan(late_ms):
    cycle = Cycle(77_000, 150_000, 0)
    start_ms = 77_000 + CYCLE_MS
    assert after(cycle, 0.5, start_ms + late_ms) == Cycle(start_ms, 300_000, 0)


@pytest.mark.parametrize("late_ms", [CYCLE_MS, CYCLE_MS + 1, 50 * CYCLE_MS])
def test_after_a_pause_of_a_whole_cycle_a_new_one_begins_now(late_ms):
    now_ms = 77_000 + CYCLE_MS + late_ms
    assert after(Cycle(77_000, 150_000, 0), 0.5, now_ms).start_ms == now_ms


@pytest.mark.parametrize("carry_ms", [-119_999, 0, 59_999])
def test_duties_of_none_and_all_are_exact_and_leave_nothing_to_carry(carry_ms):
    before = Cycle(0, 0, carry_ms)
    assert after(before, 0.0) == Cycle(CYCLE_MS, 0, 0)
    assert after(before, 1.0) == Cycle(CYCLE_MS, CYCLE_MS, 0)


@pytest.mark.parametrize(
    ("asked_ms", "on_ms", "carry_ms"),
    [
        (1, 0, 1),
        (59_999, 0, 59_999),
        (60_000, 60_000, 0),
        (480_000, 480_000, 0),
        (480_001, CYCLE_MS, -119_999),
        (599_999, CYCLE_MS, -1),
    ],
)
def test_times_too_short_for_a_switch_are_carried(asked_ms, on_ms, carry_ms):
    assert after(None, asked_ms / CYCLE_MS) == Cycle(0, on_ms, carry_ms)


def test_time_carried_is_given_back_in_the_next_cycle():
    assert after(Cycle(0, 0, 40_000), 0.1) == Cycle(CYCLE_MS, 100_000, 0)
    assert after(Cycle(0, 0, 40_000), 0.03) == Cycle(CYCLE_MS, 0, 58_000)
    assert after(Cycle(0, CYCLE_MS, -40_000), 0.5) == Cycle(CYCLE_MS, 260_000, 0)
    owing = after(Cycle(0, CYCLE_MS, -100_000), 0.1)
    assert owing == Cycle(CYCLE_MS, 0, -40_000), "more is owed than is asked for"
    full = after(Cycle(0, 0, 59_999), 0.95)
    assert full == Cycle(CYCLE_MS, CYCLE_MS, 29_999), "more is asked for than all"


def test_without_minimum_times_nothing_is_carried():
    mat = a_mat(policy=PID, min_on_ms=0, min_off_ms=0)
    for asked_ms in (0, 1, 300_000, 599_999, 600_000):
        cycle = after(None, asked_ms / CYCLE_MS, mat=mat)
        assert cycle == Cycle(0, asked_ms, 0)


@pytest.mark.parametrize(
    ("asked_ms", "on_ms", "carry_ms"),
    [(0, 0, 0), (1, 0, 1), (29_999, 0, 29_999), (30_000, 60_000, -30_000)],
)
def test_minimum_off_longer_than_a_cycle_gives_the_nearer_of_none_and_all(
    asked_ms, on_ms, carry_ms
):
    policy = Pid(cycle_ms=60_000)
    mat = a_mat(policy=policy, min_on_ms=0, min_off_ms=120_000)
    cycle = after(None, asked_ms / 60_000, mat=mat, policy=policy)
    assert cycle == Cycle(0, on_ms, carry_ms)


def test_mat_that_asks_for_no_heat_gets_none_however_long_its_minimum_off():
    policy = Pid(cycle_ms=60_000)
    mat = a_mat(policy=policy, min_on_ms=0, min_off_ms=120_000)
    bench = Bench(a_plan(mat)).run(300, n1=23.0, n2=23.0)
    assert (bench.numbers["duty"], bench.on) == (0.0, False)
    assert bench.cause is Cause.DUTY_OFF


def test_cycle_shorter_than_twice_the_minimum_on_is_refused():
    def found(cycle_ms):
        plan = a_plan(a_mat(policy=Pid(cycle_ms=cycle_ms), min_on_ms=60_000))
        return [problem.where for problem in problems(plan)]

    assert found(120_000) == []
    assert found(119_999) == ["mat north: cycle"]


# -------------------------------------------------------------- over a long time

minutes = st.integers(0, 10).map(lambda minute: minute * 60_000)


@settings(deadline=None)
@example(duty=0.05, min_on_ms=300_000, min_off_ms=600_000)
@example(duty=0.95, min_on_ms=300_000, min_off_ms=600_000)
@given(
    duty=st.floats(0.0, 1.0),
    min_on_ms=minutes.filter(lambda time_ms: time_ms <= CYCLE_MS // 2),
    min_off_ms=minutes,
)
def test_heat_on_average_is_the_duty_within_one_cycle(duty, min_on_ms, min_off_ms):
    mat = a_mat(policy=PID, min_on_ms=min_on_ms, min_off_ms=min_off_ms)
    cycle, on_ms, cycles = None, 0, 200
    for number in range(1, cycles + 1):
        cycle = after(cycle, duty, mat=mat)
        on_ms += cycle.on_ms
        rounded_ms = number * 0.5
        assert abs(on_ms - number * duty * CYCLE_MS) <= CYCLE_MS + rounded_ms
        assert 0 <= cycle.on_ms <= CYCLE_MS
    assert abs(cycle.carry_ms) < max(min_on_ms, min_off_ms, 1)


@settings(deadline=None, max_examples=40)
@given(
    duties=st.lists(st.floats(0.0, 1.0), min_size=5, max_size=20),
    times=st.tuples(minutes, minutes).filter(lambda pair: pair[0] <= CYCLE_MS // 2),
    scan_ms=st.sampled_from([1_000, 5_000, 7_000, 30_000]),
)
def test_relay_follows_its_cycles_and_never_breaks_a_minimum_time(
    duties, times, scan_ms
):
    """Also where scans fall beside the ends of cycles, and duties leap."""
    min_on_ms, min_off_ms = times
    mat = a_mat(policy=PID, min_on_ms=min_on_ms, min_off_ms=min_off_ms)
    relay, cycle, stretches, asked_ms = RelayState(False, -CYCLE_MS), None, [], 0
    for now_ms in range(0, len(duties) * CYCLE_MS, scan_ms):
        before, duty = cycle, duties[now_ms // CYCLE_MS]
        cycle = cycle_for(mat, PID, before, duty, now_ms)
        asked_ms += 0 if cycle is before else cycle.on_ms
        demand = cycle_demand(cycle, now_ms)
        if demand != relay.energised and hold_back(mat, relay, demand, now_ms) is None:
            stretches.append((relay.energised, now_ms - relay.since_ms))
            relay = switched(relay, energised=demand, at_ms=now_ms)
    for energised, lasting_ms in stretches:
        assert lasting_ms >= (min_on_ms if energised else min_off_ms)
    heated_ms = on_time_ms(relay, len(duties) * CYCLE_MS)
    assert abs(heated_ms - asked_ms) <= (len(duties) + 1) * scan_ms


# ----------------------------------------------------------------- minimum times


@pytest.mark.parametrize(
    ("energised", "demand", "lasting_ms", "cause"),
    [
        (True, False, 59_999, Cause.MIN_ON),
        (True, False, 60_000, None),
        (False, True, 119_999, Cause.MIN_OFF),
        (False, True, 120_000, None),
        (True, True, 0, None),
        (False, False, 0, None),
    ],
)
def test_relay_is_held_back_until_its_minimum_time_has_passed(
    energised, demand, lasting_ms, cause
):
    relay = RelayState(energised, since_ms=7_000)
    assert hold_back(MAT, relay, demand, 7_000 + lasting_ms) is cause


def test_minimum_times_hold_for_a_pid_mat_too():
    bench = Bench(a_plan(MAT)).run(115, n1=20.0, n2=20.0)
    assert (bench.on, bench.cause) == (False, Cause.MIN_OFF)
    bench.scan(n1=20.0, n2=20.0)
    assert (bench.on, bench.relay.since_ms) == (True, ms(120))
