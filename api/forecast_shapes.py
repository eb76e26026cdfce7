"""The shape of the rooting forecast, as it is kept in its file and answered.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types. How values come about is told in controller.review.foretold.
"""

from typing import NotRequired

from typing_extensions import TypedDict


class DatesView(TypedDict):
    """Local dates by which half of those that will root have rooted.

    Half of all chances lie from from_50 to to_50, nine tenths from from_90 to to_90.
    to_50 and to_90 are null where the year ahead is not enough for them.
    """

    from_90: str
    from_50: str
    median: str
    to_50: str | None
    to_90: str | None


class ShareView(TypedDict):
    """Share that roots, or emerges, in the end: what to expect, and its 90 % range."""

    expected: float
    from_90: float
    to_90: float


class ThermalTimeView(TypedDict):
    """Degree-hours at which half of those that will root have rooted [K·h]."""

    from_90: float
    median: float
    to_90: float


class BatchForecastView(TypedDict):
    """What is foretold of one batch.

    half_rooted is null where nothing can be said, and why_none says why. own_share
    tells how much of what is known of its thermal time is the grower's own (1) or
    the crop file's (0). reached: whether looks show that half have rooted already.
    """

    id: str
    code: str
    href: str
    crop: str
    cultivar: str
    half_rooted: DatesView | None
    why_none: str | None
    share_rooted: ShareView | None
    own_share: float
    reached: bool
    degree_hours_k_h: float | None
    base_c: float | None
    needs_k_h: ThermalTimeView | None
    words: str
    notes: list[str]
    sources: list[str]


class ScoresView(TypedDict):
    """What became of earlier forecasts, of the windows of 90 %.

    right and wrong are certain by the looks; unclear: the looks were too far apart
    to tell.
    """

    right: int
    wrong: int
    unclear: int
    words: str


class ForecastFailureView(TypedDict):
    """The last attempt brought nothing: since when, and why."""

    at: str
    why: str


class ForecastView(TypedDict):
    """The forecast as it was last worked out; at null: not yet.

    failed is there when the last attempt brought nothing: what is shown is older.
    """

    at: str | None
    batches: list[BatchForecastView]
    scores: NotRequired[ScoresView]
    failed: NotRequired[ForecastFailureView]
    words: str
