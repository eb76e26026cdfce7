"""What to do with a batch, from its two tracks; advice, never a command.

A batch in leaf without roots lives on what its base can draw: the heat stays, the
air stays cool and damp, nothing is fed or tugged. One that is rooted leaves the heat,
and then gets more light: one change at a time. All of it is common practice, said in
our own words; numbers that are ours are marked as chosen. What may live here: from
tracks to sentences. Where containers and mats come in, see weaning.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.records.batches import Batch, BatchKind, Cover
from controller.records.events import BenchEvent, EventKind
from controller.records.tracks import BaseSeen, TopsSeen, Tracks

HARDWOOD_BASE_MC = 21_000
HARDWOOD_LOW_MC, HARDWOOD_HIGH_MC = 18_000, 24_000
"""Dormant hardwood: a mix of 65 to 75 °F (18 to 24 °C) while the air may be cold
(extension digest at greenyplace.com/do-cuttings-need-to-be-kept-warm); the default
is their middle."""

COOL_AIR_MC = 15_000
"""Chosen: above this the buds of hardwood are likely to outrun its roots; notes on
rooting put the tops at 15 to 21 °C where leaves must work, and cooler where not."""

ENOUGH_DAYS = 7
"""Chosen: days between looks."""


class Call(StrEnum):
    """What it comes to, in a word for programs."""

    STAY = "stay-on-heat"
    STAY_LEAFED = "stay-on-heat-leafed"
    STAY_LOOK = "stay-on-heat-look"
    OFF_THEN_LIGHT = "off-the-heat-then-light"
    OFF_COOL = "off-the-heat-cool"
    HELP_TOPS = "help-the-tops"
    EMERGED = "emerged-to-the-light"


@dataclass(frozen=True, slots=True)
class Air:
    """What surrounds a batch, as far as it is known.

    Attributes:
        room_mc: The room's air now [m°C].
        setpoint_mc: What its mat is kept at [m°C].
    """

    room_mc: int | None = None
    setpoint_mc: int | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with a batch.

    Attributes:
        call: For programs.
        headline: In one line.
        points: Each of them one thing to do or to leave.
        because: What is known and from what, in words.
        cautions: What does not fit, such as air that is too warm.
    """

    call: Call
    headline: str
    points: tuple[str, ...]
    because: str
    cautions: tuple[str, ...] = ()


Temp = Callable[[int], str]
"""Shows a temperature [m°C] in the bench's unit."""

WEIGH = "lift the container, then decide whether it needs water"

_STAY_LEAFED = (
    "in leaf, and no roots seen: leave it on the heat",
    (
        "keep the air as cool as they bear, so that the leaves ask for less",
        "raise the humidity loosely: a vented cover or mist, never sealed wet",
        "low light, no sun on the cover",
        "no feed until there are roots",
        "no tug: it tears what is only beginning",
        WEIGH,
    ),
)
_OFF_THEN_LIGHT = (
    "rooted and growing: off the heat first, then more light",
    (
        "move this container off the heat; let the mat be",
        "then, some days later, more light; then open the cover: one change at a time",
        "a weak feed once new leaves come",
        WEIGH,
    ),
)
_OFF_COOL = (
    "rooted and dormant: off the heat, cool and frost-free",
    (
        "move this container off the heat, so that the buds stay asleep",
        "cool and frost-free until it would break bud anyway",
        "no feed while it is dormant",
        f"hardly any water: {WEIGH}",
    ),
)
_STAY = (
    "no roots seen: leave it on the heat",
    (
        "keep the base warm and the tops cool",
        "no tug: look through the wall or at the drain hole, or lift a spare one",
        WEIGH,
    ),
)
_SOME = (
    "some have rooted: leave it on the heat until half of those looked at have",
    (
        "look again in a few days, at as many as you can without lifting",
        "cover and light as they are: one change at a time",
        WEIGH,
    ),
)
_HELP = (
    "tops wilt: damper, cooler, shaded air first",
    (
        "shade it and close the cover by half; open it again when the leaves stand",
        "water only if the container is light: a wet base without roots rots",
        "no feed, no tug",
        "take out what is dead or mouldy",
    ),
)
_SEED_UP = (
    "emerged: more light at once, then less heat",
    (
        "as much light as there is, today: seedlings draw out within a day or two",
        "open the cover by and by",
        "step the heat down over the next days",
        WEIGH,
    ),
)
_SEED_DOWN = (
    "not emerged: leave it on the heat",
    (
        "never let the surface dry while seed swells",
        "look each day once the first are up",
        WEIGH,
    ),
)


def advise(batch: Batch, seen: Tracks, air: Air, temp: Temp) -> Advice:
    """Return what to do with a batch that is stuck and open.

    Args:
        batch: What it is.
        seen: What is known of it.
        air: What surrounds it.
        temp: Shows a temperature.
    """
    call, (headline, points) = _called(batch, seen)
    return Advice(
        call,
        headline,
        points,
        _because(seen),
        tuple(_cautions(batch, seen, air, temp)),
    )


def _called(batch: Batch, seen: Tracks) -> tuple[Call, tuple[str, tuple[str, ...]]]:
    if batch.kind is BatchKind.SEED:
        up = seen.tops is TopsSeen.LEAFED
        return (Call.EMERGED, _SEED_UP) if up else (Call.STAY, _SEED_DOWN)
    if seen.wilted and not seen.has_roots:
        return Call.HELP_TOPS, _HELP
    if seen.has_roots:
        leafed = Call.OFF_THEN_LIGHT, _OFF_THEN_LIGHT
        return leafed if seen.in_leaf else (Call.OFF_COOL, _OFF_COOL)
    if seen.base is BaseSeen.SOME:
        return Call.STAY_LOOK, _SOME
    return (Call.STAY_LEAFED, _STAY_LEAFED) if seen.in_leaf else (Call.STAY, _STAY)


def _because(seen: Tracks) -> str:
    base = seen.base_words or "the base was not looked at"
    tops = f"tops: {seen.tops_words}" if seen.tops_words else "tops were not counted"
    return f"{base}; {tops}"


def _cautions(batch: Batch, seen: Tracks, air: Air, temp: Temp) -> Iterator[str]:
    if batch.kind is BatchKind.HARDWOOD and not seen.has_roots:
        yield from _hardwood(air, temp)
    if seen.has_roots and seen.tops is TopsSeen.NOT_LOOKED:
        yield "nobody counted the tops: look at them before you choose where it goes"
    if seen.has_roots and seen.wilted:
        yield f"{seen.wilted} wilted: shade it, and wean more slowly"
    if batch.cover is Cover.CLOSED and seen.in_leaf and not seen.has_roots:
        yield "a closed cover over leaves breeds mould: vent it a little each day"
    if batch.wrap is not None and batch.wrap.off is None and seen.in_leaf:
        yield f"buds move under the {batch.wrap.material}: take it off them"


def _hardwood(air: Air, temp: Temp) -> Iterator[str]:
    """Yield where heat and air do not suit dormant wood."""
    if air.room_mc is not None and air.room_mc > COOL_AIR_MC:
        yield (
            f"the air is at {temp(air.room_mc)}: above {temp(COOL_AIR_MC)} buds tend to"
            " outrun roots; aim for cool air over a warm base"
        )
    low, high = HARDWOOD_LOW_MC, HARDWOOD_HIGH_MC
    if air.setpoint_mc is not None and not low <= air.setpoint_mc <= high:
        yield (
            f"the mat is set to {temp(air.setpoint_mc)}: hardwood is usually kept at"
            f" {temp(low)} to {temp(high)}, {temp(HARDWOOD_BASE_MC)} to begin with"
        )


def watering(events: list[BenchEvent], tray: str) -> str:
    """Return what to do about water, by weight where a weight is known.

    Args:
        events: What was done at the bench, oldest first.
        tray: Which container.
    """
    known = [
        one
        for one in events
        if one.kind is EventKind.WATERED
        and one.trays == (tray,)
        and one.weight_before_g is not None
        and one.weight_after_g is not None
    ]
    if not known:
        return (
            f"{WEIGH}; weigh it once before and after watering, and the number will"
            " tell you from then on"
        )
    before, after = known[-1].weight_before_g, known[-1].weight_after_g
    return (
        f"{WEIGH}: last time you watered it at {before:g} g and left it at {after:g} g;"
        f" much above {before:g} g it can wait"
    )
