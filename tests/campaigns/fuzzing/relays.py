"""Targets that read what relays say, and what is said to them."""

import json
from random import Random

from controller.adapters.lease import Lease, expired, obeyed
from controller.adapters.relay_words import HIGHEST_W, parse_power, parse_report
from controller.core.plan import RelayKind
from controller.core.scan import PowerReport, Refusal, RelayReport
from controller.wiring import RelayWire
from tests.campaigns.fuzzing.messages import SAYS_NUMBER, is_told
from tests.campaigns.fuzzing.mutator import Mutator
from tests.campaigns.fuzzing.target import Target

RELAYS = {
    "lease": RelayWire(mat="north", kind=RelayKind.LEASE, topic="c", reports_on="s"),
    "plain": RelayWire(
        mat="south",
        kind=RelayKind.PLAIN,
        topic="c",
        reports_on="s",
        on_word="Straße",
        off_word="{}",
    ),
}
_SAID = (
    b'{"energised": true, "run": "r1", "seq": 42, "reason": "command"}',
    b'{"energised": false, "run": "r1", "seq": 7, "reason": "lease"}',
    b'{"energised": false, "run": "other", "seq": 7, "reason": "start"}',
    *("Straße".encode(), b"STRASSE", b"{}", b"ON", b"off"),
)
_RELAY_KEYS = (
    *(b'"energised"', b'"run"', b'"seq"', b'"reason"', b'"valid_for_s"', b"r1", b"r2"),
    *(b"true", b"false", b"null", b"command", b"lease", b"lost", b"15", b"120", b"0"),
)
REPORTS = Mutator(_SAID, _RELAY_KEYS)
Report = tuple[str, bool, bytes]


def _report(rng: Random) -> Report:
    return rng.choice(list(RELAYS)), rng.random() < 0.2, REPORTS.made(rng)


def check_report(given: Report) -> bool:
    """A relay's message is a report that could be logged, or a refusal in words."""
    name, retained, payload = given
    found = parse_report(payload, RELAYS[name], "r1", 7, retained=retained)
    if isinstance(found, Refusal):
        is_told(found)
        return False
    assert type(found) is RelayReport
    assert type(found.energised) is bool
    assert found.retained is retained
    assert found.seq is None or 0 <= found.seq < 2**53
    assert found.reason in {"", "command", "lease", "start", "lost"}
    return True


def check_power(payload: bytes) -> bool:
    """A wattmeter's message is a power that a mat can draw, or a refusal in words."""
    found = parse_power(payload, RELAYS["lease"], 7)
    if isinstance(found, Refusal):
        is_told(found)
        return False
    assert type(found) is PowerReport
    assert type(found.power_mw) is int
    assert 0 <= found.power_mw <= 1000 * HIGHEST_W
    return True


_COMMANDS = (
    b'{"energised": true, "run": "r1", "seq": 5, "valid_for_s": 15}',
    b'{"energised": true, "run": "r2", "seq": 1, "valid_for_s": 0.5}',
    b'{"energised": false, "run": "r1", "seq": 6}',
)
COMMANDS = Mutator(_COMMANDS, _RELAY_KEYS)
LONGEST_LEASE_MS = 120_000
Commands = list[tuple[int, bool, bytes]]


def _commanded(rng: Random) -> Commands:
    pauses_ms = (0, 1, 499, 5_000, 14_999, 15_000, 120_000, 10**7)
    return [
        (rng.choice(pauses_ms), rng.random() < 0.2, COMMANDS.made(rng))
        for _ in range(rng.randrange(1, 5))
    ]


def check_lease(given: Commands) -> bool:
    """Whatever arrives, "on" is asked for in full, has an end, and runs out."""
    lease, now_ms, was_on = Lease(), 1_000, False
    for pause_ms, retained, payload in given:
        now_ms += pause_ms
        before = expired(lease, now_ms)
        lease = obeyed(lease, payload, now_ms, retained=retained)
        if lease.energised:
            _may_be_on(before, lease, payload, now_ms, retained=retained)
            was_on = True
        assert not expired(lease, now_ms + LONGEST_LEASE_MS).energised
    return was_on


def _may_be_on(
    before: Lease, lease: Lease, payload: bytes, now_ms: int, *, retained: bool
) -> None:
    assert now_ms < lease.until_ms <= now_ms + LONGEST_LEASE_MS
    if lease == before and retained:
        return
    said = json.loads(payload)
    assert said["energised"] is True
    assert type(said["seq"]) in {int, float}
    assert type(said["run"]) is str
    assert 0 < said["valid_for_s"] <= LONGEST_LEASE_MS / 1000
    if lease != before:
        assert not retained
        assert (lease.run, lease.seq) == (said["run"], said["seq"])
        newer = before.run == said["run"] and before.seq < said["seq"]
        other = before.run != said["run"] and before.until_ms <= now_ms
        assert newer or other


TARGETS = (
    Target("report", 70, _report, check_report),
    Target("power", 20, SAYS_NUMBER.made, check_power),
    Target("lease", 100, _commanded, check_lease),
)
