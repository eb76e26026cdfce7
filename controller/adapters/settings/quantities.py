"""Text with a unit becomes whole milli units, exactly, or is refused.

Arithmetic is done in fractions and rounded once, half to even. The writer's
number and unit are kept: 75 °F stays 75 °F wherever it is shown.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

_NUMBER = r"[+-]?[0-9]{1,9}(?:\.[0-9]{1,9})?"
_WITH_UNIT = re.compile(rf"\s*({_NUMBER})\s*(\S.*?)?\s*", re.DOTALL)
_SIDES = re.compile(r"(.+?\S)\s*[x×]\s*(\S.+)", re.DOTALL)  # noqa: RUF001
_LONGEST_TEXT = 60


@dataclass(frozen=True, slots=True)
class Said:
    """A quantity as it was written and as it is used.

    Attributes:
        text: The writer's number with the usual sign of the writer's unit.
        milli: Thousandths of °C, K, s or W; whole millimetres of a length.
    """

    text: str
    milli: int


@dataclass(frozen=True, slots=True)
class SaidArea:
    """The two sides of an area as they were written and as they are used.

    Attributes:
        text: What was written.
        length_mm: The longer side [mm].
        width_mm: The shorter side [mm].
        written_mm: Both, in the order in which they were written [mm].
    """

    text: str
    length_mm: int
    width_mm: int
    written_mm: tuple[int, int]


@dataclass(frozen=True, slots=True)
class SaidPair:
    """Two lengths on the table, left to right and near to far [mm]."""

    text: str
    one_mm: int
    other_mm: int


@dataclass(frozen=True, slots=True)
class _Unit:
    """How a number in this unit becomes milli units: (number + shift) * factor."""

    sign: str
    factor: Fraction
    shift: int = 0


@dataclass(frozen=True, slots=True)
class _Kind:
    """One kind of quantity: its units, and what to tell who writes another."""

    ask: str
    why_unit: str
    units: Mapping[str, _Unit]
    signed: bool = False


def _units(*groups: tuple[str, _Unit]) -> dict[str, _Unit]:
    """Return units by each of the spellings that stand before them."""
    return {spelling: unit for names, unit in groups for spelling in names.split()}


_FIVE_NINTHS = Fraction(5000, 9)
_IN_C = "°C C degC ℃"
_IN_F = "°F F degF ℉"
_A_KELVIN, _A_FAHRENHEIT = _Unit("K", Fraction(1000)), _Unit("°F", _FIVE_NINTHS)
_A_CELSIUS = _Unit("°C", Fraction(1000))

_TEMPERATURE = _Kind(
    'write a temperature with its unit, such as "75 °F" or "24 °C"',
    "a bare number could cook cuttings",
    _units((_IN_C, _A_CELSIUS), (_IN_F, _Unit("°F", _FIVE_NINTHS, shift=-32))),
    signed=True,
)
_DIFFERENCE = _Kind(
    'write a temperature difference with its unit, such as "0.25 K" or "1 °F"',
    "a bare number could be kelvin or degrees Fahrenheit",
    _units(("K", _A_KELVIN), (_IN_C, _A_CELSIUS), (_IN_F, _A_FAHRENHEIT)),
    signed=True,
)
_RATE = _Kind(
    'write a change per hour with its unit, such as "3 K/h" or "5 °F/h"',
    "a bare number could be kelvin or degrees Fahrenheit",
    {
        f"{spelling}/h": _Unit(f"{unit.sign}/h", unit.factor)
        for spelling, unit in _DIFFERENCE.units.items()
    },
    signed=True,
)
_DURATION = _Kind(
    'write a time span with its unit, such as "30 s", "10 min" or "2 h"',
    "a bare number could be seconds or minutes",
    _units(
        ("ms", _Unit("ms", Fraction(1))),
        ("s", _Unit("s", Fraction(1_000))),
        ("min", _Unit("min", Fraction(60_000))),
        ("h", _Unit("h", Fraction(3_600_000))),
        ("d day days", _Unit("days", Fraction(86_400_000))),
    ),
)
_POWER = _Kind(
    'write a power with its unit, such as "100 W"',
    "a bare number could be watts or kilowatts",
    _units(("W", _Unit("W", Fraction(1_000))), ("kW", _Unit("kW", Fraction(10**6)))),
)
_LENGTH = _Kind(
    'write a length with its unit, such as "60 mm" or "6 cm"',
    "a bare number could be millimetres or inches",
    _units(
        ("mm", _Unit("mm", Fraction(1))),
        ("cm", _Unit("cm", Fraction(10))),
        ("m", _Unit("m", Fraction(1_000))),
        ("in", _Unit("in", Fraction(254, 10))),
    ),
)
_CORNER_ASK = (
    "write two lengths, from the left and from the near edge of the table,"
    ' such as ["0 cm", "5 cm"]'
)
_SIZE_ASK = (
    'write two lengths, left to right and near to far, such as ["40 cm", "30 cm"]'
)
_AREA_ASK = 'write both sides with their units, such as "1.2 m x 0.53 m"'


def temperature(value: object) -> Said:
    """Return a temperature [m°C]; raise ValueError with what would be right."""
    return _said(_TEMPERATURE, value)


def difference(value: object) -> Said:
    """Return a difference [mK]; raise ValueError with what would be right."""
    return _said(_DIFFERENCE, value)


def rate(value: object) -> Said:
    """Return a change per hour [mK/h]; raise ValueError if it is none."""
    return _said(_RATE, value)


def duration(value: object) -> Said:
    """Return a time span [ms]; raise ValueError with what would be right."""
    return _said(_DURATION, value)


def power(value: object) -> Said:
    """Return a power [mW]; raise ValueError with what would be right."""
    return _said(_POWER, value)


def length(value: object) -> Said:
    """Return a length [mm]; raise ValueError with what would be right."""
    return _said(_LENGTH, value)


def area(value: object) -> SaidArea:
    """Return the two sides, longer first [mm]; raise ValueError if not two."""
    if _is_number(value):
        message = f"{_AREA_ASK}; {_LENGTH.why_unit}"
        raise ValueError(message)
    sides = _SIDES.fullmatch(_plain(value))
    if sides is None:
        raise ValueError(_AREA_ASK)
    try:
        one, other = length(sides[1]), length(sides[2])
    except ValueError as error:
        raise ValueError(_AREA_ASK) from error
    longer, shorter = max(one.milli, other.milli), min(one.milli, other.milli)
    written = (one.milli, other.milli)
    return SaidArea(f"{one.text} x {other.text}", longer, shorter, written)


def corner(value: object) -> SaidPair:
    """Return a place on the table [mm]; raise ValueError with what would be right."""
    return _pair(_CORNER_ASK, value)


def size(value: object) -> SaidPair:
    """Return a size on the table [mm]; raise ValueError with what would be right."""
    return _pair(_SIZE_ASK, value)


def _pair(ask: str, value: object) -> SaidPair:
    if not isinstance(value, list) or len(value) != 2:  # noqa: PLR2004 (a pair)
        raise ValueError(ask)
    try:
        one, other = length(value[0]), length(value[1])
    except ValueError as error:
        # Of what is wrong with one of them, only the end: the ask is for both.
        why = str(error).removeprefix(_LENGTH.ask)
        raise ValueError(ask + why) from error
    return SaidPair(f"{one.text}, {other.text}", one.milli, other.milli)


def _said(kind: _Kind, value: object) -> Said:
    match = _WITH_UNIT.fullmatch(_plain(value))
    if _is_number(value) or (match and match[2] is None):
        message = f"{kind.ask}; {kind.why_unit}"
        raise ValueError(message)
    unit = kind.units.get(" ".join(match[2].split())) if match else None
    if match is None or unit is None:
        raise ValueError(kind.ask)
    number = Fraction(match[1])
    if number < 0 and not kind.signed:
        message = f"{kind.ask}; it cannot be negative"
        raise ValueError(message)
    milli = round((number + unit.shift) * unit.factor)
    return Said(f"{match[1].removeprefix('+')} {unit.sign}", milli)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _plain(value: object) -> str:
    """Return text with a plain minus; no text, or too much, is an empty one."""
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
        return ""
    return value.replace("\N{MINUS SIGN}", "-")
