"""The shape of answers about varieties.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types.
"""

from typing import Literal

from typing_extensions import TypedDict

VerdictWord = Literal[
    "wait", "keep", "fewer", "more", "drop", "say-how-many-are-wanted"
]


class ResultView(TypedDict):
    """What came of some batches.

    rooted counts batches that ended, of rooted_of that were stuck; at_least: it is only
    what was seen. alive counts those six weeks after potting, of alive_of stuck.
    """

    batches: int
    open: int
    wanted: int | None
    stuck: int
    rooted: int
    rooted_of: int
    at_least: bool
    alive: int
    alive_of: int
    here: int


class ResultRowView(ResultView):
    """The same of a part, such as those in one medium."""

    key: str


class NextView(TypedDict):
    """What follows for next season.

    stick is how many for the plants that are wanted, at the rate that was seen;
    stick_widened allows for the rate being uncertain; null: no number helps.
    """

    verdict: VerdictWord
    sentence: str
    stick: int | None
    stick_widened: int | None
    give_away: int
    area_m2: float | None


class VarietyView(TypedDict):
    """One variety."""

    crop: str
    cultivar: str
    codes: list[str]
    result: ResultView
    by_medium: list[ResultRowView]
    by_source: list[ResultRowView]
    by_month: list[ResultRowView]
    next: NextView


class VarietiesView(TypedDict):
    """Results by variety, and the room that next season would take.

    area_m2 is that of all that would be stuck at this spacing; bench_m2 that of the
    mats.
    """

    surety: float
    spacing_mm: float
    area_m2: float
    bench_m2: float
    varieties: list[VarietyView]
