"""From bodies to records and back: the same keys, but for times and temperatures.

What may live here: that renaming, and how faults of records become answers. Pure.
"""

from collections.abc import Callable, Mapping
from typing import TypeVar

from pydantic import BaseModel

from api.formats import utc_text
from api.problems import Fault as ProblemFault
from api.problems import ProblemError
from api.queries import instant_ms
from controller.record_wire import fields_of
from controller.records.changes import Value
from controller.records.faults import Fault, RecordError
from controller.wire import Json

_TIMES = {"at": "utc_ms", "stuck_at": "stuck_utc_ms"}
_TEMPS = {"base_c": "base_mc", "upper_c": "upper_mc"}
_INSIDE = _TIMES | _TEMPS
_OUTSIDE = {ours: theirs for theirs, ours in _INSIDE.items()}

_ALWAYS = ("utc_ms", "kind", "how", "looked_at", "stage", "unit", "test")
"""What every record that has it always has: null does not take it away."""

T = TypeVar("T", bound=Value)


def new_value(decode: Callable[[object], T], body: BaseModel, **also: object) -> T:
    """Return the record of a body.

    Args:
        decode: Makes the record of its fields.
        body: What was told.
        also: Fields that are not told, or only where they are missing: a utc_ms
            stands in for a time that was not told.
    """
    fields = _inside(_told(body))
    if fields.get("utc_ms", 0) is None:
        del fields["utc_ms"]
    return decode({**also, **fields})


def corrected(decode: Callable[[object], T], value: T, body: BaseModel) -> T:
    """Return a record with what a body tells in place of what was so.

    Null takes away what may be missing (RFC 7396); an object stands in place of
    the whole one before.

    Args:
        decode: Makes the record of its fields.
        value: As it was.
        body: What is to be corrected.
    """
    told = _inside(_told(body))
    told = {k: v for k, v in told.items() if v is not None or k not in _ALWAYS}
    return decode(fields_of(value) | told)


def as_body(value: Value) -> Json:
    """Return a record as a body has it."""
    found: Json = {}
    for key, field in fields_of(value).items():
        name = _OUTSIDE.get(key, key)
        if key == "batch":
            continue  # the address tells of which
        if name in _TIMES and isinstance(field, int):
            found[name] = utc_text(field)
        elif name in _TEMPS and isinstance(field, int):
            found[name] = field / 1000
        else:
            found[name] = field
    return found


def _told(body: BaseModel) -> Json:
    return body.model_dump(mode="json", exclude_unset=True)


def _inside(body: Mapping[str, object]) -> Json:
    found: Json = {}
    for key, value in body.items():
        name = _INSIDE.get(key, key)
        if key in _TIMES and value is not None:
            found[name] = instant_ms(str(value))
        elif key in _TEMPS and isinstance(value, int | float):
            found[name] = round(value * 1000)
        else:
            found[name] = value
    return found


# -------------------------------------------------------------------- what is wrong


def refused(error: RecordError) -> ProblemError:
    """Return the answer to a record that does not keep the rules."""
    return refused_at([("", error)])


def refused_at(errors: list[tuple[str, RecordError]]) -> ProblemError:
    """Return the answer to records that do not keep the rules.

    Args:
        errors: What is wrong, and where in the body that record stands, as a JSON
            Pointer.
    """
    faults = [_fault(one, under) for under, error in errors for one in error.faults]
    told = [f"{one.get('pointer')}: {one['detail']}" for one in faults[:3]]
    places = ", ".join(told)
    return ProblemError(422, f"the body is not right: {places}", faults=faults)


def _fault(found: Fault, under: str) -> ProblemFault:
    first, *rest = found.field.split(".")
    field = "/".join([_OUTSIDE.get(first, first), *rest])
    return ProblemFault(
        detail=found.right,
        pointer=f"#{under}/{field}",
        found=_shown(first, found.found),
    )


def _shown(field: str, found: str) -> str:
    is_time = _OUTSIDE.get(field, field) in _TIMES and found.isdecimal()
    return utc_text(int(found)) if is_time else found
