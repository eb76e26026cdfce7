"""A lease relay: "on" runs out, "off" needs nothing."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.lease import LONGEST_S, Lease, expired, obeyed


def on(seq: int, run: str = "r1", valid_for_s: float = 15) -> bytes:
    body = {"energised": True, "valid_for_s": valid_for_s, "run": run, "seq": seq}
    return json.dumps(body).encode()


def off(seq: int = 0, run: str = "r1") -> bytes:
    return json.dumps({"energised": False, "run": run, "seq": seq}).encode()


def after(*commands: bytes, lease: Lease | None = None, at_ms: int = 0) -> Lease:
    lease = lease or Lease()
    for command in commands:
        lease = obeyed(lease, command, at_ms, retained=False)
    return lease


def test_it_starts_off():
    assert not Lease().energised
    assert Lease().reason == "start"


def test_on_holds_for_its_lease_and_not_a_moment_longer():
    lease = after(on(1))
    assert expired(lease, 14_999).energised
    ended = expired(lease, 15_000)
    assert not ended.energised
    assert ended.reason == "lease"


def test_a_renewal_begins_a_new_lease():
    lease = obeyed(after(on(1)), on(2), 10_000, retained=False)
    assert expired(lease, 24_999).energised


@pytest.mark.parametrize("seq", [1, 0])
def test_on_needs_a_newer_number(seq):
    lease = after(on(1), off(2), on(seq))
    assert not lease.energised


def test_off_is_obeyed_whoever_sends_it():
    for command in (off(0), off(0, "another"), b"", b"rubbish", b"{}", b"[1]"):
        assert not after(on(5), command).energised


def test_what_the_broker_kept_is_no_command():
    assert not obeyed(Lease(), on(1), 0, retained=True).energised


def test_another_run_is_taken_up_by_its_off_or_when_the_lease_has_ended():
    held = after(on(5))
    assert obeyed(held, on(1, "r2"), 1_000, retained=False) == held
    assert after(on(5), off(1, "r2"), on(2, "r2")).energised
    assert obeyed(held, on(1, "r2"), 15_000, retained=False).energised


def test_a_late_on_of_the_run_before_is_not_obeyed_after_the_new_runs_off():
    """The old run may switch on again only once its lease would have ended."""
    lease = obeyed(after(on(5)), off(1, "r2"), 1_000, retained=False)
    assert not obeyed(lease, on(6), 2_000, retained=False).energised
    assert obeyed(lease, on(6), 15_000, retained=False).energised
    assert obeyed(lease, on(2, "r2"), 2_000, retained=False).energised


def test_even_an_off_that_the_broker_kept_is_obeyed():
    assert not obeyed(after(on(1)), off(2), 0, retained=True).energised


@pytest.mark.parametrize(
    ("valid_for_s", "seq"),
    [("15", 9), (15, "9"), ("1_5", 9)],
    ids=["lease", "seq", "score"],
)
def test_a_number_in_quotes_is_no_number(valid_for_s, seq):
    body = {"energised": True, "valid_for_s": valid_for_s, "run": "r1", "seq": seq}
    assert not after(json.dumps(body).encode()).energised


@pytest.mark.parametrize(
    "valid_for_s", [0, -1, LONGEST_S + 1, "x", None, True, float("1e300")]
)
def test_on_without_a_sensible_lease_is_off(valid_for_s):
    body = {"energised": True, "valid_for_s": valid_for_s, "run": "r1", "seq": 9}
    assert not after(on(1), json.dumps(body).encode()).energised


@given(st.lists(st.binary(max_size=60) | st.sampled_from([on(1), on(9), off(3)])))
def test_whatever_comes_nothing_is_on_for_longer_than_the_longest_lease(commands):
    lease = after(*commands)
    assert not expired(lease, LONGEST_S * 1000).energised
