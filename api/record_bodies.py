"""What a client may tell of what people saw and did: strict, with units in the keys.

A body has a default for everything but what is asked for; the same shape without
that is what a correction may hold, where a key that is not there stays as it was.
What may live here: shapes and their words. The rules are in controller.records.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api.queries import Instant3339
from controller.records.events import EventKind
from controller.records.faults import LONGEST_TEXT, LONGEST_WORDS

MOST_NAMES = 50
MOST_EVENTS = 1_000


class Body(BaseModel):
    """A body with nothing in it that is not known."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


Words = Annotated[str, Field(max_length=LONGEST_WORDS)]
Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
Threshold = Annotated[float, Field(ge=-10, le=70)]
"""A base or upper of thermal time [°C], within what controller.records takes."""

Photo = Annotated[
    Words,
    Field(description="as POST /v1/photos gives it, or of a file that lies elsewhere"),
]
Names = Annotated[list[str], Field(max_length=MOST_NAMES)]


class _AboutEvent(Body):
    at: Instant3339 | None = Field(None, description="when; default: now")
    who: Words = Field("", description="who did it")
    trays: Names = Field([], description="which trays")
    mats: Names = Field([], description="which mats, with all that stands on them")
    probes: Names = Field([], description="which probes")
    water_ml: float | None = Field(None, description="to all of them together [ml]")
    weight_before_g: float | None = None
    weight_after_g: float | None = None
    photo: Photo = ""
    text: Text = ""
    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="told by mistake: counts no longer, and stays to be seen",
    )


class EventBody(_AboutEvent):
    """What was done at the bench."""

    kind: Annotated[EventKind, Field(strict=False)]


class EventFields(_AboutEvent):
    """What is to be corrected of an event; the rest stays as it was."""

    kind: Annotated[EventKind | None, Field(strict=False)] = None


class EventsQuery(BaseModel):
    """Which events."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    tray: str | None = Field(None, description="that name this tray, or its mat")
    kind: EventKind | None = None
    from_: Instant3339 | None = Field(None, alias="from", description="RFC 3339")
    to: Instant3339 | None = Field(None, description="RFC 3339; not part of it")
    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="also those that were told by mistake",
    )
    limit: int = Field(
        MOST_EVENTS, ge=1, le=MOST_EVENTS, description="at most so many, the newest"
    )
