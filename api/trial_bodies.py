"""What a client may tell of trials: strict, with units in the keys.

What may live here: shapes and their words. The rules are in controller.records.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api.record_bodies import Body, Text, Threshold, Words
from controller.records.trials import MOST_UNITS, EndPoint, TestName, UnitKind

_Shares = Annotated[float | None, Field(description="from 0 to 1")]


class StatedBody(Body):
    """The difference that the plan was made to find."""

    low: float = 0.6
    high: float = 0.8
    faster: float = 1.5
    alike: float = Field(
        default=0.05, description="correlation of two cuttings of a unit"
    )


class TrialUnitBody(Body):
    """One pot or tray of a trial, with what fell to it."""

    name: Words
    arm: Words
    block: Words
    tray: Words = Field("", description="that it is or stands in; empty: none")
    position: int = Field(1, description="where in the tray")
    cultivar: Words = ""
    mean_c: float | None = Field(None, description="by the log of before")
    batch: Words = Field("", description="label code of what was stuck into it")


_Units = Annotated[list[TrialUnitBody], Field(max_length=MOST_UNITS)]


class _AboutTrial(Body):
    factor: Words = Field("medium", description="what differs between arms")
    end_point: Annotated[EndPoint, Field(strict=False)] = EndPoint.ROOTED
    days: float | None = Field(None, description="shares are counted up to then")
    base_c: Threshold | None = Field(
        None, description="null: the batches' or trays' own"
    )
    upper_c: Threshold | None = Field(None, description="horizontal cut-off")
    alpha: float = 0.05
    smallest_p: _Shares = None
    power: _Shares = None
    stated: StatedBody = Field(default_factory=StatedBody)
    text: Text = ""
    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="told by mistake: counts no longer, and stays to be seen",
    )


class TrialBody(_AboutTrial):
    """A trial as it was planned, before anything was stuck."""

    title: Words
    arms: Annotated[list[Words], Field(max_length=50)]
    unit: Annotated[UnitKind, Field(strict=False)]
    cuttings: int = Field(description="in each unit")
    units: _Units
    seed: int = Field(description="that shuffled the plan")
    test: Annotated[TestName, Field(strict=False, description="that decides")]


class TrialFields(_AboutTrial):
    """What is to be corrected of a trial; the rest stays as it was."""

    title: Words = ""
    arms: Annotated[list[Words], Field(max_length=50)] = Field([])
    unit: Annotated[UnitKind | None, Field(strict=False)] = None
    cuttings: int = 1
    units: _Units = Field([])
    seed: int = 0
    test: Annotated[TestName | None, Field(strict=False)] = None


class TrialsQuery(BaseModel):
    """Which trials."""

    model_config = ConfigDict(extra="forbid")

    withdrawn: bool = Field(
        False,  # noqa: FBT003
        description="also those that were told by mistake",
    )
