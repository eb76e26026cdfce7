"""What is wrong with settings, in words: one line for each thing."""

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pydantic_core import ErrorDetails
from typing_extensions import override

_LONGEST_SHOWN = 60
_LONGEST_PLACE = 160

_KINDS = {
    "string_type": 'write text in quotes, such as "north"',
    "bool_type": "write true or false",
    "int_type": "write a whole number",
    "list_type": "write an array of tables",
    "model_type": "write a table of keys and values",
}
"""What to write, by pydantic's name for the error."""

MISSING = {
    "name": 'give it a name, such as "north"',
    "power": 'write its power at full heat, such as "100 W"',
    "area": 'write both sides of the heated area, such as "1.2 m x 0.53 m"',
    "setpoint": 'write the wanted temperature, such as "75 °F" or "24 °C"',
}
"""What to write where a key that must be there is not."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong.

    Attributes:
        where: The place, such as "mat north: setpoint".
        found: What stands there, as shown to people; None: nothing does.
        allowed: What would be right.
        source: The file, or "environment".
    """

    where: str
    found: str | None
    allowed: str
    source: str = ""

    @override
    def __str__(self) -> str:
        """Return the line that is printed."""
        place = self.where if self.found is None else f"{self.where} = {self.found}"
        parts = (self.source, short(place, _LONGEST_PLACE), self.allowed)
        return ": ".join(clean(part) for part in parts if part)


class SettingsError(ValueError):
    """Settings that cannot be used; its text has one line for each finding.

    Attributes:
        findings: All that is wrong, at least one.
    """

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__("\n".join(str(finding) for finding in findings))
        self.findings = tuple(findings)


def clean(text: str) -> str:
    """Return text with everything that a terminal would act on escaped."""
    return "".join(mark if mark.isprintable() else ascii(mark)[1:-1] for mark in text)


def short(text: str, longest: int) -> str:
    """Return text, cut where it is longer than some number of characters."""
    return text if len(text) <= longest else text[:longest] + "…"


def shown(value: object) -> str:
    """Return a value as it would stand in the file, shortened."""
    match value:
        case str():
            return f'"{short(value, _LONGEST_SHOWN)}"'
        case bool():
            return str(value).lower()
        case dict() | list():
            return "a table" if isinstance(value, dict) else "an array"
        case int() if abs(value) >= 10**_LONGEST_SHOWN:
            return "a huge number"
        case _:
            return str(value)


def finding_of(
    at: str, error: ErrorDetails, keys: Mapping[str, Iterable[str]]
) -> Finding:
    """Return a validation error in our words.

    Args:
        at: The table that it is in, such as "mat north" or "[bench]".
        error: Pydantic's account of it.
        keys: Known keys by name of the nested table; "" is the table itself.
    """
    loc = error["loc"]
    where, key = placed(at, loc), str(loc[-1]) if loc else ""
    match error["type"]:
        case "missing":
            return Finding(where, None, f"missing; {MISSING.get(key, 'it is needed')}")
        case "extra_forbidden":
            inside = next((str(part) for part in loc[:-1] if part in keys), "")
            return Finding(where, shown(error["input"]), unknown(key, keys[inside]))
        case "literal_error":
            allowed = f"write {error.get('ctx', {}).get('expected')}".replace("'", '"')
        case "value_error":
            allowed = str(error.get("ctx", {}).get("error"))
        case kind:
            allowed = _KINDS.get(kind, error["msg"])
    return Finding(where, shown(error["input"]), allowed)


def placed(at: str, loc: Sequence[int | str]) -> str:
    """Return the place of a key: "mat north: step 2: setpoint"."""
    text = ""
    for part in loc:
        if isinstance(part, int):
            text += f" {part + 1}:"
        else:
            text += f" {part}" if not text or text.endswith(":") else f".{part}"
    separator = "" if at.startswith("[") else ":"
    return f"{at}{separator}{text}".rstrip(":") if text else at


def unknown(key: str, known: Iterable[str]) -> str:
    """Return what to tell of a key that nobody reads."""
    names = sorted(known)
    near = difflib.get_close_matches(key, names, n=1)
    hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(names)}"
    return f"no such key; {hint}"
