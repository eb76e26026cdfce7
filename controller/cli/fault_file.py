"""A file of faults for `bottomheat simulate --faults`: TOML made into faults.

Everything that is wrong is told at once, one line each. What may live here:
how faults are written. What they do is in sim.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from controller.adapters.settings import Finding, SettingsError
from controller.adapters.settings import quantities as q
from controller.adapters.settings.findings import shown, unknown
from controller.adapters.settings.source import read_file
from controller.core.plan import Plan
from sim.faults import Fault, problems
from sim.kinds import SHAPES, About, Kind, Shape, Unit

MOST = 2_000
"""Chosen: a season of waterings for twenty trays is less."""

_LATEST_MS = 400 * 86_400_000
_SPAN = re.compile(r"\s*(?:[0-9.]+\s*[a-z]+\s*)+")
_PART = re.compile(r"[0-9.]+\s*[a-z]+")
_LIGHT = re.compile(r"\s*([0-9]{1,5}(?:\.[0-9]{1,3})?)\s*W/m(?:²|2|\^2)\s*")
_SHARE = re.compile(r"\s*([0-9]{1,3}(?:\.[0-9]{1,3})?)\s*%\s*")
_PER_DAY = re.compile(r"(.+?)\s*/\s*(?:d|day)\s*")
_KINDS = {kind.value: kind for kind in Kind}


def load_faults(path: Path, plan: Plan) -> tuple[Fault, ...]:
    """Read a file of faults for a bench.

    Raises:
        SettingsError: Something in it is wrong.
    """
    data = read_file(path)
    findings = [
        Finding(f"[{key}]", None, "only [[fault]] tables; " + unknown(key, ["fault"]))
        for key in data
        if key != "fault"
    ]
    tables = data.get("fault", [])
    if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        findings.append(Finding("fault", shown(tables), "write [[fault]] before each"))
        tables = []
    if len(tables) > MOST:
        findings.append(Finding("[[fault]]", str(len(tables)), f"at most {MOST}"))
        tables = []
    faults = []
    for number, table in enumerate(tables, start=1):
        found: list[Finding] = []
        fault = _fault(f"fault {number}", table, plan, found)
        findings += found
        if fault is not None and not found:
            faults.append(fault)
    if findings:
        named = [Finding(f.where, f.found, f.allowed, str(path)) for f in findings]
        raise SettingsError(named)
    return tuple(faults)


def _fault(
    at: str, table: Mapping[str, object], plan: Plan, findings: list[Finding]
) -> Fault | None:
    word = table.get("kind")
    kind = _KINDS.get(word) if isinstance(word, str) else None
    if kind is None:
        findings.append(_kind_finding(at, word))
        return None
    at, shape = f"{at} ({kind.value})", SHAPES[kind]
    known = _keys(shape)
    for key in table.keys() - known:
        finding = Finding(f"{at}: {key}", shown(table[key]), unknown(key, known))
        findings.append(finding)
    fault = Fault(
        kind=kind,
        at_ms=_span(at, table, "at", findings) or 0,
        lasts_ms=_lasting(at, table, findings),
        subject=_word(at, table, shape.about.value, findings),
        other=_word(at, table, "with" if shape.other else "", findings),
        sizes=dict(_sizes(at, table, shape, findings)),
        flags=dict(_flags(at, table, shape, findings)),
    )
    if not findings:
        findings += _broken(at, plan, fault)
    return fault


def _kind_finding(at: str, word: object) -> Finding:
    if word is None:
        known = ", ".join(_KINDS)
        return Finding(f"{at}: kind", None, f"missing; known here: {known}")
    allowed = unknown(str(word), _KINDS).replace("no such key", "no such kind")
    return Finding(f"{at}: kind", shown(word), allowed)


def _keys(shape: Shape) -> set[str]:
    keys = {"kind", "at", *shape.sizes, *shape.flags}
    if shape.lasts:
        keys.add("lasts")
    if shape.other:
        keys.add("with")
    if shape.about is not About.BENCH:
        keys.add(shape.about.value)
    return keys


def _broken(at: str, plan: Plan, fault: Fault) -> Iterator[Finding]:
    for key, value, allowed in problems(plan, fault):
        yield Finding(f"{at}: {key}", value or None, allowed)
    if fault.at_ms > _LATEST_MS:
        yield Finding(f"{at}: at", None, "at most 400 days after the beginning")
    if fault.lasts_ms == 0:
        yield Finding(f"{at}: lasts", None, "longer than no time")


def _word(
    at: str, table: Mapping[str, object], key: str, findings: list[Finding]
) -> str:
    if not key:
        return ""
    value = table.get(key)
    if isinstance(value, str):
        return value
    found = None if value is None else shown(value)
    findings.append(Finding(f"{at}: {key}", found, "name one of the bench, in quotes"))
    return ""


def _lasting(
    at: str, table: Mapping[str, object], findings: list[Finding]
) -> int | None:
    return _span(at, table, "lasts", findings) if "lasts" in table else None


def _span(
    at: str, table: Mapping[str, object], key: str, findings: list[Finding]
) -> int | None:
    value = table.get(key)
    try:
        return _duration_ms(value)
    except ValueError as error:
        found = None if value is None else shown(value)
        findings.append(Finding(f"{at}: {key}", found, str(error)))
        return None


def _sizes(
    at: str, table: Mapping[str, object], shape: Shape, findings: list[Finding]
) -> Iterator[tuple[str, int]]:
    for key, size in shape.sizes.items():
        if key not in table:
            continue
        try:
            yield key, _MILLI[size.unit](table[key])
        except ValueError as error:
            findings.append(Finding(f"{at}: {key}", shown(table[key]), str(error)))


def _flags(
    at: str, table: Mapping[str, object], shape: Shape, findings: list[Finding]
) -> Iterator[tuple[str, bool]]:
    for key in shape.flags:
        value = table.get(key)
        if isinstance(value, bool):
            yield key, value
        elif value is not None:
            finding = Finding(f"{at}: {key}", shown(value), "write true or false")
            findings.append(finding)


def _per_day(value: object) -> int:
    said = _PER_DAY.fullmatch(value) if isinstance(value, str) else None
    if said is None:
        message = 'write a change per day with its unit, such as "0.5 K/day"'
        raise ValueError(message)
    return q.difference(said[1]).milli


def _plain(pattern: re.Pattern[str], value: object, ask: str) -> int:
    said = pattern.fullmatch(value) if isinstance(value, str) else None
    if said is None:
        raise ValueError(ask)
    return round(1000 * float(said[1]))


def _signed_ms(value: object) -> int:
    if isinstance(value, str) and value.lstrip()[:1] in {"-", "\N{MINUS SIGN}"}:
        return -_duration_ms(value.lstrip()[1:])
    return _duration_ms(value)


def _duration_ms(value: object) -> int:
    """Return a time span [ms], of one part or several: "2 d 3 h"."""
    if isinstance(value, str) and _SPAN.fullmatch(value):
        return sum(q.duration(part).milli for part in _PART.findall(value))
    return q.duration(value).milli


_LIGHT_ASK = 'write power per area, such as "300 W/m²"'
_SHARE_ASK = 'write a percentage, such as "30 %"'

_MILLI: Mapping[Unit, Callable[[object], int]] = {
    Unit.TEMPERATURE: lambda value: q.temperature(value).milli,
    Unit.DIFFERENCE: lambda value: q.difference(value).milli,
    Unit.WATER: lambda value: 1000 * q.length(value).milli,
    Unit.SPAN: _signed_ms,
    Unit.RATE: _per_day,
    Unit.LIGHT: lambda value: _plain(_LIGHT, value, _LIGHT_ASK),
    Unit.SHARE: lambda value: _plain(_SHARE, value, _SHARE_ASK) // 100,
}
"""How each unit is read: in thousandths, or ValueError with what is right."""
