"""The shape of answers about trials.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types.
"""

from typing_extensions import TypedDict

from api.batch_shapes import RootingView, StayView
from api.trial_bodies import TrialBody


class TrialArmView(TypedDict):
    """How an arm stands: units, how many of them have a batch, cuttings, reached.

    reached: so many were seen to have reached the end-point, of cuttings.
    """

    arm: str
    units: int
    stuck: int
    cuttings: int
    reached: int


class TuggedUnitView(TypedDict):
    """What the last tug of a unit suggests; it bounds nothing."""

    held: int
    gave: int
    likely_share: float | None
    held_if_rooted: float
    held_if_not_rooted: float


class TrialUnitView(TypedDict):
    """One unit: its plan is among the trial's units; here is what came of it.

    reached tells within which stretches of time how many got to the end-point; base_c
    and upper_c are those of its batch, null where it has none of its own.
    """

    name: str
    arm: str
    block: str
    batch: str
    count: int | None
    stuck_at: str | None
    base_c: float | None
    upper_c: float | None
    stays: list[StayView]
    reached: list[RootingView]
    tugged: TuggedUnitView | None


class TrialView(TypedDict):
    """One trial and how its arms stand."""

    id: int
    href: str
    trial: TrialBody
    arms: list[TrialArmView]
    written_at: str
    written_by: str
    revisions: int


class TrialFileView(TrialView):
    """All that is known of a trial, unit by unit.

    Statistics are not among it: `bottomheat trial compare` works them out.
    """

    units: list[TrialUnitView]


class TrialsView(TypedDict):
    """Trials in the order in which they were told."""

    trials: list[TrialView]
