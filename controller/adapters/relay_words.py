"""What is said to relays and by them, in bytes.

Lease relays speak JSON; plain ones the two words of their own configuration.
What may live here: those words. No connection.
"""

import json
from decimal import Decimal

from controller.adapters import strict_json
from controller.core.plan import RelayKind
from controller.core.scan import PowerReport, Refusal, RelayReport
from controller.core.units import Millis
from controller.wiring import RelayWire

REASONS = ("command", "lease", "start", "lost")
"""Why a lease relay is as it is; any other word of a stranger is left out."""

HIGHEST_W = 10_000
"""Chosen: a bench's mats draw some hundred watts; more is a fault or a unit [W]."""


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
    if wire.kind is RelayKind.LEASE:
        return lease_payload(
            energised=energised, run=run, seq=seq, valid_for_ms=valid_for_ms
        )
    return wire.on_word if energised else wire.off_word


def lease_payload(*, energised: bool, run: str, seq: int, valid_for_ms: int) -> str:
    """Return a command to a relay that counts its lease; see command_payload."""
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


def parse_power(payload: bytes, wire: RelayWire, at_ms: int) -> PowerReport | Refusal:
    """Make a report of a wattmeter's message; whatever the bytes are, never raise.

    Args:
        payload: What came: one decimal number of watts.
        wire: The relay whose mat it measures.
        at_ms: When it came; run clock [ms].
    """
    try:
        watts = _watts(strict_json.bare_number(payload))
    except ValueError as error:
        raw = strict_json.printable(payload)
        return Refusal(f"wattmeter of {wire.mat}", Millis(at_ms), str(error), raw)
    return PowerReport(wire.mat, Millis(at_ms), round(1000 * watts))


def _watts(watts: Decimal) -> Decimal:
    if not 0 <= watts <= HIGHEST_W:
        message = f"{watts:.6g} W; from 0 to {HIGHEST_W} W is possible"
        raise ValueError(message)
    return watts


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
