"""Looks: dated evidence of a batch, never a census.

A look tells how one looked, at how many, and what was seen on two tracks that know
nothing of each other: the base and the tops, each of which may not have been looked
at. Leaves say nothing about roots. What may live here: the shape of a look and its
rules; what it bounds is told in evidence.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import StrEnum

from controller.records.batches import MOST
from controller.records.events import photo_faults, time_faults
from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    fault,
    number_faults,
    refuse,
    text_faults,
)


class How(StrEnum):
    """How one looked, from the least to the most that it shows of a base."""

    TOPS_ONLY = "tops-only"
    TUG = "tug"
    DRAIN_HOLE = "drain-hole"
    THROUGH_WALL = "through-wall"
    LIFTED = "lifted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """How many showed what at the base, of those looked at."""

    none: int = 0
    callus: int = 0
    roots: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tops:
    """How many showed what at the top, of those looked at."""

    dormant: int = 0
    swelling: int = 0
    leafed: int = 0
    wilted: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tug:
    """How many held when pulled gently, and how many gave."""

    held: int = 0
    gave: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Dead:
    """How many were found dead, by cause; each cutting is counted once, when found."""

    rotted_base: int = 0
    shrivelled: int = 0
    mould: int = 0
    missing: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentinels:
    """Spare cuttings outside of the count: how many were lifted, and had roots."""

    lifted: int = 0
    rooted: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What was seen of a batch at one time.

    Attributes:
        batch: Its code.
        utc_ms: When [ms].
        how: How one looked.
        looked_at: At how many of the count; not how many were stuck.
        base: What the bases showed; None: not looked.
        tops: What the tops showed; None: not looked.
        tug: What a gentle tug showed; None: not tugged.
        dead: Those found dead since the look before.
        sentinels: What was seen of the spare ones; None: not looked.
        fine: The tops were looked through at a glance and nothing was wrong; none
            was counted.
        who: Who looked.
        text: Whatever else.
        photo: Name of a photo's file, as of an event; may be empty.
        withdrawn: It was told by mistake and counts no longer.
    """

    batch: str
    utc_ms: int
    how: How
    looked_at: int
    base: Base | None = None
    tops: Tops | None = None
    tug: Tug | None = None
    dead: Dead = Dead()
    sentinels: Sentinels | None = None
    fine: bool = False
    who: str = ""
    text: str = ""
    photo: str = ""
    withdrawn: bool = False


_Counts = Base | Tops | Tug | Dead | Sentinels


def total(counts: _Counts) -> int:
    """Return how many are counted altogether."""
    return sum(getattr(counts, one.name) for one in fields(counts))


def check_look(look: Look) -> None:
    """Hold a look to its rules; raise RecordError with every fault."""
    refuse(_faults(look))


def _faults(look: Look) -> Iterator[Fault]:
    yield from time_faults("utc_ms", look.utc_ms)
    yield from text_faults("who", look.who)
    yield from text_faults("text", look.text, LONGEST_TEXT)
    yield from photo_faults(look.photo)
    yield from number_faults("looked_at", look.looked_at, 0, MOST, "")
    yield from _count_faults(look)
    yield from _way_faults(look)
    yield from _sentinel_faults(look)
    yield from _fine_faults(look)


def _count_faults(look: Look) -> Iterator[Fault]:
    """Yield what is wrong with counts: none negative, none above looked_at."""
    for field in ("base", "tops", "tug", "dead"):
        counts: _Counts | None = getattr(look, field)
        if counts is None:
            continue
        yield from _negative_faults(field, counts)
        if total(counts) > look.looked_at:
            right = f"must not be more than were looked at, {look.looked_at}"
            yield fault(field, total(counts), right)


def _negative_faults(field: str, counts: _Counts) -> Iterator[Fault]:
    for one in fields(counts):
        count = getattr(counts, one.name)
        yield from number_faults(f"{field}.{one.name}", count, 0, MOST, "")


def _way_faults(look: Look) -> Iterator[Fault]:
    """Yield what could not have been seen in this way."""
    how, base = look.how, look.base
    if base is not None and how in (How.TOPS_ONLY, How.TUG):
        right = f"{how} shows no base: leave it out, which says 'not looked'"
        yield fault("base", _told(base), right)
    elif base is not None and how is How.DRAIN_HOLE and (base.none or base.callus):
        right = "a drain hole shows roots or nothing: leave none and callus at 0"
        yield fault("base", _told(base), right)
    if look.tug is not None and how not in (How.TUG, How.LIFTED):
        yield fault("tug", _told(look.tug), f"nothing is tugged in a look {how}")
    if look.tug is None and how is How.TUG:
        yield fault("tug", "nothing", "must say how many held and how many gave")


def _sentinel_faults(look: Look) -> Iterator[Fault]:
    spare = look.sentinels
    if spare is None:
        return
    yield from _negative_faults("sentinels", spare)
    if spare.rooted > spare.lifted:
        right = f"must not be more than were lifted, {spare.lifted}"
        yield fault("sentinels.rooted", spare.rooted, right)


def _fine_faults(look: Look) -> Iterator[Fault]:
    wilted = look.tops.wilted if look.tops else 0
    if look.fine and (wilted or total(look.dead)):
        right = "what is fine has nothing wilted or dead: leave fine out"
        yield fault("fine", "true", right)


def _told(counts: _Counts) -> str:
    return ", ".join(
        f"{one.name} {getattr(counts, one.name)}" for one in fields(counts)
    )
