"""What is said to relays and what they say: bytes on one side, values inside."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.relay_words import (
    command_payload,
    parse_power,
    parse_report,
    report_payload,
)
from controller.core.plan import RelayKind
from controller.core.scan import PowerReport, Refusal, RelayReport
from controller.wiring import RelayWire

LEASE = RelayWire(mat="north", kind=RelayKind.LEASE, topic="c", reports_on="s")
PLAIN = RelayWire(
    mat="south",
    kind=RelayKind.PLAIN,
    topic="c",
    reports_on="s",
    on_word="Heat",
    off_word="Cold",
)


def command(wire: RelayWire, *, energised: bool, valid_for_ms: int = 15_000) -> str:
    return command_payload(
        wire, energised=energised, run="r1", seq=42, valid_for_ms=valid_for_ms
    )


def report(payload: str | bytes, wire: RelayWire = LEASE) -> RelayReport:
    raw = payload if isinstance(payload, bytes) else payload.encode()
    found = parse_report(raw, wire, "r1", 7, retained=False)
    assert isinstance(found, RelayReport), found
    return found


def test_a_lease_command_says_how_long_and_an_off_does_not():
    assert json.loads(command(LEASE, energised=True)) == {
        "energised": True,
        "valid_for_s": 15,
        "run": "r1",
        "seq": 42,
    }
    assert json.loads(command(LEASE, energised=False)) == {
        "energised": False,
        "run": "r1",
        "seq": 42,
    }


def test_a_lease_of_part_of_a_second_is_said_exactly():
    said = json.loads(command(LEASE, energised=True, valid_for_ms=4_500))
    assert said["valid_for_s"] == 4.5


def test_a_plain_relay_gets_its_own_two_words():
    assert command(PLAIN, energised=True) == "Heat"
    assert command(PLAIN, energised=False) == "Cold"


@pytest.mark.parametrize("energised", [True, False])
@pytest.mark.parametrize("reason", ["command", "lease", "start", "lost"])
def test_what_our_relay_reports_is_read_as_it_was_meant(energised, reason):
    said = report_payload(energised=energised, run="r1", seq=42, reason=reason)
    assert report(said) == RelayReport("north", 7, energised, 42, reason)


def test_the_number_of_another_run_says_nothing():
    said = report_payload(energised=True, run="r0", seq=42, reason="command")
    assert report(said).seq is None


def test_a_report_may_leave_out_all_but_its_state():
    assert report('{"energised": false}') == RelayReport("north", 7, energised=False)


def test_a_report_that_the_broker_kept_is_marked():
    found = parse_report(b'{"energised": true}', LEASE, "r1", 7, retained=True)
    assert isinstance(found, RelayReport)
    assert found.retained


@pytest.mark.parametrize(
    ("word", "energised"),
    [("Heat", True), ("HEAT", True), (" heat\n", True), ("cold", False)],
)
def test_a_plain_relays_words_are_read_whatever_their_case(word, energised):
    assert report(word, PLAIN) == RelayReport("south", 7, energised)


@pytest.mark.parametrize(
    ("wire", "payload", "says"),
    [
        (LEASE, b"", "Expecting value at character 0"),
        (LEASE, b"on", "Expecting value at character 0"),
        (LEASE, b"[true]", "found an array: must be a JSON object"),
        (LEASE, b"{}", 'no "energised" that is true or false'),
        (LEASE, b'{"energised": 1}', 'no "energised" that is true or false'),
        (LEASE, b'{"energised": "true"}', 'no "energised" that is true or false'),
        (LEASE, b'{"energised": null}', 'no "energised" that is true or false'),
        (LEASE, b'{"energised": true, "energised": false}', "'energised' twice"),
        (LEASE, b"\xff", "byte 0xff at 0 is not UTF-8"),
        (LEASE, b"[" * 4_000, "nested too deeply"),
        (LEASE, b" " * 5_000, "at most 4096 bytes"),
        (PLAIN, b"on", "found 'on': must be Heat or Cold"),
        (PLAIN, b"", "found '': must be Heat or Cold"),
        (PLAIN, b"\xff", "byte 0xff at 0 is not UTF-8"),
        (PLAIN, b"Heat Heat", "found 'Heat Heat': must be Heat or Cold"),
    ],
)
def test_what_is_no_report_is_refused_and_says_why(wire, payload, says):
    found = parse_report(payload, wire, "r1", 7, retained=False)
    assert isinstance(found, Refusal)
    assert says in found.reason
    assert found.source == f"relay of {wire.mat}"


@pytest.mark.parametrize(
    "seq", ["-1", "1.5", '"7"', "true", "null", "1e300", str(2**53)]
)
def test_a_number_that_cannot_be_a_scans_is_left_out(seq):
    said = f'{{"energised": true, "run": "r1", "seq": {seq}}}'
    assert report(said).seq is None


@pytest.mark.parametrize(
    "reason", ['"heat"', '"\\ud800"', "7", "null", '"' + "x" * 99 + '"']
)
def test_a_strangers_reason_is_left_out(reason):
    """What cannot be stored as UTF-8 must not reach the log."""
    assert report(f'{{"energised": true, "reason": {reason}}}').reason == ""


# named one by one: the table of all characters takes seconds to build at first
LETTERS = st.text('aHeatCold09 .-"\\/\n\x00\u00e9\u0660\U0001f33f', max_size=40)
SOMETHING = st.none() | st.booleans() | st.integers() | st.floats() | LETTERS


@given(
    st.binary(max_size=60)
    | st.dictionaries(
        st.sampled_from(["energised", "run", "seq", "reason"]), SOMETHING
    ).map(lambda body: json.dumps(body).encode()),
    st.sampled_from([LEASE, PLAIN]),
)
def test_no_bytes_whatever_raise(payload, wire):
    found = parse_report(payload, wire, "r1", 7, retained=False)
    assert isinstance(found, RelayReport | Refusal)
    assert not isinstance(found, RelayReport) or found.mat == wire.mat


def power(payload: bytes) -> PowerReport | Refusal:
    return parse_power(payload, LEASE, 7)


@pytest.mark.parametrize(
    ("payload", "power_mw"),
    [(b"0", 0), (b"97.25", 97_250), (b" 100\n", 100_000), (b"1e4", 10_000_000)],
)
def test_a_wattmeter_says_watts(payload, power_mw):
    assert power(payload) == PowerReport("north", 7, power_mw)


@pytest.mark.parametrize(
    "payload",
    [b"", b"NaN", b"inf", b"-0.1", b"10000.1", b"97 W", b"1_0", b"{}", b"\xff", b"on"],
)
def test_what_no_mat_can_draw_is_refused(payload):
    found = power(payload)
    assert isinstance(found, Refusal)
    assert (found.source, found.at_ms) == ("wattmeter of north", 7)
    assert found.reason


@given(st.binary(max_size=40))
def test_no_wattmeter_can_break_anything(payload):
    found = power(payload)
    assert isinstance(found, Refusal) or 0 <= found.power_mw <= 10_000_000
