"""What is said to relays and by them, in bytes.

Lease relays speak JSON; plain ones the two words of their own configuration.
What may live here: those words. No connection.
"""

import json
from decimal import Decimal

from controller.adapters import strict_json
from controller.core.plan import RelayKind
from controller.core.scan import Refusal, RelayReport
from controller.core.units import Millis
from controller.wiring import RelayWire

REASONS = ("command", "lease", "start", "lost")
"""Why a lease relay is as it is; any other word of a stranger is left out."""


def command_payload(
    wire: RelayWire, *, energised: bool, run: str, seq: int, valid_for_ms: int
) -> str:
    """Return a command's payload.

    Args:
        wire: The relay.
        energised: On or off.
        run: Identity of the run.
        seq: Number of the scan.
        valid_for_ms: How long "on" holds [ms]; "off" needs no end.
    """
    if wire.kind is not RelayKind.LEASE:
        return wire.on_word if energised else wire.off_word
    body: dict[str, object] = {"energised": energised, "run": run, "seq": seq}
    if energised:
        body["valid_for_s"] = _short(valid_for_ms)
    return json.dumps(body)


def _short(ms: int) -> float | int:
    return ms // 1000 if ms % 1000 == 0 else ms / 1000


def report_payload(*, energised: bool, run: str, seq: int, reason: str) -> str:
    """Return what a lease relay says of itself."""
    body = {"energised": energised, "run": run, "seq": seq, "reason": reason}
    return json.dumps(body)


def parse_report(
    payload: bytes, wire: RelayWire, run: str, at_ms: int, *, retained: bool
) -> RelayReport | Refusal:
    """Make a report of a relay's message; whatever the bytes are, never raise.

    Args:
        payload: What came.
        wire: The relay.
        run: Identity of our run: another run's numbers say nothing here.
        at_ms: When it came; run clock [ms].
        retained: The broker had kept it.
    """
    try:
        energised, seq, reason = _understood(payload, wire, run)
    except ValueError as error:
        raw = strict_json.printable(payload)
        return Refusal(f"relay of {wire.mat}", Millis(at_ms), str(error), raw)
    return RelayReport(wire.mat, Millis(at_ms), energised, seq, reason, retained)


def _understood(
    payload: bytes, wire: RelayWire, run: str
) -> tuple[bool, int | None, str]:
    if wire.kind is not RelayKind.LEASE:
        return _word(strict_json.text(payload), wire), None, ""
    body = strict_json.document(payload)
    if not isinstance(body, dict):
        message = f"found {strict_json.kind(body)}: must be a JSON object"
        raise ValueError(message)  # noqa: TRY004 (a message, not an argument)
    energised = body.get("energised")
    if not isinstance(energised, bool):
        message = 'no "energised" that is true or false: a relay must say which'
        raise ValueError(message)  # noqa: TRY004
    reason = str(body.get("reason"))
    seq = strict_json_integer(body.get("seq")) if body.get("run") == run else None
    return energised, seq, reason if reason in REASONS else ""


def strict_json_integer(value: object) -> int | None:
    """Return a JSON number as a whole number that fits a scan's; else None."""
    if not isinstance(value, Decimal) or not 0 <= value < 2**53 or value % 1:
        return None
    return int(value)


def _word(text: str, wire: RelayWire) -> bool:
    word = text.strip().casefold()
    if word == wire.on_word.casefold():
        return True
    if word == wire.off_word.casefold():
        return False
    message = (
        f"found {strict_json.shown(text)}: must be {wire.on_word} or {wire.off_word}"
    )
    raise ValueError(message)
