"""SenML packs in JSON (RFC 8428): base fields applied, one record at a time.

What may live here: sections 4 and 5 of the RFC. It takes what a JSON parser
made of the text, with every number as a Decimal, and knows nothing of probes.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from controller.adapters import strict_json

VERSION = 10
"""The version of RFC 8428, and the default (section 4.1)."""

RELATIVE_BELOW_S = Decimal(2**28)
"""Times below are relative to now, from it on since 1970 (section 4.5.3)."""

_NAME = re.compile(r"[A-Za-z0-9][-A-Za-z0-9:./_]*")
_ZERO = Decimal(0)
_NUMBERS = ("bt", "bv", "bs", "bver", "v", "s", "t", "ut")
_STRINGS = ("bn", "bu", "n", "u", "vs", "vd")
_FLAGS = ("vb",)
_KNOWN = (*_NUMBERS, *_STRINGS, *_FLAGS)
_VALUES = ("v", "vs", "vb", "vd")


class SenmlError(ValueError):
    """The pack breaks RFC 8428; the message says which record and how."""


@dataclass(frozen=True, slots=True)
class SenmlRecord:
    """One record with all base fields applied.

    Attributes:
        name: Name of the sensor, base name included.
        unit: Unit such as "Cel"; None if neither record nor base has one.
        value: The value if it is a number.
        text: The value if it is a string ("vs"), or base64 data ("vd").
        flag: The value if it is true or false.
        sum: Integral of the value over time [unit times s], if there is one.
        time_s: When [s]: since 1970, or relative to now if below
            RELATIVE_BELOW_S; 0 means roughly now.
    """

    name: str
    unit: str | None
    value: Decimal | None
    text: str | None
    flag: bool | None
    sum: Decimal | None
    time_s: Decimal

    @property
    def is_relative(self) -> bool:
        """Whether time_s counts from now instead of from 1970."""
        return self.time_s < RELATIVE_BELOW_S


@dataclass(frozen=True, slots=True)
class _Base:
    name: str = ""
    time_s: Decimal = _ZERO
    unit: str | None = None
    value: Decimal = _ZERO
    sum: Decimal | None = None


def resolve(pack: object) -> tuple[SenmlRecord, ...]:
    """Return the records of a pack, resolved, in the order of the pack.

    Unlike resolved records of the RFC, times relative to now stay relative,
    since only the receiver knows when now is.

    Args:
        pack: What a JSON parser made of the text, numbers as Decimal.

    Raises:
        SenmlError: The pack is not one that RFC 8428 allows.
    """
    if not isinstance(pack, list):
        found = strict_json.kind(pack)
        raise SenmlError(f"{found}; a JSON array of records is expected")
    base = _Base()
    records: list[SenmlRecord] = []
    versions: set[Decimal] = set()
    for number, fields in enumerate(pack, start=1):
        checked = _checked(fields, number)
        base = _rebased(base, checked)
        if "bver" in checked:
            versions.add(_number(checked, "bver", _ZERO))
        if not _base_only(checked):
            records.append(_resolved(base, checked, number))
    _check_versions(versions)
    return tuple(records)


def _check_versions(versions: set[Decimal]) -> None:
    if len(versions) > 1:
        raise SenmlError("all records of a pack must have the same version (bver)")
    for version in versions:
        if not 0 < version <= VERSION or version % 1:
            raise SenmlError(
                f"version (bver) {version} must be a whole number, 1 to {VERSION}"
            )


def _checked(fields: object, number: int) -> Mapping[str, object]:
    """Return a record's fields once their types are right; others are ignored."""
    if not isinstance(fields, dict):
        raise SenmlError(f"record {number} must be a JSON object")
    for label, value in fields.items():
        if label in _KNOWN:
            _check_type(label, value, number)
        elif label.endswith("_"):
            raise SenmlError(
                f"record {number} has the field {strict_json.shown(label)}, which must "
                "be understood and is not"
            )
    return fields


def _check_type(label: str, value: object, number: int) -> None:
    for labels, kind, word in (
        (_NUMBERS, Decimal, "a number"),
        (_STRINGS, str, "a string"),
        (_FLAGS, bool, "true or false"),
    ):
        if label in labels and not isinstance(value, kind):
            raise SenmlError(f'"{label}" of record {number} must be {word}')


def _base_only(fields: Mapping[str, object]) -> bool:
    """Whether a record does nothing but set base fields (RFC 8428, 5.1.7)."""
    return not any(label in fields for label in ("n", "u", "t", "s", "ut", *_VALUES))


def _rebased(base: _Base, fields: Mapping[str, object]) -> _Base:
    return _Base(
        name=_string(fields, "bn", base.name) or "",
        time_s=_number(fields, "bt", base.time_s),
        unit=_string(fields, "bu", base.unit),
        value=_number(fields, "bv", base.value),
        sum=_number(fields, "bs", _ZERO) if "bs" in fields else base.sum,
    )


def _resolved(base: _Base, fields: Mapping[str, object], number: int) -> SenmlRecord:
    name = base.name + (_string(fields, "n", None) or "")
    if not _NAME.fullmatch(name):
        raise SenmlError(
            f"name {strict_json.shown(name)} of record {number} must begin with a "
            'letter or digit and have only letters, digits, "-", ":", ".", "/" and "_"'
        )
    _check_one_value(base, fields, number)
    flag = fields.get("vb")
    return SenmlRecord(
        name=name,
        unit=_string(fields, "u", base.unit),
        value=base.value + _number(fields, "v", _ZERO) if "v" in fields else None,
        text=_string(fields, "vs", _string(fields, "vd", None)),
        flag=flag if isinstance(flag, bool) else None,
        sum=_summed(base, fields),
        time_s=base.time_s + _number(fields, "t", _ZERO),
    )


def _check_one_value(base: _Base, fields: Mapping[str, object], number: int) -> None:
    values = [label for label in _VALUES if label in fields]
    if len(values) == 1 or (not values and ("s" in fields or base.sum is not None)):
        return
    found = " and ".join(f'"{label}"' for label in values) or "none"
    raise SenmlError(
        f'record {number} must have exactly one of "v", "vs", "vb", "vd"; '
        f"it has {found}"
    )


def _summed(base: _Base, fields: Mapping[str, object]) -> Decimal | None:
    if "s" not in fields and base.sum is None:
        return None
    return (base.sum or _ZERO) + _number(fields, "s", _ZERO)


def _number(fields: Mapping[str, object], label: str, default: Decimal) -> Decimal:
    value = fields.get(label, default)
    return value if isinstance(value, Decimal) else default


def _string(
    fields: Mapping[str, object], label: str, default: str | None
) -> str | None:
    value = fields.get(label, default)
    return value if isinstance(value, str) else default
