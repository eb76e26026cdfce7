"""Changes of records as JSON-able dicts, versioned, and back again, exactly.

As strict as `controller.wire`, whose codec it uses. What may live here: the
shape of records outside the program.
"""

from collections.abc import Callable, Mapping

from pydantic import TypeAdapter

from controller.records.batches import Batch
from controller.records.changes import Kind, Value
from controller.records.events import BenchEvent
from controller.records.looks import Look
from controller.records.places import Closing, Move
from controller.records.stages import Stage
from controller.records.trials import Trial
from controller.wire import CONFIG, Codec, Json

_EVENT: Codec[BenchEvent] = Codec(
    Kind.EVENT, lambda: TypeAdapter(Mapping[str, BenchEvent], config=CONFIG)
)
_BATCH: Codec[Batch] = Codec(
    Kind.BATCH, lambda: TypeAdapter(Mapping[str, Batch], config=CONFIG)
)
_LOOK: Codec[Look] = Codec(
    Kind.LOOK, lambda: TypeAdapter(Mapping[str, Look], config=CONFIG)
)
_MOVE: Codec[Move] = Codec(
    Kind.MOVE, lambda: TypeAdapter(Mapping[str, Move], config=CONFIG)
)
_CLOSING: Codec[Closing] = Codec(
    Kind.CLOSING, lambda: TypeAdapter(Mapping[str, Closing], config=CONFIG)
)
_STAGE: Codec[Stage] = Codec(
    Kind.STAGE, lambda: TypeAdapter(Mapping[str, Stage], config=CONFIG)
)
_TRIAL: Codec[Trial] = Codec(
    Kind.TRIAL, lambda: TypeAdapter(Mapping[str, Trial], config=CONFIG)
)

_DECODE: Mapping[Kind, Callable[[object], Value]] = {
    Kind.EVENT: _EVENT.decode,
    Kind.BATCH: _BATCH.decode,
    Kind.LOOK: _LOOK.decode,
    Kind.MOVE: _MOVE.decode,
    Kind.CLOSING: _CLOSING.decode,
    Kind.STAGE: _STAGE.decode,
    Kind.TRIAL: _TRIAL.decode,
}


def encode_value(value: Value) -> Json:
    """Return a record as a versioned JSON-able dict, under the name of its kind."""
    if isinstance(value, BenchEvent):
        return _EVENT.encode(value)
    if isinstance(value, Batch):
        return _BATCH.encode(value)
    if isinstance(value, Look):
        return _LOOK.encode(value)
    return _encoded_later(value)


def _encoded_later(value: Move | Closing | Stage | Trial) -> Json:
    if isinstance(value, Move):
        return _MOVE.encode(value)
    if isinstance(value, Closing):
        return _CLOSING.encode(value)
    return _STAGE.encode(value) if isinstance(value, Stage) else _TRIAL.encode(value)


def fields_of(value: Value) -> Json:
    """Return a record alone, as a JSON-able dict."""
    (fields,) = (part for part in encode_value(value).values() if type(part) is dict)
    return fields


def decode_value(kind: str, record: object) -> Value:
    """Return the record of a versioned dict; raise WireError where it is damaged."""
    return _DECODE[Kind(kind)](record)


def event_of(fields: object) -> BenchEvent:
    """Return the event of a dict alone; raise WireError where it is none."""
    return _EVENT.decode_bare(fields)


def batch_of(fields: object) -> Batch:
    """Return the batch of a dict alone; raise WireError where it is none."""
    return _BATCH.decode_bare(fields)


def look_of(fields: object) -> Look:
    """Return the look of a dict alone; raise WireError where it is none."""
    return _LOOK.decode_bare(fields)


def move_of(fields: object) -> Move:
    """Return the move of a dict alone; raise WireError where it is none."""
    return _MOVE.decode_bare(fields)


def closing_of(fields: object) -> Closing:
    """Return the closing of a dict alone; raise WireError where it is none."""
    return _CLOSING.decode_bare(fields)


def stage_of(fields: object) -> Stage:
    """Return the stage of a dict alone; raise WireError where it is none."""
    return _STAGE.decode_bare(fields)


def trial_of(fields: object) -> Trial:
    """Return the trial of a dict alone; raise WireError where it is none."""
    return _TRIAL.decode_bare(fields)
