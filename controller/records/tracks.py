"""What is known of a batch on its two tracks: the base and the tops, apart.

Leaves say nothing about roots, so each track is read from the looks that showed it
and stays "not looked" where none did. What may live here: from looks to tracks.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from controller.records.evidence import rooted_in, tugged_in
from controller.records.looks import Look, total

ROOTED_SHARE = 0.5
"""Chosen: a batch counts as rooted once roots were seen on half of those that one
look saw the base of; before, only some have."""


class BaseSeen(StrEnum):
    """What the bases showed at the last look that saw any."""

    NOT_LOOKED = "not looked"
    NONE = "no roots"
    CALLUS = "callus"
    SOME = "some rooted"
    ROOTED = "rooted"


class TopsSeen(StrEnum):
    """What most of the tops showed at the last look that counted them."""

    NOT_LOOKED = "not looked"
    DORMANT = "dormant"
    SWELLING = "swelling"
    LEAFED = "leafed"


@dataclass(frozen=True, slots=True)
class Tracks:
    """Both tracks of a batch.

    Attributes:
        base: What is known of the bases.
        tops: What is known of the tops.
        wilted: How many were wilted at the last look that told of tops.
        dead: How many were found dead in all looks.
        base_words: From what the first is known, in words; may be empty.
        tops_words: And the second.
        last_utc_ms: When one looked last [ms]; None: never.
    """

    base: BaseSeen = BaseSeen.NOT_LOOKED
    tops: TopsSeen = TopsSeen.NOT_LOOKED
    wilted: int = 0
    dead: int = 0
    base_words: str = ""
    tops_words: str = ""
    last_utc_ms: int | None = None

    @property
    def has_roots(self) -> bool:
        """Whether roots were seen on enough of them to call the batch rooted."""
        return self.base is BaseSeen.ROOTED

    @property
    def in_leaf(self) -> bool:
        """Whether the tops draw water: they swell or are in leaf."""
        return self.tops in (TopsSeen.SWELLING, TopsSeen.LEAFED)


def tracks(looks: Iterable[Look]) -> Tracks:
    """Return what looks tell of a batch, in whatever order they come."""
    valid = sorted(
        (look for look in looks if not look.withdrawn), key=lambda look: look.utc_ms
    )
    base, base_words = _base(valid)
    tops, tops_words, wilted = _tops(valid)
    return Tracks(
        base,
        tops,
        wilted,
        sum(total(look.dead) for look in valid),
        base_words,
        tops_words,
        valid[-1].utc_ms if valid else None,
    )


def _base(looks: Sequence[Look]) -> tuple[BaseSeen, str]:
    """Return what is known of the bases; roots that were seen stay seen."""
    best, words = BaseSeen.NOT_LOOKED, ""
    for look in looks:
        seen, said = _base_in(look)
        if _says_more(best, seen):
            best, words = seen, said
    return best, words


def _says_more(best: BaseSeen, seen: BaseSeen) -> bool:
    """Whether a later look holds: none takes away roots that were seen before."""
    if seen is BaseSeen.NOT_LOOKED:
        return False
    if best is BaseSeen.ROOTED:
        return seen is BaseSeen.ROOTED
    return best is not BaseSeen.SOME or seen in (BaseSeen.SOME, BaseSeen.ROOTED)


def _base_in(look: Look) -> tuple[BaseSeen, str]:
    """Return what one look says of the bases, with the numbers it says it from."""
    base, of = look.base, look.looked_at
    if base is not None and of:
        least = rooted_in(look).at_least
        if least:
            half = least >= ROOTED_SHARE * of
            words = f"roots were seen on {least} of {of} ({look.how})"
            return (BaseSeen.ROOTED if half else BaseSeen.SOME), words
        if base.callus:
            return BaseSeen.CALLUS, f"callus on {base.callus} of {of} ({look.how})"
        return BaseSeen.NONE, f"no roots were seen on {of} ({look.how})"
    spare = look.sentinels
    if spare is not None and spare.lifted:
        words = f"of the spare ones {spare.rooted} of {spare.lifted} had roots"
        return (BaseSeen.SOME if spare.rooted else BaseSeen.NONE), words
    return _tugged(look)


def _tugged(look: Look) -> tuple[BaseSeen, str]:
    """Return what a tug says: never more than that some may have rooted."""
    tugged = tugged_in(look)
    if tugged is None or not tugged.share:
        return BaseSeen.NOT_LOOKED, ""
    words = f"{tugged.held} of {tugged.held + tugged.gave} held when tugged"
    return BaseSeen.SOME, f"{words}: probably rooted, not seen"


def _tops(looks: Sequence[Look]) -> tuple[TopsSeen, str, int]:
    for look in reversed(looks):
        tops = look.tops
        if tops is None or not total(tops):
            continue
        counted = (
            (tops.dormant, TopsSeen.DORMANT),
            (tops.swelling, TopsSeen.SWELLING),
            (tops.leafed, TopsSeen.LEAFED),
        )
        most = max(counted, key=lambda one: (one[0], list(TopsSeen).index(one[1])))
        seen = most[1] if most[0] else _before(looks, look)
        parts = [f"{n} {kind}" for n, kind in (*counted, (tops.wilted, "wilted")) if n]
        return seen, f"{', '.join(parts)} of {look.looked_at}", tops.wilted
    return TopsSeen.NOT_LOOKED, "", 0


def _before(looks: Sequence[Look], look: Look) -> TopsSeen:
    """Return what the tops were before all that was counted had wilted."""
    earlier = [one for one in looks if one.utc_ms < look.utc_ms]
    return _tops(earlier)[0]
