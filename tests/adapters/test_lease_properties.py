"""A lease relay between two programs, a broker that repeats, and strangers."""

import json
from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.adapters.lease import LONGEST_S, Lease, expired, obeyed


@dataclass(frozen=True)
class Said:
    """A command as a program gives it.

    Attributes:
        run: Which run says so.
        seq: Its number.
        on_ms: For how long "on" holds; None: off.
    """

    run: str
    seq: int
    on_ms: int | None

    def payload(self) -> bytes:
        """Return it as bytes."""
        body = {"energised": self.on_ms is not None, "run": self.run, "seq": self.seq}
        if self.on_ms is not None:
            body["valid_for_s"] = self.on_ms / 1000
        return json.dumps(body).encode()


RUNS = st.sampled_from(["spring", "summer"])
LASTING_MS = st.sampled_from([1, 3_000, 15_000, 90_000, 120_000])
COMMANDS = st.builds(Said, RUNS, st.integers(0, 6), st.none() | LASTING_MS)
JUNK = st.sampled_from(
    [b"", b"{}", b"ON", b'{"energised": true}', b"\xff", b"[" * 3_000]
) | st.binary(max_size=40)
PAUSES_MS = st.sampled_from([0, 1, 2_999, 3_000, 15_000, 119_999, 120_000, 500_000])
ARRIVALS = st.tuples(PAUSES_MS, COMMANDS | JUNK, st.sampled_from([False] * 4 + [True]))


@settings(max_examples=200, deadline=None)
@given(st.lists(ARRIVALS, max_size=14))
def test_whatever_arrives_on_is_a_new_command_of_one_run_and_runs_out(arrivals):
    lease, now_ms = Lease(), 0
    for pause_ms, said, retained in arrivals:
        now_ms += pause_ms
        before = expired(lease, now_ms)
        payload = said if isinstance(said, bytes) else said.payload()
        lease = obeyed(lease, payload, now_ms, retained=retained)
        meant_on = isinstance(said, Said) and said.on_ms is not None
        if lease.energised:
            assert now_ms < lease.until_ms <= now_ms + LONGEST_S * 1000
            assert retained or meant_on  # else it went off with this very message
        if lease.energised and lease != before:
            assert meant_on and not retained
            assert lease.until_ms == now_ms + said.on_ms
            assert (lease.run, lease.seq) == (said.run, said.seq)
            newer = before.run == said.run and said.seq > before.seq
            assert newer or (before.run != said.run and now_ms >= before.until_ms)
        assert not expired(lease, now_ms + LONGEST_S * 1000).energised
        assert not lease.energised or not expired(lease, lease.until_ms).energised


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 4_000), st.booleans()), min_size=1, max_size=12),
    st.data(),
)
def test_messages_of_before_an_off_never_switch_on_again(scans, data):
    """Late, twice, in any order: what one run said before its off is over."""
    lease, now_ms, told = Lease(), 0, []
    for seq, (pause_ms, on) in enumerate(scans, 1):
        now_ms += pause_ms
        command = Said("spring", seq, 15_000 if on else None).payload()
        told.append(command)
        lease = obeyed(lease, command, now_ms, retained=False)
        assert expired(lease, now_ms).energised is on
    lease = obeyed(
        lease, Said("spring", len(scans) + 1, None).payload(), now_ms, retained=False
    )
    for command in data.draw(st.lists(st.sampled_from(told), max_size=20)):
        now_ms += data.draw(PAUSES_MS)
        lease = obeyed(lease, command, now_ms, retained=data.draw(st.booleans()))
        assert not lease.energised
