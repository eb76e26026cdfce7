"""Changes: what is written of records, one after the other, and never altered.

A change holds a whole record as it is from then on, so that what was so before
stays to be seen. What may live here: the shape of a change.
"""

from dataclasses import dataclass
from enum import StrEnum

from controller.records.batches import Batch
from controller.records.events import BenchEvent
from controller.records.looks import Look
from controller.records.places import Closing, Move
from controller.records.stages import Stage
from controller.records.trials import Trial

Value = BenchEvent | Batch | Look | Move | Closing | Stage | Trial
"""A record as it is after a change."""


class Kind(StrEnum):
    """What a change is about."""

    EVENT = "event"
    BATCH = "batch"
    LOOK = "look"
    MOVE = "move"
    CLOSING = "closing"
    STAGE = "stage"
    TRIAL = "trial"


@dataclass(frozen=True, slots=True)
class Change:
    """One change.

    Attributes:
        id: Its number: 1, 2, 3 and so on, without holes.
        utc_ms: When it was written [ms since 1970-01-01T00:00:00Z].
        who: Who wrote it, or by what way it came.
        subject: Which record: the number of its first change, as text; of a batch
            and its closing the batch's code.
        value: The record from now on.
    """

    id: int
    utc_ms: int
    who: str
    subject: str
    value: Value

    @property
    def kind(self) -> Kind:
        """What it is about."""
        return kind_of(self.value)


_KINDS: dict[type[Value], Kind] = {
    BenchEvent: Kind.EVENT,
    Batch: Kind.BATCH,
    Look: Kind.LOOK,
    Move: Kind.MOVE,
    Closing: Kind.CLOSING,
    Stage: Kind.STAGE,
    Trial: Kind.TRIAL,
}


def kind_of(value: Value) -> Kind:
    """Return what kind of record a value is."""
    return _KINDS[type(value)]
