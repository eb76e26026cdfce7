"""The shape of answers about batches.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types. How values come about is in batch_views.
"""

from typing import Literal, NotRequired

from typing_extensions import TypedDict

from api.batch_bodies import BatchBody, CloseBody, LookBody, MoveBody
from api.plant_bodies import StageBody

BatchState = Literal["not stuck", "stuck", "closed"]


class BatchView(TypedDict):
    """One batch: what was told of it, and how it stands.

    tray is where it stands now; null: off the bench, not stuck or closed. advice is a
    headline, null where there is nothing to do; more is at its address + /advice.
    """

    code: str
    href: str
    state: BatchState
    tray: str | None
    days_since_stuck: float | None
    advice: str | None
    batch: BatchBody
    written_at: str
    written_by: str
    revisions: int


class BatchesView(TypedDict):
    """Batches in the order in which they were told; more: older are left out."""

    batches: list[BatchView]
    more: bool


class StayView(TypedDict):
    """Where it stood; tray null: off the bench; until null: it stands there."""

    tray: str | None
    since: str
    until: str | None


class RootedView(TypedDict):
    """What a look shows of those it looked at: so many have roots for certain."""

    at_least: int
    at_most: int
    of: int


class TuggedView(TypedDict):
    """What a tug suggests; it bounds nothing.

    likely_share is that with roots, worked out with the two stated chances to hold.
    """

    held: int
    gave: int
    likely_share: float | None
    held_if_rooted: float
    held_if_not_rooted: float


class LookView(TypedDict):
    """One look, and what it bounds."""

    id: int
    href: str
    look: LookBody
    rooted: RootedView
    tugged: TuggedView | None
    written_at: str
    written_by: str
    revisions: int


class LookRowView(TypedDict):
    """A look of a table; new false: it was told already, word for word."""

    batch: str
    id: int
    href: str
    new: bool


class LookRowsView(TypedDict):
    """Looks in the order in which they were told."""

    looks: list[LookRowView]


class MoveView(TypedDict):
    """One move."""

    id: int
    href: str
    move: MoveBody
    written_at: str
    written_by: str
    revisions: int


class StageView(TypedDict):
    """One stage of plants."""

    id: int
    href: str
    stage: StageBody
    written_at: str
    written_by: str
    revisions: int


class PlantsView(TypedDict):
    """The plants of a batch, summed up; here: how many should still be there.

    left: given, sold or planted. alive_after_six_weeks is null until six weeks after
    the last were potted.
    """

    potted: int
    hardened: int
    established: int
    left: int
    dead: int
    here: int
    mean_root_score: float | None
    alive_after_six_weeks: int | None


class RootingView(TypedDict):
    """So many rooted after one time and by another.

    by null: not seen to have rooted so far. agrees false: the looks contradict each
    other here.
    """

    count: int
    after: str
    by: str | None
    agrees: bool


class DeadView(TypedDict):
    """Found dead in all looks, by cause."""

    rotted_base: int
    shrivelled: int
    mould: int
    missing: int


class BatchRevisionView(TypedDict):
    """A batch as it was told at one time."""

    written_at: str
    written_by: str
    batch: BatchBody


class BatchThermalView(TypedDict):
    """Thermal time of a batch over its stays, never without its base.

    Counted from the season log, up to until. hours_off_bench were spent where
    nothing is measured; base_from tells whose base it is.
    """

    degree_hours_k_h: float
    base_c: float
    upper_c: float | None
    base_from: Literal["batch", "tray"]
    hours_measured: float
    gap_hours: float
    hours_off_bench: float
    mean_c: float | None
    equal_to: str | None
    reference_c: float | None
    until: str


class BatchFileView(BatchView):
    """All that is known of one batch.

    thermal is there where a batch that is stuck is asked for.
    """

    looks: list[LookView]
    moves: list[MoveView]
    closing: CloseBody | None
    stages: list[StageView]
    plants: PlantsView
    stays: list[StayView]
    rootings: list[RootingView]
    dead: DeadView
    history: list[BatchRevisionView]
    thermal: NotRequired[BatchThermalView]


class BatchChangeView(TypedDict):
    """One change: what was told of a batch, a look, a move, its end or plants.

    subject is the number of the look, move or stage, or the batch's code.
    """

    id: int
    kind: Literal["batch", "look", "move", "closing", "stage"]
    subject: str
    written_at: str
    written_by: str
    told: BatchBody | LookBody | MoveBody | CloseBody | StageBody


class BatchHistoryView(TypedDict):
    """Everything that was ever told of a batch, oldest first."""

    code: str
    changes: list[BatchChangeView]


class TrayBatchView(TypedDict):
    """A batch that stands in a tray."""

    code: str
    href: str
    crop: str
    cultivar: str
    count: int | None
    place: str
    days_since_stuck: float | None
