"""The shape of what a trial tells, as a child of the daemon works it out.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from typing_extensions import TypedDict

from api.record_bodies import Threshold
from controller.records.trials import TestName


class ComparisonQuery(BaseModel):
    """How to compare; what is left out is as the trial was planned."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    test: TestName | None = Field(None, description="that decides")
    days: Annotated[
        float | None, Field(gt=0, le=5_000, description="shares are counted up to then")
    ] = None
    base: Threshold | None = Field(None, description="thermal time counts above, °C")
    upper: Threshold | None = Field(None, description="and no faster above; needs base")


class ComparedArmView(TypedDict):
    """One arm: so many of its cuttings were seen to reach the end-point in time.

    from_95 to to_95 is the interval of the share; half of the cuttings had come
    between half_from_days and half_to_days, null where half were not seen to.
    """

    arm: str
    units: int
    cuttings: int
    reached: int
    share: float
    from_95: float
    to_95: float
    half_from_days: float | None
    half_to_days: float | None
    mean_c: float | None


class VerdictView(TypedDict):
    """What can be said of two arms; better is empty without a conclusion."""

    arms: list[str]
    answer: Literal["beats", "no-conclusion", "cannot-answer"]
    better: str
    reason: str
    p: float
    sentence: str


class ComparisonView(TypedDict):
    """What a trial tells; words and figures are those of `bottomheat trial compare`."""

    title: str
    end_point: str
    test: str
    alpha: float
    base_c: float | None
    shares_by_days: float | None
    arms: list[ComparedArmView]
    verdicts: list[VerdictView]
    notes: list[str]
    words: str
    figures: dict[str, object]


class WorkingView(TypedDict):
    """It is not known yet: ask again after Retry-After."""

    status: Literal["working"]
    words: str
