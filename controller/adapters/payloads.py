"""From the bytes of a message to a reading, or to a refusal that says why.

This is the door: what passes it is finite, in range and whole thousandths of a
degree. What may live here: the payload formats and units. No connection, no
clock, and no opinion on whether a root zone can be that warm.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from controller.adapters import json_pointer, senml, strict_json
from controller.core.scan import Quality, Reading, Refusal
from controller.core.units import Millis
from controller.ports import Instant
from controller.wiring import (
    NumberPayload,
    PointerPayload,
    ProbeWire,
    SenmlPayload,
    TemperatureUnit,
)

HIGHEST_C = 1_000
HIGHEST_OTHER = 1_000_000
"""Chosen: direct sun is about 100,000 lux; anything above this is a fault."""

AHEAD_MS = 2_000
"""Chosen: a sender's clock may be this far ahead of ours [ms]."""

FURTHEST_S = 10**10
"""Chosen: three centuries; a time further from now is no time of anybody's, and
would not fit into the season log [s]."""

_TO_CELSIUS: dict[TemperatureUnit, Callable[[Fraction], Fraction]] = {
    TemperatureUnit.CELSIUS: lambda value: value,
    TemperatureUnit.FAHRENHEIT: lambda value: (value - 32) * Fraction(5, 9),
    TemperatureUnit.KELVIN: lambda value: value - Fraction(27_315, 100),
}
# The IANA registry "SenML Units" has these two for temperature (RFC 8428, 12.1)
_SENML_UNITS = {"Cel": TemperatureUnit.CELSIUS, "K": TemperatureUnit.KELVIN}


@dataclass(frozen=True, slots=True)
class _Found:
    """A number in a payload, with its unit and its age if that is known."""

    value: Decimal
    unit: TemperatureUnit
    age_ms: int = 0


def parse(
    payload: bytes, wire: ProbeWire, now: Instant, *, retained: bool
) -> Reading | Refusal:
    """Make a reading of a message; whatever the bytes are, never raise.

    Args:
        payload: What came.
        wire: The probe and the format that was agreed for it.
        now: When it came.
        retained: The broker had kept it.

    Returns:
        A reading, uncertain if it is retained, late or from the future; or a
        refusal with what was found and what would be right.
    """
    try:
        found = _found(payload, wire, now)
        milli = _milli(found, wire)
    except ValueError as error:
        raw = strict_json.printable(payload)
        return Refusal(wire.probe, Millis(now.run_ms), str(error), raw)
    note = "; ".join(_doubts(found.age_ms, wire.stale_after_ms, retained=retained))
    return Reading(
        probe=wire.probe,
        at_ms=Millis(now.run_ms - max(found.age_ms, 0)),
        milli=milli,
        quality=Quality.UNCERTAIN if note else Quality.GOOD,
        note=note,
    )


def _found(payload: bytes, wire: ProbeWire, now: Instant) -> _Found:
    match wire.payload:
        case NumberPayload():
            return _Found(strict_json.bare_number(payload), wire.unit)
        case PointerPayload(pointer):
            document = strict_json.document(payload)
            return _Found(_pointed_at(document, pointer), wire.unit)
        case SenmlPayload(name):
            records = senml.resolve(strict_json.document(payload))
            return _from_senml(records, name, wire, now)


def _milli(found: _Found, wire: ProbeWire) -> int:
    """Return thousandths, rounded half to even; m°C for a thermometer."""
    value = Fraction(found.value)
    highest, given, unit = HIGHEST_OTHER, "", ""
    if wire.is_temperature:
        value, highest = _TO_CELSIUS[found.unit](value), HIGHEST_C
        given, unit = f" {found.unit.value}", " °C"
    if abs(value) > highest:
        raise ValueError(
            f"{found.value:.6g}{given}; at most {highest}{unit} up or down is possible"
        )
    return round(value * 1000)


def _doubts(age_ms: int, stale_after_ms: int, *, retained: bool) -> Iterable[str]:
    if retained:
        yield "retained by the broker"
    if age_ms > stale_after_ms:
        yield f"late: measured {age_ms // 1000} s before it came"
    if age_ms < -AHEAD_MS:
        yield f"from the future: {-age_ms // 1000} s ahead of our clock"


def _pointed_at(document: object, pointer: str) -> Decimal:
    value = json_pointer.resolve(document, pointer)
    if isinstance(value, Decimal):
        return value
    where = f"at {pointer}" if pointer else "as the whole document"
    raise ValueError(f"{strict_json.kind(value)} {where}; a number is expected")


def _from_senml(
    records: tuple[senml.SenmlRecord, ...],
    name: str | None,
    wire: ProbeWire,
    now: Instant,
) -> _Found:
    """Take the newest record that can be this probe's; of equals, the last."""
    named = _named(records, name)
    units = _listed({record.unit or "none" for record in named})
    fit = [record for record in named if _fits(record, wire)]
    if not fit:
        wanted = 'a number in "Cel" or "K"' if wire.is_temperature else "a number"
        raise ValueError(f"records with the units {units}; {wanted} is expected")
    if not wire.is_temperature and len({record.unit for record in fit}) > 1:
        raise ValueError(f"records with the units {units}; a single unit is expected")
    newest = min(reversed(fit), key=lambda record: _age_s(record, now))
    unit = _SENML_UNITS.get(newest.unit or "", wire.unit)
    return _Found(newest.value or Decimal(0), unit, _age_ms(newest, now))


def _named(
    records: tuple[senml.SenmlRecord, ...], name: str | None
) -> list[senml.SenmlRecord]:
    names = {record.name for record in records}
    if name is None and len(names) != 1:
        raise ValueError(
            f"{len(names)} names, {_listed(names)}; a single one is expected, or the "
            "name that counts in the probe's settings"
        )
    if name is not None and name not in names:
        raise ValueError(f"the names {_listed(names)}; {name!a} is expected")
    return [record for record in records if name in (None, record.name)]


def _fits(record: senml.SenmlRecord, wire: ProbeWire) -> bool:
    if record.value is None:
        return False
    return not wire.is_temperature or record.unit in _SENML_UNITS


def _age_s(record: senml.SenmlRecord, now: Instant) -> Fraction:
    """Return a record's age by our clock, right or wrong: for ordering [s]."""
    time_s = Fraction(record.time_s)
    return -time_s if record.is_relative else Fraction(now.utc_ms, 1000) - time_s


def _age_ms(record: senml.SenmlRecord, now: Instant) -> int:
    """Return a record's age where it can be known, else 0 [ms]."""
    if not record.is_relative and not now.clock_ok:
        return 0
    age_s = _age_s(record, now)
    if abs(age_s) > FURTHEST_S:
        raise ValueError(
            f"the time {record.time_s:.6g} s; at most {FURTHEST_S:.0e} s from now is "
            "possible"
        )
    return round(age_s * 1000)


def _listed(words: Iterable[str]) -> str:
    return ", ".join(strict_json.shown(word) for word in sorted(words)[:8]) or "none"
