"""When cuttings of a batch reached the end-point of a trial, as far as is known.

What may live here: one function for each end-point, all of one shape, so that
whoever judges a trial need not know where its dates are kept.
"""

from collections.abc import Callable, Mapping

from controller.records.book import BatchFile
from controller.records.evidence import Rooting, rootings
from controller.records.looks import Base, How, Look
from controller.records.places import Outcome
from controller.records.stages import StageKind
from controller.records.trials import EndPoint

_ALIVE = (Outcome.WEANED, Outcome.PLANTED_OUT, Outcome.GIVEN_AWAY)


def reached(file: BatchFile, end_point: EndPoint) -> list[Rooting]:
    """Return within which stretches of time how many of a batch got so far.

    Their counts add up to how many were stuck; nothing where that is not known.

    Args:
        file: The batch.
        end_point: How far.
    """
    return _HOW[end_point](file)


def _rooted(file: BatchFile) -> list[Rooting]:
    """Return what looks bound: roots seen, or a base lifted.

    How many had rooted at the end was counted on all of them, as they were lifted.
    """
    batch, end = file.batch, file.closing
    if batch.count is None or batch.stuck_utc_ms is None:
        return []
    looks = [look for _, look in file.looks]
    if end is not None and end.rooted is not None:
        base = Base(none=batch.count - end.rooted, roots=end.rooted)
        last = Look(
            batch=file.code,
            utc_ms=end.utc_ms,
            how=How.LIFTED,
            looked_at=batch.count,
            base=base,
        )
        looks.append(last)
    return rootings(batch.count, batch.stuck_utc_ms, looks)


def _established(file: BatchFile) -> list[Rooting]:
    """Return how many plants were told to be established, after potting, by when.

    Where no plants were told of, those that left the bench alive and rooted.
    """
    batch = file.batch
    if batch.count is None or batch.stuck_utc_ms is None:
        return []
    begin_ms = batch.stuck_utc_ms
    told = [stage for _, stage in file.stages]
    potted = [one.utc_ms for one in told if one.stage is StageKind.POTTED]
    dated = [
        (min([*potted, one.utc_ms], default=begin_ms), one.utc_ms, one.count)
        for one in told
        if one.stage is StageKind.ESTABLISHED
    ]
    last_ms = max((one.utc_ms for one in told), default=begin_ms)
    end = file.closing
    if end is not None:
        last_ms = max(last_ms, end.utc_ms)
        if not told and end.outcome in _ALIVE and end.rooted:
            dated = [(begin_ms, end.utc_ms, end.rooted)]
    found = [
        Rooting(count, begin_ms if after_ms == by_ms else after_ms, by_ms)
        for after_ms, by_ms, count in dated
    ]
    left = batch.count - sum(one.count for one in found)
    return [*found, Rooting(left, last_ms, None)] if left > 0 else found


_HOW: Mapping[EndPoint, Callable[[BatchFile], list[Rooting]]] = {
    EndPoint.ROOTED: _rooted,
    EndPoint.ESTABLISHED: _established,
}
