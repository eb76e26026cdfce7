"""What became of rooted plants: potted, hardened, established, and how they left.

A batch ends on the bench with its closing; its plants go on. Each stage tells of
some plants at one time, so that a batch may be potted in two goes and die one by
one. What may live here: the shape of a stage, its rules, and the sums over them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.core.units import DAY_MS
from controller.records.batches import MOST
from controller.records.events import time_faults
from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    fault,
    number_faults,
    refuse,
    text_faults,
)

SIX_WEEKS_MS = 42 * DAY_MS
"""When a potted plant is counted as alive or not (common practice: by then one that
was potted with too few roots has failed)."""

BEST_ROOTS = 4


class StageKind(StrEnum):
    """How far plants came, or how they left."""

    POTTED = "potted"
    HARDENED = "hardened"
    ESTABLISHED = "established"
    GIVEN = "given"
    SOLD = "sold"
    PLANTED = "planted"
    DEAD = "dead"


LEAVING = (StageKind.GIVEN, StageKind.SOLD, StageKind.PLANTED, StageKind.DEAD)
"""After these a plant is no longer there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Some plants of a batch came so far.

    Attributes:
        batch: Its code.
        utc_ms: When [ms].
        stage: How far.
        count: How many plants.
        root_score: Roots when potted: 0 none, 1 a few at one side, 2 at one half, 3
            all round, 4 all round and branched (our scale); None: not scored.
        reason: Why they died; to whom or where they went.
        who: Who says so.
        text: Whatever else.
        withdrawn: It was told by mistake and counts no longer.
    """

    batch: str
    utc_ms: int
    stage: StageKind
    count: int
    root_score: int | None = None
    reason: str = ""
    who: str = ""
    text: str = ""
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Plants:
    """The plants of a batch, summed up.

    Attributes:
        potted: How many were potted.
        hardened: How many of them were hardened so far.
        established: How many of them were established so far.
        left: How many went away alive: given, sold, planted.
        dead: How many died.
        mean_root_score: Of those that were scored; None: none was.
    """

    potted: int = 0
    hardened: int = 0
    established: int = 0
    left: int = 0
    dead: int = 0
    mean_root_score: float | None = None

    @property
    def here(self) -> int:
        """How many should still be there."""
        return self.potted - self.left - self.dead


def check_stage(stage: Stage) -> None:
    """Hold a stage to its rules; raise RecordError with every fault."""
    refuse(_faults(stage))


def _faults(stage: Stage) -> Iterator[Fault]:
    yield from time_faults("utc_ms", stage.utc_ms)
    yield from number_faults("count", stage.count, 1, MOST, "")
    yield from number_faults("root_score", stage.root_score, 0, BEST_ROOTS, "")
    yield from text_faults("reason", stage.reason)
    yield from text_faults("who", stage.who)
    yield from text_faults("text", stage.text, LONGEST_TEXT)
    if stage.root_score is not None and stage.stage is not StageKind.POTTED:
        right = "roots are scored when plants are potted: leave it out"
        yield fault("root_score", stage.root_score, right)
    if stage.stage is StageKind.DEAD and not stage.reason.strip():
        yield fault("reason", "nothing", "must say why they died, or 'not known'")


def sum_faults(stages: Iterable[Stage], stuck: int) -> Iterator[Fault]:
    """Yield where more plants would have come so far than there were.

    Args:
        stages: All of one batch.
        stuck: How many cuttings, or seeds, it had.
    """
    valid = sorted(
        (one for one in stages if not one.withdrawn),
        key=lambda one: (one.utc_ms, one.stage is not StageKind.POTTED),
    )
    told: list[Stage] = []
    for one in valid:
        told.append(one)
        now = plants(told)
        if now.potted > stuck:
            right = f"more would be potted than were stuck, {stuck}"
        elif now.here < 0 or max(now.hardened, now.established) > now.potted:
            right = f"at that time only {now.potted} had been potted"
            right += ", and some have left" if now.here < 0 else ""
        else:
            continue
        yield fault("count", one.count, right)
        return


def plants(stages: Iterable[Stage]) -> Plants:
    """Return the sums over the stages of a batch."""
    valid = [one for one in stages if not one.withdrawn]
    counts = {
        kind: sum(one.count for one in valid if one.stage is kind) for kind in StageKind
    }
    scored = [one for one in valid if one.root_score is not None]
    weighed = sum((one.root_score or 0) * one.count for one in scored)
    dead = counts[StageKind.DEAD]
    return Plants(
        counts[StageKind.POTTED],
        counts[StageKind.HARDENED],
        counts[StageKind.ESTABLISHED],
        sum(counts[kind] for kind in LEAVING) - dead,
        dead,
        weighed / sum(one.count for one in scored) if scored else None,
    )


def alive_after_six_weeks(stages: Iterable[Stage], now_utc_ms: int) -> int | None:
    """Return how many lived six weeks after the last of a batch was potted.

    Those that went away alive before that count as alive. None: none was potted,
    or the six weeks are not over.
    """
    valid = [one for one in stages if not one.withdrawn]
    potted = [one for one in valid if one.stage is StageKind.POTTED]
    if not potted:
        return None
    due_ms = max(one.utc_ms for one in potted) + SIX_WEEKS_MS
    if now_utc_ms < due_ms:
        return None
    dead = sum(
        one.count
        for one in valid
        if one.stage is StageKind.DEAD and one.utc_ms <= due_ms
    )
    return sum(one.count for one in potted) - dead
