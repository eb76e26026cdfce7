"""A person's wishes: what is granted, what is refused, and in which words."""

from dataclasses import replace

import pytest

from controller.core.decisions import Answer
from controller.core.plan import StepPlan
from controller.core.requests import grant
from controller.core.scan import (
    Hold,
    LogHealth,
    NextStep,
    Request,
    Reset,
    Scan,
    SetEnabled,
    SetSetpoint,
)
from controller.core.state import Override
from tests.builders import UTC_MS, Bench, a_mat, a_plan, mc, ms

COLD = {"n1": 20.0, "n2": 20.0}
HOUR_S = 3600
PROGRAMME = (
    StepPlan(mc(24), days=2.0),
    StepPlan(mc(21), days=1.0),
    StepPlan(mc(18)),
)


def asked(bench, *wishes):
    """Let a person ask in the next scan; return the answers' sentences and fates."""
    bench.scan(**COLD, ask=wishes)
    answers = bench.decisions.answers
    assert [answer.request_id for answer in answers] == list(range(1, len(wishes) + 1))
    return [(answer.accepted, answer.sentence) for answer in answers]


def granted(bench, wish):
    [(accepted, sentence)] = asked(bench, wish)
    assert accepted, sentence
    return sentence


def refused(bench, wish):
    """Ask for what must be refused, and see that it changed nothing."""
    twin = Bench(bench.plan, bench.state, bench.now_s, bench.seq, log=bench.log)
    [(accepted, sentence)] = asked(bench, wish)
    assert not accepted, sentence
    assert bench.state == twin.scan(**COLD).state, "a refused wish changes nothing"
    assert bench.decisions.flush, "what a person was told is kept"
    return sentence


def setpoint_c(bench):
    return bench.mat.ramp.to_mc / 1000


# ------------------------------------------------------------------ any wish

WISHES = [
    SetSetpoint("{}", mc(22)),
    SetEnabled("{}", False),
    Reset("{}"),
    Hold("{}", ms(60)),
    NextStep("{}"),
]


def named(wish, mat):
    return type(wish)(mat, *[getattr(wish, f) for f in wish.__slots__[1:-1]])


@pytest.mark.parametrize("wish", WISHES, ids=lambda wish: wish.kind)
def test_wish_for_an_unknown_mat_is_refused(wish):
    assert refused(Bench(), named(wish, "nowhere")) == "there is no mat nowhere"


@pytest.mark.parametrize("wish", WISHES, ids=lambda wish: wish.kind)
def test_wish_for_a_watched_mat_is_refused(wish):
    bench = Bench(a_plan(a_mat(relay=None, programme=PROGRAMME)), log=LogHealth.FAILED)
    sentence = "mat north is only watched: it has no relay to command"
    assert refused(bench, named(wish, "north")) == sentence


def test_wishes_are_answered_in_their_order_each_after_the_one_before():
    bench = Bench().heating()
    answers = asked(
        bench,
        SetSetpoint("north", mc(22)),
        Hold("north", ms(60)),
        SetSetpoint("north", mc(99)),
        SetSetpoint("north", None),
        SetSetpoint("north", None),
    )
    assert [accepted for accepted, _ in answers] == [True, True, False, True, False]
    assert bench.mat.override is None
    assert bench.mat.hold_until_ms == ms(bench.now_s + 60)
    assert bench.decisions.flush


def test_answers_carry_the_numbers_of_their_requests():
    bench = Bench().heating().scan(ask=[Hold("nowhere", ms(0)), NextStep("north")])
    assert bench.decisions.answers == (
        Answer(1, False, "there is no mat nowhere"),
        Answer(2, False, "north is in the last step of its programme"),
    )


def test_wish_changes_no_other_mat():
    south = a_mat("south", trays=())
    bench = Bench(a_plan(a_mat(), south)).heating()
    south_before = bench.state.mats["south"]
    granted(bench, Hold("north", ms(60)))
    assert bench.state.mats["south"] is south_before


# ------------------------------------------------------------------ setpoint


def test_setpoint_of_a_person_goes_before_the_programme():
    bench = Bench().heating()
    wish = SetSetpoint("north", mc(23.25))
    assert granted(bench, wish) == "north heads for 23.25 °C"
    now_ms = ms(bench.now_s)
    override = Override(mc(23.25), "Ada", UTC_MS + now_ms, None, planned_mc=mc(21))
    assert bench.mat.override == override
    assert setpoint_c(bench) == 23.25
    bench.scan(**COLD, after_s=1_000 * HOUR_S)
    assert bench.mat.override == override, "it stays"


def test_setpoint_of_a_person_remembers_what_it_replaced_when_it_was_granted():
    bench = Bench()
    scan = Scan(1, ms(5), UTC_MS, True, 20_000, 720)
    scan = replace(scan, requests=(Request(1, "Ada", SetSetpoint("north", mc(23))),))
    state = grant(bench.plan, bench.state, scan, ms(5)).state
    assert state.mats["north"].override.planned_mc == mc(21)


def test_setpoint_for_a_time_ends_by_itself():
    bench = Bench().heating()
    granted(bench, SetSetpoint("north", mc(23), ms(60)))
    assert bench.mat.override.until_ms == ms(bench.now_s + 60)
    bench.run(55)
    assert setpoint_c(bench) == 23
    bench.scan()
    assert (setpoint_c(bench), bench.mat.override) == (21, None)


@pytest.mark.parametrize("for_ms", [0, -1])
def test_setpoint_for_no_time_is_refused(for_ms):
    sentence = "a setpoint must last for more than no time"
    assert refused(Bench(), SetSetpoint("north", mc(23), for_ms)) == sentence


@pytest.mark.parametrize("temp_c", [5.0, 30.0])
def test_setpoint_at_its_bounds_is_granted(temp_c):
    bench = Bench()
    granted(bench, SetSetpoint("north", mc(temp_c), 1))
    assert bench.mat.override.setpoint_mc == mc(temp_c)


@pytest.mark.parametrize("temp_c", [4.999, 30.001, -40.0, 75.0])
def test_setpoint_out_of_bounds_is_refused_with_the_bounds(temp_c):
    assert refused(Bench(), SetSetpoint("north", mc(temp_c))) == (
        f"mat north: setpoint = {temp_c:g} °C: from 5 °C to 30 °C, "
        "which is 3 K below the cutout"
    )


def test_setpoint_of_a_person_can_be_dropped():
    bench = Bench().heating()
    granted(bench, SetSetpoint("north", mc(23)))
    wish = SetSetpoint("north", None)
    assert granted(bench, wish) == "north follows its programme"
    assert setpoint_c(bench) == 21
    assert refused(bench, wish) == "north has no setpoint of a person's to drop"


def test_setpoint_of_a_person_outlives_the_step_it_was_set_in():
    bench = Bench(a_plan(a_mat(programme=PROGRAMME))).heating()
    granted(bench, SetSetpoint("north", mc(23)))
    bench.scan(after_s=48 * HOUR_S)
    assert (bench.mat.step, setpoint_c(bench)) == (1, 23)
    assert bench.mat.override.planned_mc == mc(21), "what it replaces now"


# ------------------------------------------------------- enabled, hold, step


def test_mat_is_switched_off_and_on_in_words():
    bench = Bench().heating()
    off, on = SetEnabled("north", False), SetEnabled("north", True)
    assert granted(bench, off) == "north is switched off"
    assert not bench.mat.enabled
    assert granted(bench, on) == "north may heat"
    assert bench.mat.enabled


def test_hold_says_for_how_long():
    bench = Bench().heating()
    wish = Hold("north", ms(1500))
    assert granted(bench, wish) == "north stays cold for 25 min"
    assert granted(bench, Hold("north", ms(90))) == "north stays cold for 2 min"
    assert granted(bench, wish) == "north stays cold for 25 min"
    assert bench.mat.hold_until_ms == ms(bench.now_s + 1500)
    assert granted(bench, Hold("north", ms(0))) == "the hold on north ends"
    assert bench.mat.hold_until_ms is None


@pytest.mark.parametrize("for_ms", [1, 4 * 3_600_000])
def test_shortest_and_longest_hold_are_granted(for_ms):
    bench = Bench().heating()
    granted(bench, Hold("north", for_ms))
    assert bench.mat.hold_until_ms == ms(bench.now_s) + for_ms


@pytest.mark.parametrize("for_ms", [-1, 4 * 3_600_000 + 1])
def test_hold_beyond_its_bounds_is_refused(for_ms):
    bench = Bench().heating()
    assert refused(bench, Hold("north", for_ms)) == "a hold lasts from 0 to 4 hours"


def test_later_hold_replaces_the_earlier_one():
    bench = Bench().heating()
    granted(bench, Hold("north", ms(600)))
    granted(bench, Hold("north", ms(60)))
    assert bench.mat.hold_until_ms == ms(bench.now_s + 60)


def test_steps_end_by_hand_until_the_last_one():
    bench = Bench(a_plan(a_mat(programme=PROGRAMME))).heating()
    assert (bench.mat.step, setpoint_c(bench)) == (0, 24)
    assert granted(bench, NextStep("north")) == "north begins step 2"
    assert (bench.mat.step, bench.mat.step_since_ms) == (1, ms(bench.now_s))
    assert setpoint_c(bench) == 21
    assert granted(bench, NextStep("north")) == "north begins step 3"
    last = "north is in the last step of its programme"
    assert refused(bench, NextStep("north")) == last
    assert (bench.mat.step, setpoint_c(bench)) == (2, 18)


def test_step_ended_by_hand_gives_the_next_one_its_whole_length():
    bench = Bench(a_plan(a_mat(programme=PROGRAMME))).heating()
    bench.scan(after_s=47 * HOUR_S)
    granted(bench, NextStep("north"))
    bench.scan(after_s=24 * HOUR_S - 1)
    assert bench.mat.step == 1
    bench.scan(after_s=1)
    assert bench.mat.step == 2


# --------------------------------------------------------------------- reset


def test_reset_of_what_is_not_locked_off_is_refused():
    assert refused(Bench().heating(), Reset("north")) == "north is not locked off"


def test_reset_starts_a_bench_without_a_log_once():
    bench = Bench(log=LogHealth.FAILED)
    sentence = "the bench starts without a season log"
    assert granted(bench, Reset("north")) == sentence
    assert bench.state.log_ready
    assert refused(bench, Reset("north")) == "north is not locked off"


def test_reset_of_a_trip_does_not_start_a_bench_without_a_log():
    bench = Bench(a_plan(a_mat(programme=(StepPlan(mc(29)),))), log=LogHealth.FAILED)
    bench.scan(n1=33.0, n2=28.0).scan(n1=33.0, n2=28.0)
    bench.scan(n1=29.5, n2=28.0, ask=[Reset("north")])
    sentence = "north is unlocked and waits for good readings"
    assert bench.decisions.answers == (Answer(1, True, sentence),)
    assert bench.mat.trip is None
    assert not bench.state.log_ready
    assert not bench.on
    bench.scan(n1=29.0, n2=28.0, ask=[Reset("north")])
    assert bench.state.log_ready
