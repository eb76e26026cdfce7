"""Records come back from text exactly, and damage is named."""

import json
from collections.abc import Callable
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller import wire
from controller.core.decisions import Cause, Command, Decisions, Numbers
from controller.core.plan import MatPlan, Pid, Plan, ProbePlan, StepPlan
from controller.core.scan import Hold, Request, Scan, Wish
from controller.core.state import (
    MatState,
    ProbeState,
    State,
    ThermalAccount,
    Trip,
    fresh_state,
)
from controller.core.units import MilliC, Millis, UtcMillis

NAME = st.text(max_size=8)
STATES = st.builds(
    State,
    probes=st.dictionaries(NAME, st.from_type(ProbeState), max_size=3),
    accounts=st.dictionaries(NAME, st.from_type(ThermalAccount), max_size=3),
    mats=st.dictionaries(NAME, st.from_type(MatState), max_size=3),
)
WISHES = st.one_of(*map(st.from_type, get_args(Wish)))
TRIPS = st.dictionaries(NAME, st.from_type(Trip), max_size=3)

CODECS: list[tuple[st.SearchStrategy, Callable, Callable]] = [
    (st.from_type(Plan), wire.encode_plan, wire.decode_plan),
    (STATES, wire.encode_state, wire.decode_state),
    (st.from_type(Scan), wire.encode_scan, wire.decode_scan),
    (st.from_type(Decisions), wire.encode_decisions, wire.decode_decisions),
    (TRIPS, wire.encode_trips, wire.decode_trips),
    (st.from_type(Command), wire.encode_command, wire.decode_command),
    (WISHES, wire.encode_wish, wire.decode_wish),
    (st.from_type(Numbers), wire.encode_numbers, wire.decode_numbers),
]
NAMES = ["plan", "state", "scan", "decisions", "trips", "command", "wish", "numbers"]


@pytest.mark.parametrize(("records", "encode", "decode"), CODECS, ids=NAMES)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_record_comes_back_from_text_exactly(records, encode, decode, data):
    """repr tells 1 from 1.0, 0.0 from -0.0 and a tuple from a list; == does not."""
    record = data.draw(records)
    text = wire.to_text(encode(record))
    assert repr(decode(wire.from_text(text))) == repr(record)


def small_plan(policy: object = None) -> dict:
    mat = MatPlan(
        name="north",
        power_mw=1,
        length_mm=1,
        width_mm=1,
        policy=Pid(),
        programme=(StepPlan(MilliC(21_000)),),
    )
    record: dict = wire.encode_plan(Plan(bench="lean-to", mats=(mat,)))
    if policy is not None:
        record["plan"]["mats"][0]["policy"] = policy
    return record


def test_a_key_that_may_be_missing_takes_its_default():
    record = small_plan()
    del record["plan"]["mats"][0]["warn_mc"]
    assert wire.decode_plan(record).mats[0].warn_mc == 30_000


@pytest.mark.parametrize(
    ("policy", "place", "found"),
    [
        ({}, "plan.mats.0.policy", '"kind" is missing'),
        ({"kind": "fuzzy"}, "plan.mats.0.policy", "'fuzzy'"),
        ({"kind": "pid", "gain": 1.0}, "policy.Pid.gain", "Unexpected"),
        ({"kind": "pid", "cycle_ms": "600"}, "policy.Pid.cycle_ms", "'600'"),
        ({"kind": "pid", "cycle_ms": 1.5}, "policy.Pid.cycle_ms", "1.5"),
        ({"kind": "pid", "gain_per_k": True}, "policy.Pid.gain_per_k", "True"),
        (7, "plan.mats.0.policy", "7"),
    ],
)
def test_a_damaged_policy_is_named_with_its_place_and_what_was_found(
    policy, place, found
):
    with pytest.raises(wire.WireError) as caught:
        wire.decode_plan(small_plan(policy))
    assert place in str(caught.value)
    assert found in str(caught.value)


def test_an_error_in_one_kind_of_policy_does_not_speak_of_the_other_kind():
    with pytest.raises(wire.WireError) as caught:
        wire.decode_plan(small_plan({"kind": "pid", "cycle_ms": "600"}))
    assert "OnOff" not in str(caught.value)


@pytest.mark.parametrize(
    ("record", "complaint"),
    [
        (None, "plan: found None where an object"),
        ([1], r"plan: found \[1\] where an object"),
        ({}, "plan: found version None; this program reads version 1"),
        ({"version": 2, "plan": {}}, "found version 2"),
        ({"version": 1}, '"version" and "plan" should be the only ones'),
        ({"version": 1, "plan": {}, "more": 1}, "'more'"),
        ({"version": 1, "plan": []}, r"plan: found \[\]"),
        ({"version": 1, "plan": {}}, "plan.bench: .*Missing|plan.bench: .*required"),
    ],
)
def test_what_is_no_plan_at_all_is_refused(record, complaint):
    with pytest.raises(wire.WireError, match=complaint):
        wire.decode_plan(record)


def test_a_request_without_the_kind_of_its_wish_is_refused():
    request = Request(1, "Ann", Hold("north", Millis(1)))
    scan = Scan(1, Millis(0), UtcMillis(0), True, 0, 0, requests=(request,))
    record: dict = wire.encode_scan(scan)
    del record["scan"]["requests"][0]["wish"]["kind"]
    with pytest.raises(wire.WireError, match=r"scan\.requests\.0\.wish: \"kind\""):
        wire.decode_scan(record)


def test_a_long_value_is_not_repeated_in_full():
    with pytest.raises(wire.WireError) as caught:
        wire.decode_plan("x" * 10_000)
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("text", ["", "{", "{'a': 1}", b"\xff\xfe\xfd", "[" * 100_000])
def test_what_is_no_json_is_refused(text):
    with pytest.raises(wire.WireError, match="no JSON"):
        wire.from_text(text)


def test_text_is_one_line_of_plain_json():
    text = wire.to_text(small_plan())
    assert "\n" not in text
    assert json.loads(text)["plan"]["bench"] == "lean-to"


@pytest.mark.parametrize(
    ("second", "news"),
    [
        (Command("north", True, Cause.BELOW_BAND, (("a", 2.0),)), False),
        (Command("north", False, Cause.BELOW_BAND), True),
        (Command("north", True, Cause.MIN_ON), True),
        (Command("south", True, Cause.BELOW_BAND), True),
    ],
)
def test_a_command_is_news_when_its_mats_cause_or_state_changed(second, news):
    said = {}
    first = Command("north", True, Cause.BELOW_BAND, (("a", 1.0),))
    assert wire.take_news(said, [first]) == [first]
    assert wire.take_news(said, [second]) == ([second] if news else [])
    assert wire.take_news(said, [second]) == []


@pytest.mark.parametrize("name", ["policy", "wish", "kind", "version"])
def test_a_probe_may_have_the_name_of_any_key(name):
    plan = Plan(bench="lean-to", room=(ProbePlan(name=name),))
    state = fresh_state(plan)
    assert (
        wire.decode_state(wire.from_text(wire.to_text(wire.encode_state(state))))
        == state
    )
