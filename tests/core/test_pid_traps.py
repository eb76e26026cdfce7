"""Fifteen ways in which simple-pid 2.0.1 can surprise; our PID falls into none.

Where it shows the point, the library's own answer stands beside ours. What is
impossible because of how the core is made, is shown to be made so.
"""

import math
from dataclasses import replace
from statistics import fmean
from typing import get_type_hints

import pytest
from simple_pid import PID

from controller.core import regulate
from controller.core.plan import Pid
from controller.core.plan_rules import problems
from controller.core.regulate import Driving, pid
from controller.core.scan import Hold, Quality, Reading, Scan
from controller.core.state import PidState
from controller.core.step import step
from tests.builders import BROKEN, UTC_MS, Bench, Said, a_mat, a_plan, ms

POLICY = Pid(gain_per_k=0.5, integral_s=500)
WITH_D = replace(POLICY, derivative_s=60.0)
NEAR = {"n1": 20.8, "n2": 20.8}


def a_memory(**changes):
    made = PidState(0, 0.3, POLICY.gain_per_k, 0.2, 21_000, "N1", 20_800.0, 0.4)
    return replace(made, **changes)


def asked(before, temp_c, now_s, *, policy=POLICY, setpoint_c=21.0, ramped=False):
    return pid(
        policy,
        round(setpoint_c * 1000),
        Driving(round(temp_c * 1000), "N1"),
        before,
        round(now_s * 1000),
        ramped=ramped,
        mean_duty=0.0,
    )


def a_library(**changes):
    """Return simple-pid with the same gains, as most people would set it up."""
    usual = {
        "Kp": 0.5,
        "Ki": 0.001,
        "setpoint": 21.0,
        "sample_time": None,
        "output_limits": (0, 1),
        "time_fn": lambda: 0.0,
    }
    return PID(**{**usual, **changes})


def pid_bench(policy=POLICY, lasting_s=300):
    """Return a bench that has been kept by PID near its setpoint for a while."""
    return Bench(a_plan(a_mat(policy=policy))).run(lasting_s, **NEAR)


def gain_problems(**changes):
    policy = replace(Pid(), **changes)
    return [found.where for found in problems(a_plan(a_mat(policy=policy)))]


# ------------------------------------------------------------- 1, 2: not a number


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_01_02_no_value_that_is_no_number_reaches_the_pid(value):
    library = a_library()
    library(value, dt=30)
    assert math.isnan(library(20.8, dt=30)), "one is enough to poison the library"
    assert get_type_hints(Reading)["milli"] == int | None
    with pytest.raises((ValueError, OverflowError)):
        int(value)


def test_01_02_reading_without_a_value_is_off_and_the_next_good_one_heats_again():
    bench = pid_bench()
    before = bench.mat.pid
    bench.scan(n1=BROKEN, n2=BROKEN)
    assert (bench.on, bench.mat.pid) == (False, before)
    bench.run(30, **NEAR)
    assert bench.on
    grown = 0.5 * 0.2 * (bench.mat.pid.at_ms - before.at_ms) / 1000 / 500
    assert bench.mat.pid.duty == pytest.approx(before.duty + grown)


@pytest.mark.parametrize("milli", [10**400, -(10**400), 70_001, -30_001])
def test_02_number_that_no_probe_can_mean_is_off_and_leaves_the_pid_alone(milli):
    bench = pid_bench()
    before = bench.mat.pid
    at_ms = ms(bench.now_s + 5)
    bench.scan([Reading(probe, at_ms, milli) for probe in ("n1", "n2")])
    assert (bench.on, bench.mat.pid) == (False, before)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, -1.0])
def test_01_02_gains_that_are_no_numbers_are_refused(value):
    assert gain_problems(gain_per_k=value) == ["mat north: pid.gain_per_k"]
    assert gain_problems(integral_s=value) == ["mat north: pid.integral_time"]
    assert gain_problems(derivative_s=value) == ["mat north: pid.derivative_time"]


def test_01_02_gains_of_nothing_are_refused_where_they_would_divide_or_do_nothing():
    assert gain_problems(gain_per_k=0.0) == ["mat north: pid.gain_per_k"]
    assert gain_problems(integral_s=0.0) == ["mat north: pid.integral_time"]
    assert gain_problems(derivative_s=0.0) == []


# -------------------------------------------------------- 3, 4: what is no reading


def test_03_power_up_value_of_a_probe_leaves_no_trace():
    library = a_library(Kd=30.0)
    for temp_c in (20.8, 20.8, 85.0, 20.8):
        duty = library(temp_c, dt=30)
    assert duty == 1.0, "the library takes the way back for a rapid fall"
    spiked, silent = pid_bench(WITH_D), pid_bench(WITH_D)
    spiked.scan(n1=85.0, n2=85.0)
    silent.scan(n1=BROKEN, n2=BROKEN)
    assert not spiked.on
    assert spiked.run(60, **NEAR).mat.pid == silent.run(60, **NEAR).mat.pid
    assert spiked.mat.pid.duty < 0.6


def test_03_leap_that_no_medium_can_make_leaves_no_trace():
    leapt, silent = pid_bench(WITH_D), pid_bench(WITH_D)
    leapt.scan(n1=60.0, n2=60.0)
    silent.scan(n1=BROKEN, n2=BROKEN)
    assert not leapt.on
    assert leapt.run(60, **NEAR).mat.pid == silent.run(60, **NEAR).mat.pid


@pytest.mark.parametrize("quality", list(Quality))
def test_04_reading_of_nothing_is_off_whatever_its_quality(quality):
    with pytest.raises(TypeError):
        a_library()(None, dt=30)
    bench = pid_bench()
    before = bench.mat.pid
    bench.scan(n1=Said(None, quality), n2=Said(None, quality))
    assert (bench.on, bench.mat.pid) == (False, before)


# --------------------------------------------------------- 5 to 8: odd times


def test_05_run_clock_that_goes_back_moves_no_integral():
    library = a_library(time_fn=iter([0.0, 600.0, 100.0]).__next__)
    library(20.0)
    earned = library.components[1]
    library(20.0)
    assert library.components[1] == pytest.approx(earned - 0.5), "it takes it away"
    bench = pid_bench()
    before = bench.mat.pid
    bench.scan(after_s=-500)
    assert bench.mat.pid is before
    bench.scan(**NEAR, after_s=530)
    assert bench.mat.pid.at_ms == ms(330)
    grown = 0.5 * 0.2 * (330 - before.at_ms / 1000) / 500
    assert bench.mat.pid.integral == pytest.approx(before.integral + grown)


def test_05_pid_that_is_asked_for_an_earlier_time_moves_no_integral():
    found = asked(a_memory(at_ms=500_000), 20.8, now_s=0, setpoint_c=21.5, ramped=True)
    assert (found.integral, found.duty) == (0.3, pytest.approx(0.65))


def test_06_wall_clock_that_goes_back_an_hour_freezes_nothing():
    library = a_library(sample_time=60, time_fn=iter([3600.0, 3600.0, 0.0]).__next__)
    warm = library(20.9, dt=60)
    assert library(10.0) == warm, "the library does not see that it got cold"
    bench = pid_bench()
    at_ms = ms(bench.now_s + 30)
    cold = tuple(Reading(probe, at_ms, 18_000) for probe in ("n1", "n2"))
    back = Scan(bench.seq + 1, at_ms, UTC_MS - 3_600_000, True, 20_000, 660, cold)
    state, decisions = step(bench.plan, bench.state, back)
    assert state.mats["north"].pid.at_ms == at_ms
    assert state.mats["north"].pid.duty == 1.0
    assert dict(decisions.commands[0].numbers)["duty"] == 1.0


def test_07_second_question_in_the_same_instant_has_the_same_answer():
    library = a_library(Kd=1.0, output_limits=(None, None))
    library(21.0)
    assert abs(library(21.0625)) > 1e12, "the library divides by nearly nothing"
    memory = asked(a_memory(), 20.8, 30, policy=WITH_D)
    assert asked(memory, 20.9, 30, policy=WITH_D) is memory


def test_07_other_setpoint_in_the_same_instant_divides_by_nothing():
    memory = asked(a_memory(), 20.8, 30, policy=WITH_D)
    found = asked(memory, 20.9, 30, policy=WITH_D, setpoint_c=21.5, ramped=True)
    assert found.integral == memory.integral
    assert found.duty == pytest.approx(memory.integral + 0.5 * 0.6)


def test_08_gap_of_three_hours_fills_no_integral():
    library = a_library(Ki=2e-4)
    library(20.5, dt=30)
    library(20.5, dt=3 * 3_600)
    assert library.components[1] == 1.0, "full heat at once"
    found = asked(a_memory(error_k=0.5), 20.5, 3 * 3_600)
    assert found.integral == 0.3
    assert found.duty == pytest.approx(0.3 + 0.5 * 0.5)


# -------------------------------------------------------- 9, 10: the sample time


@pytest.mark.parametrize("every_s", [5.0, 29.99, 30.0, 59.99, 0.1])
def test_09_integral_grows_with_time_however_the_scans_fall(every_s):
    memory, count = a_memory(integral=0.0), round(1_200 / every_s)
    for number in range(1, count + 1):
        memory = asked(memory, 20.8, number * every_s)
    assert memory.at_ms > 1_200_000 - 60_000, "and it computes all along"
    rate = 0.5 * 0.2 / 500
    assert memory.integral == pytest.approx(rate * memory.at_ms / 1000)


def test_09_each_call_after_the_compute_interval_computes():
    times = iter([number * 59.99 for number in range(101)])
    library = a_library(Ki=1e-6, sample_time=60, time_fn=times.__next__)
    assert len({library(20.8) for _ in range(100)}) == 50, "the library does by halves"
    memory, found = a_memory(integral=0.0), set()
    for number in range(1, 101):
        memory = asked(memory, 20.8, number * 59.99)
        found.add(memory.at_ms)
    assert len(found) == 100


def test_10_short_steps_add_up_to_a_computation():
    library = a_library(sample_time=60)
    library(20.8, dt=10)
    first = library.components[1]
    for _ in range(100):
        library(20.8, dt=10)
    assert library.components[1] == first, "the library never computes again"
    memory = a_memory()
    for number in range(1, 7):
        memory = asked(memory, 20.8, number * 10)
    assert memory.at_ms == 60_000


# ------------------------------------------------------ 11, 13: manual and automatic


def test_11_return_from_a_pause_has_no_bump():
    library = a_library(auto_mode=False)
    library.set_auto_mode(True, last_output=0.3)
    assert library(20.6, dt=30) > 0.49, "the library adds the proportional part"
    bench = pid_bench()
    before = bench.mat.pid
    bench.scan(**NEAR, ask=[Hold("north", ms(600))]).run(615, **NEAR)
    assert bench.mat.pid.at_ms > before.at_ms + 600_000
    assert bench.mat.pid.integral == before.integral
    assert bench.mat.pid.duty == pytest.approx(before.duty, abs=0.5 * 0.2 * 30 / 500)


def test_13_paused_mat_is_off_whatever_the_pid_last_said():
    library = a_library()
    last = library(20.8, dt=30)
    library.auto_mode = False
    assert library(40.0, dt=30) == last > 0, "the library repeats its last output"
    bench = pid_bench()
    bench.scan(n1=19.0, n2=19.0, ask=[Hold("north", ms(600))])
    memory = bench.mat.pid
    bench.run(300, n1=19.0, n2=19.0)
    assert (bench.on, bench.mat.pid) == (False, memory)


# ---------------------------------------------------------- 12: setpoint and gain


def test_12_setpoint_and_gain_that_change_have_no_bump():
    library = a_library()
    before = library(20.8, dt=30)
    library.setpoint = 23.0
    assert library(20.8, dt=30) > before + 0.5, "the library jumps with them"
    moved = asked(a_memory(), 20.8, 30, setpoint_c=23.0)
    assert moved.duty == pytest.approx(0.4, abs=0.5 * 2.2 * 30 / 500 + 1e-9)
    stronger = asked(a_memory(), 20.8, 30, policy=Pid(gain_per_k=1.0, integral_s=500))
    assert stronger.duty == pytest.approx(0.4, abs=1.0 * 0.2 * 30 / 500 + 1e-9)


# ------------------------------------------- 14, 15 and more: how the library is used


@pytest.fixture
def library_use(monkeypatch):
    """Record how the library is made and called while a PID works."""
    made, called = [], []

    class Watched(PID):
        def __init__(self, *gains, **options):
            made.append((gains, options))
            super().__init__(*gains, **options)

        def __call__(self, temp_c, dt=None):
            called.append((temp_c, dt))
            return super().__call__(temp_c, dt=dt)

    monkeypatch.setattr(regulate, "PID", Watched)
    pid_bench(WITH_D).scan(n1=BROKEN, n2=BROKEN).run(900, **NEAR)
    assert len(made) == len(called) > 30
    return made, called


def test_10_library_has_no_sample_time_and_is_always_told_the_step(library_use):
    made, called = library_use
    assert {options["sample_time"] for _, options in made} == {None}
    assert {type(dt) for _, dt in called} == {float}
    assert all(0 < dt <= 300 for _, dt in called)
    assert {options["time_fn"]() for _, options in made} == {0.0}, "and reads no clock"


def test_14_library_has_neither_a_derivative_nor_an_error_map(library_use):
    made, _ = library_use
    assert {gains[2] for gains, _ in made} == {0.0}
    options = {name for _, options in made for name in options}
    assert options == {
        "setpoint",
        "sample_time",
        "output_limits",
        "auto_mode",
        "time_fn",
    }


def test_15_library_has_open_limits_and_only_ever_numbers(library_use):
    made, called = library_use
    with pytest.raises(TypeError):
        a_library(output_limits=None)
    assert {options["output_limits"] for _, options in made} == {(None, None)}
    numbers = [number for gains, _ in made for number in gains]
    numbers += [options["setpoint"] for _, options in made]
    numbers += [temp_c for temp_c, _ in called]
    assert all(math.isfinite(number) for number in numbers)


def test_15_duty_is_within_none_and_all_and_finite_for_every_temperature():
    for temp_c in (-30.0, 0.0, 20.999, 21.0, 21.001, 70.0):
        for memory in (None, a_memory(), a_memory(integral=-5.0)):
            found = asked(memory, temp_c, 30, policy=WITH_D)
            assert 0.0 <= found.duty <= 1.0
            assert math.isfinite(found.integral)


def test_proportional_on_measurement_cannot_be_chosen_and_would_stay_cold(a_plant):
    """The library clamps the integral alone, so the measurement's part holds the
    output down for ever.
    """
    library = PID(
        0.4,
        0.4 / 7_200,
        setpoint=22.0,
        sample_time=None,
        output_limits=(0, 1),
        proportional_on_measurement=True,
        time_fn=lambda: 0.0,
    )
    cold, ours, memory, temps = a_plant(), a_plant(), None, []
    for number in range(4 * 2_880):
        cold.heat(library(cold.temp_c, dt=30.0))
        memory = asked(memory, ours.temp_c, number * 30, policy=Pid(), setpoint_c=22.0)
        temps.append(ours.heat(memory.duty))
    assert cold.temp_c < 15
    assert fmean(temps[-720:]) == pytest.approx(22, abs=0.01)
    assert set(get_type_hints(Pid)) == {
        "gain_per_k",
        "integral_s",
        "derivative_s",
        "cycle_ms",
        "kind",
    }
