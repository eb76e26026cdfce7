"""What looks bound: when how many of a batch had rooted, and what a tug suggests.

Only roots that were seen, or a base that was lifted, bound anything. A cutting with
roots seen had rooted by then; one lifted without had not. What was not looked at,
was seen through a wall without roots, or leafed, bounds nothing. A tug enters with a
stated error instead: callus grips, too, and a young root lets go. What may live here:
these rules as arithmetic. Pure.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from controller.records.looks import How, Look

HELD_IF_ROOTED = 0.9
HELD_IF_NOT = 0.25
"""Chosen, without a source: a rooted cutting holds nine times in ten; of those
without roots one in four holds all the same, by callus or tight medium."""

_SEEING = (How.DRAIN_HOLE, How.THROUGH_WALL, How.LIFTED)


@dataclass(frozen=True, slots=True)
class Rooted:
    """How many of some cuttings have roots, as far as it is certain.

    Attributes:
        at_least: So many, or more.
        at_most: So many, or fewer.
        of: Of so many.
    """

    at_least: int
    at_most: int
    of: int


@dataclass(frozen=True, slots=True)
class Rooting:
    """So many cuttings rooted within one stretch of time.

    Attributes:
        count: How many.
        after_utc_ms: Not yet then [ms]: when it was stuck, at the earliest.
        by_utc_ms: By then [ms]; None: not seen to have rooted so far.
        agrees: Whether what was seen can be true at once; if not, roots were seen
            and later, or before, fewer can have had any: the looks err.
    """

    count: int
    after_utc_ms: int
    by_utc_ms: int | None
    agrees: bool = True


@dataclass(frozen=True, slots=True)
class Tugged:
    """What a tug suggests; it bounds nothing.

    Attributes:
        held: How many held: probably rooted.
        gave: How many gave, which does not say that they have not rooted.
        share: The likeliest share with roots, from 0 to 1; None: none was tugged.
        held_if_rooted: The chance to hold with roots that this was worked out with.
        held_if_not: And without.
    """

    held: int
    gave: int
    share: float | None
    held_if_rooted: float
    held_if_not: float


def rooted_in(look: Look) -> Rooted:
    """Return what a look shows of those it looked at.

    Roots seen count for at least so many; only lifting shows who has none.
    """
    of = look.looked_at
    if look.withdrawn or look.base is None or look.how not in _SEEING:
        return Rooted(0, of, of)
    without = 0
    if look.how is How.LIFTED:
        without = look.base.none + look.base.callus
    return Rooted(look.base.roots, of - without, of)


def tugged_in(
    look: Look,
    held_if_rooted: float = HELD_IF_ROOTED,
    held_if_not: float = HELD_IF_NOT,
) -> Tugged | None:
    """Return what a tug suggests; None: nothing was tugged.

    The share is held / tugged put right for both errors and kept within 0 and 1
    (Rogan and Gladen 1978, American Journal of Epidemiology 107: 71-76; from
    memory).

    Args:
        look: The look.
        held_if_rooted: Chance that a rooted one holds.
        held_if_not: Chance that one without roots holds; less than that.

    Raises:
        ValueError: The chances are none, or tell nothing.
    """
    if not 0 <= held_if_not < held_if_rooted <= 1:
        raise ValueError(
            f"found {held_if_not:g} and {held_if_rooted:g}: chances lie from 0 to 1,"
            " and one with roots holds more often"
        )
    tug = look.tug
    if tug is None or look.withdrawn:
        return None
    share = None
    if tug.held + tug.gave:
        apparent = tug.held / (tug.held + tug.gave)
        share = (apparent - held_if_not) / (held_if_rooted - held_if_not)
        share = min(1.0, max(0.0, share))
    return Tugged(tug.held, tug.gave, share, held_if_rooted, held_if_not)


def rootings(count: int, stuck_utc_ms: int, looks: Iterable[Look]) -> list[Rooting]:
    """Return within which stretches of time how many of a batch rooted.

    Which cutting is which nobody knows from look to look, and need not: at each look
    at least so many of the whole batch had rooted, and at most so many. The j-th to
    root did so by the first look with at least j, and after the last with less than
    j at most. That holds whichever were looked at.

    Args:
        count: How many were stuck; sentinels are not among them.
        stuck_utc_ms: When [ms].
        looks: All looks of the batch.

    Returns:
        The stretches, in the order in which they end; their counts add up to count.
    """
    seen = [(look.utc_ms, rooted_in(look)) for look in looks]
    seen.sort(key=lambda one: one[0])
    # Between two of these numbers every cutting is told of alike.
    edges = {found.at_least for _, found in seen} | {count}
    edges |= {count - found.of + found.at_most for _, found in seen}
    found: list[Rooting] = []
    below = 0
    for number in sorted(edge for edge in edges if 0 < edge <= count):
        one = _rooting(number, count, stuck_utc_ms, seen)
        found.append(replace(one, count=number - below))
        below = number
    return _joined(found)


def _joined(found: list[Rooting]) -> list[Rooting]:
    """Return stretches with neighbours that are alike made one."""
    joined: list[Rooting] = []
    for one in found:
        if joined and replace(joined[-1], count=one.count) == one:
            joined[-1] = replace(one, count=joined[-1].count + one.count)
        else:
            joined.append(one)
    return joined


def _rooting(
    number: int, count: int, stuck_utc_ms: int, seen: list[tuple[int, Rooted]]
) -> Rooting:
    """Return when the cutting that was the number-th to root did so."""
    by_ms = next((at for at, found in seen if found.at_least >= number), None)
    after_ms = stuck_utc_ms
    for at, found in seen:
        if count - found.of + found.at_most < number:
            after_ms = max(after_ms, at)
    agrees = by_ms is None or after_ms < by_ms
    return Rooting(1, after_ms, by_ms, agrees)


def emerged_in(look: Look) -> int:
    """Return how many seeds a look saw above the ground."""
    if look.withdrawn or look.tops is None:
        return 0
    return look.tops.leafed + look.tops.wilted


def dead_in(looks: Iterable[Look]) -> dict[str, int]:
    """Return how many were found dead in all looks, by cause."""
    valid = [look.dead for look in looks if not look.withdrawn]
    return {
        "rotted_base": sum(dead.rotted_base for dead in valid),
        "shrivelled": sum(dead.shrivelled for dead in valid),
        "mould": sum(dead.mould for dead in valid),
        "missing": sum(dead.missing for dead in valid),
    }
