"""What a client may tell of batches: strict, with units in the keys.

What may live here: shapes and their words. The rules are in controller.records.
"""

from datetime import date
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api.queries import Instant3339
from api.record_bodies import Body, Photo, Text, Threshold, Words
from controller.records.batches import BatchKind, Carrier, Cover, WrapMaterial
from controller.records.looks import How
from controller.records.places import Outcome

MOST_BATCHES = 200
"""Chosen: in one import; a body of this size holds no more."""

MOST_LOOKS = 500
"""Chosen: in one import; more are split."""

MOST_LISTED = 500
"""Chosen: half a megabyte."""

_BY_MISTAKE = "told by mistake: counts no longer, and stays to be seen"
_Day = Annotated[date | None, Field(strict=False)]
_Flag = Annotated[bool, Field(description=_BY_MISTAKE)]


class WoundsBody(Body):
    """Bark cut away at the base."""

    sides: int
    length_mm: float | None = None


class HormoneBody(Body):
    """What the bases were treated with; seconds for dips only."""

    active: Words
    ppm: float | None = None
    carrier: Annotated[Carrier, Field(strict=False)]
    seconds: float | None = None


class WrapBody(Body):
    """What is around each cutting: how far down from the tip, and until when."""

    material: Annotated[WrapMaterial, Field(strict=False)]
    down_mm: float | None = None
    off: _Day = None


class _AboutBatch(Body):
    cultivar: Words = ""
    source: Words = Field("", description="where it came from")
    mother: Words = Field("", description="the plant that it was taken from")
    collected: _Day = Field(None, description="a day, such as 2026-12-03")
    storage: Words = Field("", description="how it was kept until it was stuck")
    count: int | None = Field(None, description="stuck, sentinels not counted")
    wanted: int | None = Field(None, description="plants wanted of it in the end")
    sentinels: int = Field(0, description="spare ones for lifting")
    nodes: int | None = None
    length_mm: float | None = None
    thickness_mm: float | None = None
    nodes_below: int | None = Field(None, description="nodes below the surface")
    base_depth_mm: float | None = None
    basal_cut: Words = ""
    wounds: WoundsBody | None = None
    hormone: HormoneBody | None = None
    disinfection: Words = Field("", description='"none" is an answer')
    wrap: WrapBody | None = None
    cover: Annotated[Cover | None, Field(strict=False)] = None
    medium: Words = Field("", description="recipe")
    container: Words = ""
    tray: Words = Field("", description="a tray of the bench; empty: none")
    place: Words = ""
    stuck_at: Instant3339 | None = Field(None, description="RFC 3339; null: not yet")
    base_c: Threshold | None = Field(None, description="null: the tray's")
    upper_c: Threshold | None = Field(None, description="horizontal cut-off")
    text: Text = ""
    withdrawn: _Flag = False


class BatchBody(_AboutBatch):
    """Cuttings or seed of one cultivar, stuck on one day and treated alike."""

    crop: Words
    kind: Annotated[BatchKind, Field(strict=False)]


class NewBatchBody(BatchBody):
    """A batch, with the code that its label has already, if it has one."""

    code: Words = Field("", description="a label that it has; empty: the next free")


class BatchFields(_AboutBatch):
    """What is to be corrected of a batch; the rest stays as it was."""

    crop: Words = ""
    kind: Annotated[BatchKind | None, Field(strict=False)] = None


class BatchesBody(Body):
    """Batches that come all at once or not at all."""

    batches: Annotated[list[NewBatchBody], Field(min_length=1, max_length=MOST_BATCHES)]


class BaseBody(Body):
    """The bases of those looked at."""

    none: int = 0
    callus: int = 0
    roots: int = 0


class TopsBody(Body):
    """The tops of those looked at."""

    dormant: int = 0
    swelling: int = 0
    leafed: int = 0
    wilted: int = 0


class TugBody(Body):
    """A gentle tug."""

    held: int = 0
    gave: int = 0


class DeadBody(Body):
    """Those found dead since the look before, by cause."""

    rotted_base: int = 0
    shrivelled: int = 0
    mould: int = 0
    missing: int = 0


class SentinelsBody(Body):
    """Spare cuttings outside of the count."""

    lifted: int = 0
    rooted: int = 0


class _When(Body):
    at: Instant3339 | None = Field(None, description="when; default: now")


class _Seen(Body):
    base: BaseBody | None = Field(None, description="null: not looked")
    tops: TopsBody | None = Field(None, description="null: not looked")
    tug: TugBody | None = Field(None, description="null: not tugged")
    dead: DeadBody = Field(DeadBody(), description="found since the look before")
    sentinels: SentinelsBody | None = None
    fine: bool = Field(
        False,  # noqa: FBT003
        description="tops looked through at a glance: nothing wrong, none counted",
    )
    who: Words = ""
    text: Text = ""
    photo: Photo = ""
    withdrawn: _Flag = False


class _AboutLook(_Seen, _When):
    pass


class LookBody(_AboutLook):
    """What was seen of a batch: evidence, never a census."""

    how: Annotated[How, Field(strict=False)]
    looked_at: int = Field(description="at how many of the count")


class LookFields(_AboutLook):
    """What is to be corrected of a look."""

    how: Annotated[How | None, Field(strict=False)] = None
    looked_at: int | None = None


class ToldLookBody(_Seen):
    """A look of a table: of which batch, and when, which must be said."""

    batch: Words = Field(description="its label code")
    at: Instant3339 = Field(description="when")
    how: Annotated[How, Field(strict=False)]
    looked_at: int = Field(description="at how many of the count")


class LooksBody(Body):
    """Looks that come all at once or not at all."""

    looks: Annotated[list[ToldLookBody], Field(min_length=1, max_length=MOST_LOOKS)]


class _AboutMove(Body):
    at: Instant3339 | None = Field(None, description="when; default: now")
    place: Words = Field("", description="where in the tray, or where else")
    who: Words = ""
    text: Text = ""
    withdrawn: _Flag = False


class MoveBody(_AboutMove):
    """A batch went somewhere else."""

    tray: Words = Field(description="empty: off the bench and off the heat")


class MoveFields(_AboutMove):
    """What is to be corrected of a move."""

    tray: Words = ""


class CloseBody(Body):
    """A batch is at its end; told again, the end is put right."""

    at: Instant3339 | None = Field(None, description="when; default: now")
    outcome: Annotated[Outcome, Field(strict=False)]
    rooted: int | None = Field(None, description="how many of the count")
    who: Words = ""
    text: Text = ""
    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="told by mistake: the batch is open again",
    )


class BatchesQuery(BaseModel):
    """Which batches."""

    model_config = ConfigDict(extra="forbid")

    tray: str | None = Field(None, description="that stand in this tray now")
    crop: str | None = None
    limit: int = Field(
        MOST_LISTED, ge=1, le=MOST_LISTED, description="at most so many, the newest"
    )
    open: bool = Field(
        False,  # noqa: FBT003
        description="only those that are not closed",
    )
    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="also those that were told by mistake",
    )
