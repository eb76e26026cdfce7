"""From the looks at a batch to evidence on its thermal time, and to brackets.

Of cuttings only a base that was lifted shows who has no roots; of seed the tops show
who has come up. A batch that was closed with a count was looked at whole. What may
live here: that reading of looks.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from controller.records.batches import BatchKind
from controller.records.book import BatchFile
from controller.records.evidence import HELD_IF_NOT, HELD_IF_ROOTED
from controller.records.looks import How, Look, total
from controller.trials.rooting_evidence import BatchEvidence, Extent, Pulled, Seen


@dataclass(frozen=True, slots=True)
class Mark:
    """So many of a batch had rooted at some moment, for certain.

    Attributes:
        utc_ms: When [ms].
        at_least: So many, or more.
        at_most: So many, or fewer.
    """

    utc_ms: int
    at_least: int
    at_most: int


@dataclass(frozen=True, slots=True)
class Bracket:
    """When the half-way one of a batch rooted, for certain.

    Attributes:
        after_utc_ms: It had not by then [ms]: when it was stuck, at the earliest.
        by_utc_ms: It had by then [ms]; None: nobody has seen it.
    """

    after_utc_ms: int
    by_utc_ms: int | None


def is_seed(file: BatchFile) -> bool:
    """Whether a batch is seed: it emerges, and does not root first."""
    return file.batch.kind is BatchKind.SEED


def evidence_of(file: BatchFile, at: Callable[[int], float]) -> BatchEvidence:
    """Return what is known of when a batch rooted.

    Args:
        file: The batch.
        at: Its thermal time [K·h] by a moment [ms].
    """
    seen, pulled, dead = [], [], 0
    for _, look in file.looks:
        dead += total(look.dead)
        seen += list(_seen(file, look, dead, at(look.utc_ms)))
        tug = look.tug
        if tug is not None and tug.held + tug.gave:
            chances = HELD_IF_ROOTED, HELD_IF_NOT
            pulled.append(Pulled(at(look.utc_ms), tug.held, tug.gave, *chances))
    count, closing = file.batch.count, file.closing
    if closing is not None and closing.rooted is not None and count is not None:
        end = at(closing.utc_ms)
        seen.append(Seen(end, count, closing.rooted, Extent.ALL))
    return BatchEvidence(count, tuple(seen), tuple(pulled), dead)


def _seen(file: BatchFile, look: Look, dead: int, at: float) -> Iterator[Seen]:
    found = _counted(file, look)
    if found is not None:
        rooted, of = found
        count = file.batch.count
        if count is not None and of + dead >= count:
            yield Seen(at, count, rooted, Extent.ALL)
        else:
            yield Seen(at, of, rooted, Extent.SOME)
    elif look.base is not None and look.base.roots:
        of = max(look.looked_at, look.base.roots)
        yield Seen(at, of, look.base.roots, Extent.AT_LEAST)
    spare = look.sentinels
    if spare is not None and spare.lifted:
        yield Seen(at, spare.lifted, spare.rooted, Extent.SPARE)


def _counted(file: BatchFile, look: Look) -> tuple[int, int] | None:
    """Return how many had rooted, or come up, of how many that were told apart."""
    if is_seed(file) and look.tops is not None:
        return look.tops.leafed + look.tops.wilted, look.looked_at
    if look.how is How.LIFTED and look.base is not None and total(look.base):
        return look.base.roots, total(look.base)
    return None


def bracket_of(file: BatchFile, first: int, last: int | None = None) -> Bracket | None:
    """Return within what one of a batch to root, or all from it to another, did so.

    While a batch is open nobody knows how many will root, nor therefore which one is
    the half-way one.

    None: how many were stuck, or when, nobody told, or the looks contradict each
    other.

    Args:
        file: The batch.
        first: Which one to root, counted from 1.
        last: The last that it may be; None: it is known to be that one.
    """
    last = first if last is None else last
    count, after_ms = file.batch.count, file.batch.stuck_utc_ms
    if count is None or after_ms is None or not 0 < first <= last <= count:
        return None
    by_ms = None
    for mark in _marks(file, count):
        if mark.at_least >= last and by_ms is None:
            by_ms = mark.utc_ms
        if mark.at_most < first:
            after_ms = max(after_ms, mark.utc_ms)
    if by_ms is not None and after_ms >= by_ms:
        return None
    return Bracket(after_ms, by_ms)


def _marks(file: BatchFile, count: int) -> Iterator[Mark]:
    for _, look in file.looks:
        for one in _seen(file, look, 0, 0.0):
            if one.extent is Extent.SPARE:
                continue
            certain = one.extent is not Extent.AT_LEAST
            without = one.of - one.rooted if certain else 0
            yield Mark(look.utc_ms, one.rooted, count - without)
    closing = file.closing
    if closing is not None and closing.rooted is not None:
        yield Mark(closing.utc_ms, closing.rooted, closing.rooted)


def half_of(rooting: float) -> int:
    """Return which one to root is the half-way one of so many."""
    return max(1, math.ceil(rooting / 2))
