"""Changes of records as JSON-able dicts, versioned, and back again, exactly.

As strict as `controller.wire`, whose codec it uses. What may live here: the
shape of records outside the program.
"""

from collections.abc import Callable, Mapping

from pydantic import TypeAdapter

from controller.records.changes import Kind, Value, kind_of
from controller.records.events import BenchEvent
from controller.wire import CONFIG, Codec, Json

_EVENT: Codec[BenchEvent] = Codec(
    Kind.EVENT, lambda: TypeAdapter(Mapping[str, BenchEvent], config=CONFIG)
)

_DECODE: Mapping[Kind, Callable[[object], Value]] = {Kind.EVENT: _EVENT.decode}


def encode_value(value: Value) -> Json:
    """Return a record as a versioned JSON-able dict, under the name of its kind."""
    return _EVENT.encode(value)


def decode_value(kind: str, record: object) -> Value:
    """Return the record of a dict; raise WireError where it is damaged."""
    return _DECODE[Kind(kind)](record)


def event_fields(event: BenchEvent) -> object:
    """Return an event alone, as a JSON-able dict."""
    return _EVENT.encode_bare(event)


def event_of(fields: object) -> BenchEvent:
    """Return the event of such a dict; raise WireError where it is none."""
    return _EVENT.decode_bare(fields)


__all__ = [
    "decode_value",
    "encode_value",
    "event_fields",
    "event_of",
    "kind_of",
]
