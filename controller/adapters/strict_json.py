"""Text, numbers and JSON of messages, read strictly.

A sender's slip must become a sentence, never a guess and never a crash. What
may live here: bytes to text, text to exact number, text to JSON document, and
how to show a stranger's bytes. No meaning of any of them.
"""

import json
import re
from collections import Counter
from decimal import Decimal, InvalidOperation
from typing import NoReturn

LONGEST_BYTES = 4096
LONGEST_NUMBER = 64
"""Chosen: a double needs at most 24 characters."""

SPACES = " \t\r\n"
"""What JSON calls whitespace (RFC 8259, section 2); Python's idea is wider."""

RAW_BYTES = 80
_SHOWN = 40

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DOUBLE_EXPONENT = 308  # largest decimal exponent of an IEEE 754 double


def printable(payload: bytes) -> str:
    """Return the start of a payload as printable ASCII, all else as escapes."""
    return payload[:RAW_BYTES].decode("latin-1").encode("unicode_escape").decode()


def shown(word: str) -> str:
    """Return a stranger's text quoted, escaped and short."""
    return ascii(word if len(word) <= _SHOWN else word[:_SHOWN] + "...")


def text(payload: bytes) -> str:
    """Decode a message's bytes.

    Raises:
        ValueError: It is too long, or not UTF-8.
    """
    if len(payload) > LONGEST_BYTES:
        raise ValueError(
            f"{len(payload)} bytes; at most {LONGEST_BYTES} bytes are looked at"
        )
    try:
        return payload.decode()
    except UnicodeDecodeError as error:
        raise ValueError(
            f"byte 0x{payload[error.start]:02x} at {error.start} is not UTF-8; "
            "UTF-8 text is expected"
        ) from None


def bare_number(payload: bytes) -> Decimal:
    """Read a payload that is one decimal number, with spaces around it or not.

    Raises:
        ValueError: It is anything else.
    """
    word = text(payload).strip(SPACES)
    if not word:
        raise ValueError("empty; a decimal number such as 21.5 is expected")
    if not _NUMBER.fullmatch(word):
        raise ValueError(
            f"{shown(word)}; a decimal number such as 21.5, alone, is expected"
        )
    return decimal(word)


def decimal(number: str) -> Decimal:
    """Return an exact number; 0 for what a double could not tell from 0.

    Raises:
        ValueError: It is too long, or no double can hold it.
    """
    if len(number) > LONGEST_NUMBER:
        raise ValueError(
            f"a number of {len(number)} characters; at most {LONGEST_NUMBER} are read"
        )
    try:
        value = Decimal(number)
    except InvalidOperation:  # its exponent is beyond even Decimal's limits
        raise ValueError(f"the exponent of {shown(number)} is out of range") from None
    if not value or value.adjusted() < -_DOUBLE_EXPONENT:
        return Decimal(0)
    if value.adjusted() > _DOUBLE_EXPONENT:
        raise ValueError(f"{shown(number)} is more than a double can hold")
    return value


def document(payload: bytes) -> object:
    """Decode JSON (RFC 8259) strictly: each number becomes a Decimal.

    Raises:
        ValueError: It is too long, not UTF-8, not JSON, nested too deeply, has
            a key twice or a number that no double can hold.
    """
    try:
        found: object = json.loads(
            text(payload),
            parse_int=decimal,
            parse_float=decimal,
            parse_constant=_no_constant,
            object_pairs_hook=_each_key_once,
        )
    except json.JSONDecodeError as error:
        raise ValueError(
            f"{error.msg} at character {error.pos}; a JSON document is expected"
        ) from None
    except RecursionError:
        raise ValueError(
            "nested too deeply; a flat JSON document is expected"
        ) from None
    return found


def kind(value: object) -> str:
    """Return what a JSON value is, in words, with a short one itself."""
    match value:
        case bool() | None:
            return {True: "true", False: "false", None: "null"}[value]
        case str():
            return f"the string {shown(value)}"
        case dict():
            return "an object"
        case list():
            return "an array"
        case _:
            return f"the number {value}"


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word}; a finite number is expected")


def _each_key_once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    # RFC 8259, section 4: with a name twice "behavior ... is unpredictable"
    fields = dict(pairs)
    if len(fields) < len(pairs):
        (twice, _), *_ = Counter(key for key, _ in pairs).most_common(1)
        raise ValueError(f"the key {shown(twice)} twice; each key once is expected")
    return fields
