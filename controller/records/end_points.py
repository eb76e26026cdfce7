"""When cuttings of a batch reached the end-point of a trial, as far as is known.

What may live here: one function for each end-point, all of one shape, so that
whoever judges a trial need not know where its dates are kept.
"""

from collections.abc import Callable, Mapping

from controller.records.book import BatchFile
from controller.records.evidence import Rooting, rootings
from controller.records.looks import Base, How, Look
from controller.records.places import Outcome
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
    """Return how many left the bench alive and rooted, by when it was told."""
    batch, end = file.batch, file.closing
    if batch.count is None or batch.stuck_utc_ms is None:
        return []
    begin_ms, left, found = batch.stuck_utc_ms, batch.count, []
    last_ms = begin_ms
    if end is not None:
        last_ms = end.utc_ms
        if end.outcome in _ALIVE and end.rooted:
            left -= end.rooted
            found.append(Rooting(end.rooted, begin_ms, end.utc_ms))
    return [*found, Rooting(left, last_ms, None)] if left else found


_HOW: Mapping[EndPoint, Callable[[BatchFile], list[Rooting]]] = {
    EndPoint.ROOTED: _rooted,
    EndPoint.ESTABLISHED: _established,
}
