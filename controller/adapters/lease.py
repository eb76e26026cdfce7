"""The rule by which a lease relay obeys: "on" runs out, "off" needs nothing.

A pure function of what the relay holds, the time and a command. Our relay nodes
use it; so does the simulated bench.
"""

from dataclasses import dataclass, replace
from decimal import Decimal

from controller.adapters import strict_json
from controller.adapters.relay_words import strict_json_integer

LONGEST_S = 120
"""A command may not ask for more."""


@dataclass(frozen=True, slots=True)
class Lease:
    """What a relay holds.

    Attributes:
        energised: Whether its contact is closed.
        until_ms: When that ends, on the relay's own clock [ms]; an "off" leaves
            it, since until then no other run may switch on.
        run: The run that it obeys; empty: none yet.
        seq: The newest command of that run.
        reason: Why it is as it is: command, lease, start or lost.
    """

    energised: bool = False
    until_ms: int = 0
    run: str = ""
    seq: int = -1
    reason: str = "start"


def expired(lease: Lease, now_ms: int) -> Lease:
    """Return the lease at a time: open, if "on" has run out."""
    if lease.energised and now_ms >= lease.until_ms:
        return replace(lease, energised=False, reason="lease")
    return lease


def alike(lease: Lease, before: Lease | None) -> bool:
    """Whether a relay has nothing new to say: renewals are no news."""
    if before is None:
        return False
    return (lease.energised, lease.run, lease.reason) == (
        before.energised,
        before.run,
        before.reason,
    )


def obeyed(lease: Lease, payload: bytes, now_ms: int, *, retained: bool) -> Lease:
    """Return the lease after a command.

    "Off" is obeyed always, whoever sends it and however broken it is: what
    cannot be understood is off as well. "On" needs the run that is obeyed and a
    newer number; a new run is taken up by its own "off", or with "on" once the
    lease would have ended. What the broker had kept never switches on.

    Args:
        lease: What the relay holds.
        payload: The command.
        now_ms: The relay's own clock [ms].
        retained: The broker had kept it.
    """
    lease = expired(lease, now_ms)
    command = _command(payload)
    if retained and (command is None or command.valid_for_ms is not None):
        return lease
    if command is None:
        return replace(lease, energised=False, reason="command")
    if command.valid_for_ms is None:
        same = command.run == lease.run
        seq = max(command.seq, lease.seq) if same else command.seq
        return Lease(False, lease.until_ms, command.run, seq, "command")  # noqa: FBT003
    if not _may_switch_on(lease, command, now_ms):
        return lease
    until_ms = now_ms + command.valid_for_ms
    return Lease(True, until_ms, command.run, command.seq, "command")  # noqa: FBT003


def _may_switch_on(lease: Lease, command: "_Command", now_ms: int) -> bool:
    if command.run == lease.run:
        return command.seq > lease.seq
    return now_ms >= lease.until_ms


@dataclass(frozen=True, slots=True)
class _Command:
    """A command understood; valid_for_ms is None for "off"."""

    run: str
    seq: int
    valid_for_ms: int | None


def _command(payload: bytes) -> _Command | None:
    """Return what a payload says; None: it is not understood."""
    try:
        body = strict_json.document(payload)
    except ValueError:
        return None
    if not isinstance(body, dict):
        return None
    run, seq = body.get("run"), strict_json_integer(body.get("seq"))
    if not isinstance(run, str) or not run or seq is None:
        return None
    if body.get("energised") is False:
        return _Command(run, seq, None)
    valid_for_ms = _lasting_ms(body.get("valid_for_s"))
    on = body.get("energised") is True and valid_for_ms is not None
    return _Command(run, seq, valid_for_ms) if on else None


def _lasting_ms(value: object) -> int | None:
    """Return how long "on" holds [ms]; None: no time, too long, or no number."""
    if not isinstance(value, Decimal) or not 0 < value <= LONGEST_S:
        return None
    return round(1000 * value) or None
