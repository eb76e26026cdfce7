"""The shape of advice: from what was seen, what to do next.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types.
"""

from typing import Literal

from typing_extensions import TypedDict

BaseWord = Literal["not looked", "no roots", "callus", "some rooted", "rooted"]
TopsWord = Literal["not looked", "dormant", "swelling", "leafed"]


class BatchAdviceView(TypedDict):
    """What to do with one batch; a person decides.

    call is for programs, such as "stay-on-heat-leafed"; base and tops are the two
    tracks, each of which may be "not looked".
    """

    code: str
    href: str
    name: str
    tray: str | None
    base: BaseWord
    tops: TopsWord
    call: str
    headline: str
    points: list[str]
    because: str
    cautions: list[str]
    water: str
    last_look_at: str | None


class OtherView(TypedDict):
    """Somebody else who is affected."""

    code: str
    tray: str
    known: str


class OffTheHeatView(TypedDict):
    """A container that may leave the heat."""

    tray: str
    mat: str
    rooted: list[str]
    others: list[OtherView]
    sentence: str
    warnings: list[str]


class WeanStepView(TypedDict):
    """One change of a weaning; setpoint_c null: it is no setpoint."""

    after_days: int
    setpoint_c: float | None
    words: str


class MatDownView(TypedDict):
    """Whether a mat may be stepped down, who is affected, and how."""

    mat: str
    allowed: bool
    affected: list[OtherView]
    steps: list[WeanStepView]
    sentence: str
    warnings: list[str]


class AdviceView(TypedDict):
    """Advice for all open batches, and what follows for containers and mats."""

    batches: list[BatchAdviceView]
    containers: list[OffTheHeatView]
    mats: list[MatDownView]


class OneAdviceView(TypedDict):
    """Advice for one batch; null where it is not stuck or closed.

    container and mat are those that it stands in and on.
    """

    code: str
    advice: BatchAdviceView | None
    container: OffTheHeatView | None
    mat: MatDownView | None
