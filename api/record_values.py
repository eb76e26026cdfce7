"""From bodies to records and back: the same keys, but for times and temperatures.

What may live here: that renaming, and how faults of records become answers. Pure.
"""

from collections.abc import Mapping

from pydantic import BaseModel

from api.formats import utc_text
from api.problems import Fault as ProblemFault
from api.problems import ProblemError
from api.queries import instant_ms
from controller.record_wire import event_fields, event_of
from controller.records.events import BenchEvent
from controller.records.faults import Fault, RecordError
from controller.wire import Json

_TIMES = {"at": "utc_ms"}
_TEMPS: Mapping[str, str] = {}
_OUTSIDE = {ours: theirs for theirs, ours in (_TIMES | dict(_TEMPS)).items()}


def inside(body: Mapping[str, object]) -> Json:
    """Return a body's keys and values as records have them."""
    found: Json = {}
    for key, value in body.items():
        if value is None:
            found[_TIMES.get(key) or _TEMPS.get(key) or key] = None
        elif key in _TIMES:
            found[_TIMES[key]] = instant_ms(str(value))
        elif key in _TEMPS and isinstance(value, int | float):
            found[_TEMPS[key]] = round(value * 1000)
        else:
            found[key] = value
    return found


def outside(fields: object) -> Json:
    """Return a record's keys and values as bodies have them."""
    found: Json = {}
    for key, value in (fields if isinstance(fields, dict) else {}).items():
        name = _OUTSIDE.get(str(key), str(key))
        if name in _TIMES and isinstance(value, int):
            found[name] = utc_text(value)
        elif name in _TEMPS and isinstance(value, int):
            found[name] = value / 1000
        else:
            found[name] = value
    return found


def told(body: BaseModel) -> Json:
    """Return what a client told, and nothing that it left out."""
    return body.model_dump(mode="json", exclude_unset=True)


def new_event(body: BaseModel, now_utc_ms: int) -> BenchEvent:
    """Return the event of a body; without a time, of now."""
    fields = inside(told(body))
    if fields.get("utc_ms") is None:
        fields["utc_ms"] = now_utc_ms
    return event_of(fields)


def corrected_event(event: BenchEvent, body: BaseModel) -> BenchEvent:
    """Return an event with what a body tells in place of what was so.

    Null takes away what may be missing (RFC 7396); a time and a kind stay.
    """
    fields = event_fields(event)
    before = dict(fields) if isinstance(fields, dict) else {}
    changed = inside(told(body))
    for always in ("utc_ms", "kind"):
        if changed.get(always, "") is None:
            del changed[always]
    return event_of(before | changed)


def event_outside(event: BenchEvent) -> Json:
    """Return an event as a body has it."""
    return outside(event_fields(event))


# -------------------------------------------------------------------- what is wrong


def refused(error: RecordError, under: str = "") -> ProblemError:
    """Return the answer to a record that does not keep the rules.

    Args:
        error: What is wrong.
        under: Where in the body the record stands, as a JSON Pointer.
    """
    faults = [_fault(one, under) for one in error.faults]
    places = ", ".join(f"{one['pointer']}: {one['detail']}" for one in faults[:3])
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
