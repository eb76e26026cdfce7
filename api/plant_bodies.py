"""What a client may tell of plants after they rooted, and of whole containers.

What may live here: shapes and their words. The rules are in controller.records.
"""

from typing import Annotated

from pydantic import Field

from api.batch_bodies import MOST_LISTED, LookBody
from api.queries import Instant3339
from api.record_bodies import Body, Text, Words
from controller.records.stages import StageKind

_BY_MISTAKE = "told by mistake: counts no longer, and stays to be seen"


class _AboutStage(Body):
    at: Instant3339 | None = Field(None, description="when; default: now")
    root_score: int | None = Field(None, description="0 to 4, when potted")
    reason: Words = Field("", description="why they died; to whom or where they went")
    who: Words = ""
    text: Text = ""
    withdrawn: Annotated[bool, Field(description=_BY_MISTAKE)] = False


class StageBody(_AboutStage):
    """Some plants of a batch came so far."""

    stage: Annotated[StageKind, Field(strict=False)]
    count: int = Field(description="how many plants")


class StageFields(_AboutStage):
    """What is to be corrected of a stage; the rest stays as it was."""

    stage: Annotated[StageKind | None, Field(strict=False)] = None
    count: int = 0


class OneOfRoundBody(LookBody):
    """What was not fine in a container: a look at one of its batches."""

    batch: Words = Field(description="its label code")


_Others = Annotated[list[OneOfRoundBody], Field(max_length=MOST_LISTED)]


class RoundBody(Body):
    """A container looked through: its tops are fine, but for these."""

    at: Instant3339 | None = Field(None, description="when; default: now")
    others: _Others = Field([], description="what was not fine")
    who: Words = ""
    text: Text = ""
