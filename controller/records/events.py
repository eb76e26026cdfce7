"""Bench events: what a person did at the bench, and when.

An event may be told later than it happened. Water and hands disturb what the
probes read: which kinds do is told here, for whoever fits a model to readings.
What may live here: the shape of an event and its rules.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    fault,
    name_faults,
    number_faults,
    refuse,
    text_faults,
)


class EventKind(StrEnum):
    """What was done."""

    WATERED = "watered"
    MISTED = "misted"
    TURNED = "turned"
    SWAPPED = "swapped"
    MOVED = "moved"
    PROBE_MOVED = "probe-moved"
    COVER_ON = "cover-on"
    COVER_OFF = "cover-off"
    TOPPED_UP = "medium-topped-up"
    MOULD_REMOVED = "mould-removed"
    PHOTO = "photo"
    NOTE = "note"


DISTURBING = frozenset(
    {
        EventKind.WATERED,
        EventKind.MISTED,
        EventKind.TURNED,
        EventKind.SWAPPED,
        EventKind.MOVED,
        EventKind.PROBE_MOVED,
        EventKind.COVER_ON,
        EventKind.COVER_OFF,
        EventKind.TOPPED_UP,
    }
)
"""Kinds after which readings change for another reason than the mat's heat: water
of another temperature, a tray or probe in another place, another loss upwards."""

MOST_ML = 50_000
"""Chosen: five watering cans."""

MOST_G = 100_000
"""Chosen: more than a person lifts."""

GRAMS_PER_ML = 1.0
"""Water, to within half a per cent from 0 to 40 °C (common practice)."""

EARLIEST_UTC_MS = 946_684_800_000
"""2000-01-01T00:00:00Z; chosen: an earlier time is a clock that was never set."""

_FILE = re.compile(r"(?!\.)[^/\\\x00-\x1f]{1,120}")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchEvent:
    """What was done at the bench.

    Attributes:
        kind: What was done.
        utc_ms: When it happened [ms since 1970-01-01T00:00:00Z].
        who: Who did it; may be empty.
        trays: Which trays.
        mats: Which mats, with all that stands on them.
        probes: Which probes.
        water_ml: How much water was given, to all of them together [ml].
        weight_before_g: What the tray weighed before [g].
        weight_after_g: What it weighed after [g].
        photo: Name of a file, without a folder: of a photo that is kept, or of one
            that lies elsewhere.
        text: Whatever else.
        withdrawn: It was told by mistake and counts no longer.
    """

    kind: EventKind
    utc_ms: int
    who: str = ""
    trays: tuple[str, ...] = ()
    mats: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()
    water_ml: float | None = None
    weight_before_g: float | None = None
    weight_after_g: float | None = None
    photo: str = ""
    text: str = ""
    withdrawn: bool = False

    @property
    def given_ml(self) -> float | None:
        """How much water came in, as told or by weight [ml]; None: not known."""
        if self.water_ml is not None:
            return self.water_ml
        if self.weight_before_g is None or self.weight_after_g is None:
            return None
        return (self.weight_after_g - self.weight_before_g) / GRAMS_PER_ML


def check_event(event: BenchEvent) -> None:
    """Hold an event to its rules; raise RecordError with every fault."""
    refuse(_faults(event))


def _faults(event: BenchEvent) -> Iterator[Fault]:
    yield from time_faults("utc_ms", event.utc_ms)
    for field, names in (
        ("trays", event.trays),
        ("mats", event.mats),
        ("probes", event.probes),
    ):
        yield from name_faults(field, names)
    yield from text_faults("who", event.who)
    yield from text_faults("text", event.text, LONGEST_TEXT)
    yield from _place_faults(event)
    yield from _water_faults(event)
    if event.kind is EventKind.PHOTO and not event.photo:
        yield fault("photo", "nothing", "must be the name of the photo's file")
    yield from photo_faults(event.photo)


def time_faults(field: str, utc_ms: int) -> Iterator[Fault]:
    """Yield what is wrong with a time, whatever the time is now."""
    if not EARLIEST_UTC_MS <= utc_ms < 2**53:
        right = "must lie after 2000-01-01T00:00:00Z"
        yield fault(field, utc_ms, right)


def _place_faults(event: BenchEvent) -> Iterator[Fault]:
    """Yield what is wrong with where it was done."""
    kind, trays = event.kind, event.trays
    if kind is EventKind.PROBE_MOVED:
        if not event.probes:
            yield fault("probes", "none", "must name the probe that was moved")
    elif kind is EventKind.SWAPPED:
        if len(trays) != 2 and len(event.probes) != 2:  # noqa: PLR2004
            right = "must name the two trays, or the two probes, that were swapped"
            yield fault("trays", ", ".join(trays) or "none", right)
    elif kind is EventKind.NOTE:
        if not event.text:
            yield fault("text", "nothing", "must say what is to be noted")
    elif kind is not EventKind.PHOTO and not trays and not event.mats:
        yield fault("trays", "none", f"must name the trays or mats that were {kind}")


def _water_faults(event: BenchEvent) -> Iterator[Fault]:
    before, after = event.weight_before_g, event.weight_after_g
    yield from number_faults("water_ml", event.water_ml, 0, MOST_ML, "ml")
    yield from number_faults("weight_before_g", before, 0, MOST_G, "g")
    yield from number_faults("weight_after_g", after, 0, MOST_G, "g")
    if event.water_ml is not None and not _with_water(event.kind):
        right = f"water is told of what was watered or misted, not of {event.kind}"
        yield fault("water_ml", event.water_ml, right)
    if before is not None and after is not None and _with_water(event.kind):
        if after < before:
            right = f"must not be less than before the water, {before:g} g"
            yield fault("weight_after_g", f"{after:g} g", right)
        if event.water_ml is not None:
            right = "give the water, or the weight before and after, not both"
            yield fault("water_ml", event.water_ml, right)


def _with_water(kind: EventKind) -> bool:
    return kind in (EventKind.WATERED, EventKind.MISTED)


def photo_faults(name: str) -> Iterator[Fault]:
    """Yield what is wrong with the name of a photo's file; there may be none."""
    if name and not (_FILE.fullmatch(name) and name.isprintable()):
        right = "must be the name of a file, without a folder, at most 120 characters"
        yield fault("photo", name, right)
