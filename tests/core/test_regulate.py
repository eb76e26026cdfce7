"""Demand: on-off with a differential, and PID without windup or bumps."""

from dataclasses import replace
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st
from simple_pid import PID

from controller.core.plan import OnOff, Pid
from controller.core.regulate import (
    COMPUTE_EVERY_MS,
    FILTER_SHARE,
    LONGEST_STEP_MS,
    Driving,
    band,
    on_off,
    pid,
)
from controller.core.scan import Hold, SetSetpoint
from controller.core.state import PidState
from tests.builders import BROKEN, Bench, a_mat, a_plan, mc, ms, surface_probe

POLICY = Pid(gain_per_k=0.4, integral_s=4_800)
STEP_MS = COMPUTE_EVERY_MS
QUANTUM_MC = 62.5
"""The smallest step of a 12-bit one-wire probe."""


# ----------------------------------------------------------------------- on-off


@pytest.mark.parametrize(
    ("differential_mk", "low_mc", "high_mc"),
    [(250, 20_875, 21_125), (251, 20_875, 21_126), (1, 21_000, 21_001)],
)
def test_band_is_as_wide_as_its_differential_about_the_setpoint(
    differential_mk, low_mc, high_mc
):
    policy = OnOff(differential_mk)
    assert band(policy, 21_000) == (low_mc, high_mc)
    for before in (True, False):
        assert on_off(policy, 21_000, low_mc - 1, before) is True
        assert on_off(policy, 21_000, low_mc, before) is before
        assert on_off(policy, 21_000, high_mc, before) is before
        assert on_off(policy, 21_000, high_mc + 1, before) is False


@given(st.integers(1, 5_000), st.integers(5_000, 30_000), st.integers(-6_000, 6_000))
def test_demand_changes_only_outside_the_band(differential_mk, setpoint_mc, error_mk):
    policy = OnOff(differential_mk)
    low_mc, high_mc = band(policy, setpoint_mc)
    assert high_mc - low_mc == differential_mk
    assert abs((low_mc - setpoint_mc) + (high_mc - setpoint_mc)) <= 1, "about it"
    root_mc = setpoint_mc - error_mk
    heats = {on_off(policy, setpoint_mc, root_mc, was) for was in (True, False)}
    if heats == {True}:
        assert 2 * error_mk > differential_mk - 1
    elif heats == {False}:
        assert 2 * -error_mk > differential_mk
    else:
        assert 2 * abs(error_mk) <= differential_mk + 1


# ------------------------------------------------------------- one step of the PID


def a_memory(**changes):
    """Return what a PID remembers that held 21 °C with 0.2 K to go."""
    made = PidState(
        at_ms=0,
        integral=0.3,
        gain_per_k=POLICY.gain_per_k,
        error_k=0.2,
        setpoint_mc=21_000,
        driver="N1",
        filtered_mc=20_800.0,
        duty=0.38,
    )
    return replace(made, **changes)


def computed(before, **changes):
    """Return the next memory, a compute interval later, nothing else changed."""
    asked = {
        "policy": POLICY,
        "setpoint_mc": 21_000,
        "driving": Driving(20_800, "N1"),
        "now_ms": STEP_MS,
        "ramped": False,
        "mean_duty": 0.0,
        **changes,
    }
    return pid(
        asked.pop("policy"),
        asked.pop("setpoint_mc"),
        asked.pop("driving"),
        before,
        asked.pop("now_ms"),
        **asked,
    )


def grown(error_k=0.2, step_ms=STEP_MS, policy=POLICY):
    """Return by how much an integral grows in a step."""
    return policy.gain_per_k * error_k * step_ms / 1000 / policy.integral_s


def close(value):
    return pytest.approx(value, rel=0, abs=1e-12)


def test_duty_is_proportional_part_and_integral_of_the_error():
    found = computed(a_memory())
    assert found == PidState(
        at_ms=STEP_MS,
        integral=close(0.3 + grown()),
        gain_per_k=0.4,
        error_k=0.2,
        setpoint_mc=21_000,
        driver="N1",
        filtered_mc=20_800.0,
        duty=close(0.38 + grown()),
    )


def test_above_the_setpoint_heat_is_taken_away():
    found = computed(a_memory(), driving=Driving(21_200, "N1"))
    assert found.duty == close(0.3 - 0.08 - grown())
    assert found.integral == close(0.3 - grown())
    assert found.error_k == -0.2


def test_between_two_computations_the_memory_is_the_same():
    before = a_memory()
    hot = Driving(25_000, "N1")
    assert computed(before, now_ms=STEP_MS - 1, driving=hot) is before
    assert computed(before, now_ms=STEP_MS, driving=hot) is not before


def test_new_setpoint_is_taken_at_once():
    found = computed(a_memory(), now_ms=5_000, setpoint_mc=21_100, ramped=True)
    assert (found.at_ms, found.setpoint_mc) == (5_000, 21_100)
    assert found.duty == close(0.3 + 0.4 * 0.3 + grown(0.3, 5_000))


def test_step_of_a_millisecond_counts():
    found = computed(a_memory(), now_ms=1, setpoint_mc=21_300, ramped=True)
    assert found.integral == pytest.approx(0.3 + grown(0.5, 1), rel=0, abs=1e-15)


def test_step_of_the_longest_length_counts_and_a_longer_one_does_not():
    counted = computed(a_memory(), now_ms=LONGEST_STEP_MS)
    assert counted.integral == close(0.3 + grown(step_ms=LONGEST_STEP_MS))
    lost = computed(a_memory(), now_ms=LONGEST_STEP_MS + 1)
    assert (lost.integral, lost.at_ms) == (0.3, LONGEST_STEP_MS + 1)
    assert lost.duty == close(0.38)


@pytest.mark.parametrize(
    ("error_k", "integral", "duty"),
    [(1.75, 0.3, 1.0), (1.8, 0.3, 1.0), (-0.8, 0.3, 0.0), (10.0, 0.3, 1.0)],
)
def test_whole_sum_is_clamped_and_what_is_cut_off_is_tracked(error_k, integral, duty):
    driving = Driving(21_000 - round(error_k * 1000), "N1")
    found = computed(a_memory(integral=integral), driving=driving)
    total = 0.4 * error_k + integral + grown(error_k)
    assert found.duty == duty
    tracked = (duty - total) * STEP_MS / 1000 / POLICY.integral_s
    assert found.integral == close(integral + grown(error_k) + tracked)


def test_tracking_never_goes_further_than_the_whole_cut():
    policy = Pid(gain_per_k=0.4, integral_s=10)
    found = computed(a_memory(), policy=policy, driving=Driving(18_500, "N1"))
    total = 1.0 + 0.3 + 0.4 * 2.5 * 3
    assert found.integral == close(0.3 + 0.4 * 2.5 * 3 + (1.0 - total))


# ------------------------------------------------------------------- no bumps


def test_first_duty_at_the_setpoint_is_the_mean_duty_of_lately():
    found = computed(None, driving=Driving(21_000, "N1"), mean_duty=0.42, now_ms=7)
    assert found == PidState(7, 0.42, 0.4, 0.0, 21_000, "N1", 21_000.0, 0.42)


def test_first_duty_off_the_setpoint_has_its_proportional_part():
    found = computed(None, driving=Driving(20_750, "N1"), mean_duty=0.42)
    assert (found.integral, found.duty) == (0.42, close(0.52))
    cold = computed(None, driving=Driving(12_000, "N1"), mean_duty=0.42)
    assert (cold.integral, cold.duty) == (0.42, 1.0)


@pytest.mark.parametrize("setpoint_mc", [20_900, 21_100, 21_300])
def test_setpoint_that_jumps_is_taken_over_without_a_bump(setpoint_mc):
    found = computed(a_memory(), setpoint_mc=setpoint_mc)
    error_k = (setpoint_mc - 20_800) / 1000
    assert found.duty == close(0.38 + grown(error_k))
    assert found.integral + 0.4 * error_k == close(found.duty)
    after = computed(found, setpoint_mc=setpoint_mc, now_ms=2 * STEP_MS)
    assert after.duty == close(found.duty + grown(error_k)), "and only once"


def test_setpoint_on_its_ramp_is_followed_by_the_proportional_part():
    found = computed(a_memory(), setpoint_mc=21_300, ramped=True)
    assert found.integral == close(0.3 + grown(0.5))
    assert found.duty == close(0.5 + grown(0.5))


@pytest.mark.parametrize("gain", [0.05, 0.8])
def test_gain_of_a_new_plan_is_taken_over_without_a_bump(gain):
    policy = Pid(gain_per_k=gain, integral_s=4_800)
    found = computed(a_memory(), policy=policy)
    assert found.gain_per_k == gain
    assert found.duty == close(0.38 + grown(policy=policy))
    after = computed(found, policy=policy, now_ms=2 * STEP_MS)
    assert after.duty == close(found.duty + grown(policy=policy)), "and only once"


@pytest.mark.parametrize("root_mc", [20_300, 21_300])
def test_other_driving_trays_are_taken_over_without_a_bump(root_mc):
    driving = Driving(root_mc, "N2")
    found = computed(a_memory(), driving=driving)
    error_k = (21_000 - root_mc) / 1000
    assert found.driver == "N2"
    assert found.duty == close(0.38 + grown(error_k))
    after = computed(found, driving=driving, now_ms=2 * STEP_MS)
    assert after.duty == close(found.duty + grown(error_k)), "and only once"


@pytest.mark.parametrize("ramped", [False, True])
def test_all_that_a_new_plan_changes_at_once_is_taken_over_without_a_bump(ramped):
    policy = Pid(gain_per_k=0.8, integral_s=4_800)
    found = computed(
        a_memory(),
        policy=policy,
        setpoint_mc=21_100,
        driving=Driving(20_500, "N2"),
        ramped=ramped,
    )
    followed = 0.4 * 0.1 if ramped else 0.0  # with the gain of before, as on a ramp
    assert found.duty == close(0.38 + followed + grown(0.6, policy=policy))


def test_change_in_a_step_of_the_longest_length_is_taken_over_as_well():
    policy = Pid(gain_per_k=0.8, integral_s=4_800)
    found = computed(a_memory(), policy=policy, now_ms=LONGEST_STEP_MS)
    assert found.duty == close(0.38 + grown(0.2, LONGEST_STEP_MS, policy))


def test_trays_that_were_far_from_the_setpoint_hand_over_without_a_bump():
    before = a_memory(error_k=5.0, integral=-1.5)
    found = computed(before, driving=Driving(20_800, "N2"))
    assert found.duty == close(0.5 + grown(0.2))


def test_change_in_the_same_instant_is_taken_over_as_well():
    found = computed(a_memory(), now_ms=0, setpoint_mc=23_000)
    assert found.duty == close(0.38)
    assert found.integral == close(0.3 - 0.4 * 2)


def test_after_a_long_pause_only_the_integral_is_left_of_what_was():
    found = computed(
        a_memory(filtered_mc=15_000.0),
        now_ms=LONGEST_STEP_MS + 1,
        policy=Pid(gain_per_k=0.5, integral_s=4_800, derivative_s=600),
        setpoint_mc=22_000,
        driving=Driving(21_500, "N2"),
    )
    assert found == PidState(
        LONGEST_STEP_MS + 1, 0.3, 0.5, 0.5, 22_000, "N2", 21_500.0, close(0.55)
    )


# ------------------------------------------------------------- no bumps, in scans


def pid_bench(**changes):
    """Return a bench that has regulated by PID about 21 °C for five minutes."""
    mat = a_mat(policy=POLICY, surface=surface_probe(), **changes)
    return Bench(a_plan(mat)).run(300, n1=20.8, n2=21.2, s1=25.0)


def most_k(error_k, lasting_s):
    """Return how far a duty may move by its integral alone."""
    return POLICY.gain_per_k * error_k * lasting_s / POLICY.integral_s + 1e-9


def test_hold_leaves_the_duty_as_it_was_and_begins_a_new_cycle():
    bench = pid_bench()
    before = bench.mat
    bench.scan(n1=20.8, n2=21.2, s1=25.0, ask=[Hold("north", ms(120))])
    assert (bench.on, bench.mat.cycle, bench.mat.pid) == (False, None, before.pid)
    bench.run(130, n1=20.8, n2=21.2, s1=25.0)
    assert bench.mat.pid.at_ms > before.pid.at_ms
    assert bench.mat.pid.duty == pytest.approx(before.pid.duty, abs=1e-9)
    assert bench.mat.cycle.start_ms > before.cycle.start_ms


def test_setpoint_of_a_person_moves_the_duty_no_faster_than_its_integral():
    bench = pid_bench().run(30, n1=20.5, n2=20.9, s1=25.0)
    before = bench.mat.pid
    wish = SetSetpoint("north", mc(23))
    bench.scan(n1=20.5, n2=20.9, s1=25.0, ask=[wish])
    assert bench.mat.pid.setpoint_mc == 23_000
    assert abs(bench.mat.pid.duty - before.duty) <= most_k(2.3, 30)


def test_tray_that_falls_silent_leaves_the_duty_to_the_others_without_a_bump():
    bench = pid_bench()
    before = bench.mat.pid
    bench.run(60, n1=BROKEN, n2=21.2, s1=25.0)
    assert (before.driver, bench.mat.pid.driver) == ("N1+N2", "N2")
    assert bench.mat.pid.error_k == pytest.approx(-0.2)
    assert abs(bench.mat.pid.duty - before.duty) <= most_k(0.2, 60)


def test_pid_of_a_later_plan_begins_with_what_on_off_needed_not_with_an_old_memory():
    bench = pid_bench()
    on_off_plan = a_plan(a_mat())
    state = replace(bench.state, mats={"north": replace(bench.mat, pid=a_memory())})
    bench = Bench(on_off_plan, state, bench.now_s, bench.seq).run(600, n1=20.0, n2=20.0)
    assert bench.on
    assert bench.mat.pid is None
    bench = Bench(a_plan(a_mat(policy=POLICY)), bench.state, bench.now_s, bench.seq)
    bench.scan(n1=21.0, n2=21.0)
    assert bench.mat.pid.duty == pytest.approx(600 / (600 + 6 * 3_600), rel=0.02)


# ------------------------------------------------------------------- derivative


WITH_D = replace(POLICY, derivative_s=600.0)


def test_derivative_is_off_by_default():
    assert Pid().derivative_s == 0
    falling = computed(a_memory(filtered_mc=25_000.0))
    assert falling.duty == close(0.38 + grown())


def test_derivative_has_nothing_to_say_at_the_first():
    found = computed(None, policy=WITH_D, driving=Driving(20_800, "N1"), mean_duty=0.3)
    assert (found.duty, found.filtered_mc) == (close(0.38), 20_800)


def test_derivative_works_against_the_filtered_change_of_the_measurement():
    found = computed(a_memory(), policy=WITH_D, driving=Driving(20_900, "N1"))
    share = 30 / (600 / FILTER_SHARE + 30)
    rate_k_per_s = 0.1 * share / 30
    assert found.filtered_mc == close(20_800 + 100 * share)
    assert found.duty == close(0.34 + grown(0.1) - 0.4 * 600 * rate_k_per_s)
    assert found.integral == close(0.3 + grown(0.1)), "and leaves the integral alone"
    after = computed(
        found, policy=WITH_D, driving=Driving(20_900, "N1"), now_ms=2 * STEP_MS
    )
    assert found.filtered_mc < after.filtered_mc < 20_900
    assert found.duty < after.duty < 0.34, "the push dies away"


def test_derivative_does_not_see_the_setpoint():
    found = computed(a_memory(), policy=WITH_D, setpoint_mc=23_000)
    assert found.duty == close(0.38 + grown(2.2))


def test_derivative_does_not_see_a_jump_to_other_trays():
    found = computed(a_memory(), policy=WITH_D, driving=Driving(21_800, "N2"))
    assert found.duty == close(0.38 + grown(-0.8))
    assert found.filtered_mc == 21_800


@pytest.mark.parametrize("now_ms", [0, LONGEST_STEP_MS + 1])
def test_derivative_begins_anew_after_a_pause_and_in_the_same_instant(now_ms):
    memory = a_memory(setpoint_mc=20_999, filtered_mc=15_000.0)
    found = computed(memory, policy=WITH_D, now_ms=now_ms, ramped=True)
    assert found.filtered_mc == 20_800
    assert found.duty == close(0.38)


@pytest.mark.parametrize("step_ms", [STEP_MS, 60_000, LONGEST_STEP_MS])
def test_smallest_step_of_a_probe_does_not_kick(step_ms):
    """However often it computes: the filter bounds what one step can do, where
    the library's own derivative grows without bound as steps get shorter.
    """
    before = a_memory(error_k=0.0, filtered_mc=21_000.0, duty=0.3)
    root = Driving(21_000 + round(QUANTUM_MC), "N1")
    found = computed(before, policy=WITH_D, driving=root, now_ms=step_ms)
    without = computed(before, driving=root, now_ms=step_ms)
    kick = without.duty - found.duty
    quantum_k = QUANTUM_MC / 1000
    assert 0 < kick <= FILTER_SHARE * WITH_D.gain_per_k * quantum_k < 0.21
    library = PID(0, 0, 0.4 * 600, setpoint=21, sample_time=None)
    library(21.0, dt=1.0)
    assert abs(library(21.0 + quantum_k, dt=1.0)) > 10


def test_derivative_of_a_quantised_rise_stays_near_that_of_a_smooth_one():
    def duties(quantum_mc):
        memory, found = a_memory(filtered_mc=20_000.0, setpoint_mc=20_500), []
        for number in range(1, 200):
            smooth_mc = 20_000 + number * 8.0  # about 1 K/h
            root = Driving(round(round(smooth_mc / quantum_mc) * quantum_mc), "N1")
            memory = computed(
                memory,
                policy=replace(WITH_D, integral_s=1e6),
                setpoint_mc=20_500,
                driving=root,
                now_ms=number * STEP_MS,
            )
            found.append(memory.duty)
        return found

    pairs = zip(duties(1.0), duties(QUANTUM_MC), strict=True)
    assert max(abs(smooth - rough) for smooth, rough in pairs) < 0.21


# ------------------------------------------------------------------ closed loops


def library_clamp(policy):
    """Return simple-pid as it comes, with its own limits."""
    gain = policy.gain_per_k
    library = PID(
        gain,
        gain / policy.integral_s,
        0.0,
        setpoint=22.0,
        sample_time=None,
        output_limits=(0, 1),
        time_fn=lambda: 0.0,
    )
    return lambda temp_c, now_s: library(temp_c, dt=30.0)


class Ours:
    """Our PID as it comes, with all that its integral has been."""

    def __init__(self, policy):
        self.policy = policy
        self.memory = None
        self.integrals = []

    def __call__(self, temp_c, now_s):
        self.memory = pid(
            self.policy,
            22_000,
            Driving(round(temp_c * 1000), "N1"),
            self.memory,
            now_s * 1000,
            ramped=False,
            mean_duty=0.0,
        )
        self.integrals.append(self.memory.integral)
        return self.memory.duty


def driven(plant, ask, days=2):
    """Return the temperatures of a plant that is asked every 30 seconds."""
    return [
        plant.heat(ask(plant.temp_c, number * 30)) for number in range(days * 2_880)
    ]


@pytest.mark.parametrize(
    ("policy", "most_k"),
    [
        (Pid(), 0.25),
        (Pid(gain_per_k=0.417, integral_s=4_800), 0.6),
        (Pid(gain_per_k=0.208, integral_s=9_000), 0.01),
    ],
)
def test_cold_start_does_not_wind_the_integral_up(a_plant, policy, most_k):
    """Ten kelvin from cold: the library's clamp on the integral alone lets it
    fill up on the way, and pays with a kelvin of overshoot.
    """
    ours = Ours(policy)
    temps = driven(a_plant(), ours)
    clamped = driven(a_plant(), library_clamp(policy))
    assert max(clamped) - 22 > 0.9
    assert max(temps) - 22 < most_k
    assert min(ours.integrals) >= 0
    assert max(ours.integrals) <= 1
    assert max(temps[-720:]) - min(temps[-720:]) < 0.02, "and it settles"
    assert fmean(temps[-720:]) == pytest.approx(22, abs=0.01)


@pytest.mark.parametrize("start_c", [12.0, 22.0, 30.0])
def test_default_pid_through_its_relay_settles_at_the_setpoint(a_plant, start_c):
    """On the plant above, by scans, with cycles and minimum times."""
    mat = a_mat(policy=Pid(), min_on_ms=60_000, min_off_ms=60_000, tray_limit_mk=10_000)
    bench = Bench(a_plan(mat, scan_ms=ms(30)))
    plant, temps = a_plant(temp_c=start_c), []
    for _ in range(2 * 2_880):
        bench.scan(n1=plant.temp_c, n2=plant.temp_c, after_s=30)
        temps.append(plant.heat(float(bench.on)))
    day = temps[-2_880:]
    assert abs(fmean(day) - 21) < 0.05
    assert max(day) - min(day) < 0.6
