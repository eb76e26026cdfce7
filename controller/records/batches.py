"""Batches: cuttings, or seed, of one cultivar that were treated alike.

A batch may be told before it is stuck, so that its label is there when the bundle
arrives. Empty text and None mean "not told"; "none" is an answer. What may live
here: the shape of a batch and its rules.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from controller.records.events import time_faults
from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    fault,
    name_faults,
    number_faults,
    refuse,
    text_faults,
)

MOST = 100_000
"""Chosen: more cuttings, or seeds, than one batch of a small nursery has."""

LEAST_BASE_MC, MOST_UPPER_MC = -10_000, 70_000


class BatchKind(StrEnum):
    """What was stuck; semi-hardwood is also called semi-ripe."""

    HARDWOOD = "hardwood"
    SEMI_HARDWOOD = "semi-hardwood"
    SOFTWOOD = "softwood"
    HERBACEOUS = "herbaceous"
    LEAFY_EVERGREEN = "leafy-evergreen"
    ROOT_CUTTING = "root-cutting"
    SEED = "seed"


class Carrier(StrEnum):
    """What brings a hormone to the base."""

    POWDER = "powder"
    DIP = "dip"
    GEL = "gel"


class WrapMaterial(StrEnum):
    """What keeps a cutting itself from drying out."""

    FILM = "film"
    TAPE = "tape"
    WAX = "wax"


class Cover(StrEnum):
    """What stands over the tray, which is another thing than a wrap."""

    NONE = "none"
    VENTED = "vented"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wounds:
    """Bark cut away at the base: on how many sides, and how far up [mm]."""

    sides: int
    length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hormone:
    """What the bases were treated with.

    Attributes:
        active: The active substance.
        ppm: How much of it is in what was used [mg/kg or mg/l].
        carrier: What brings it there.
        seconds: How long the bases stood in it [s]; dips only.
    """

    active: str
    ppm: float | None = None
    carrier: Carrier
    seconds: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrap:
    """What is around each cutting.

    Attributes:
        material: What it is.
        down_mm: How far down from the tip it reaches [mm].
        off: The day on which it was taken off.
    """

    material: WrapMaterial
    down_mm: float | None = None
    off: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Cuttings or seed of one cultivar, stuck on one day and treated alike.

    Attributes:
        crop: What it is.
        cultivar: Which one.
        kind: Of what wood, or seed.
        source: Where it came from.
        mother: Which plant it was taken from.
        collected: The day on which it was taken.
        storage: How it was kept until it was stuck.
        count: How many were stuck, sentinels not counted.
        wanted: How many plants are wanted of it in the end.
        sentinels: Spare ones for lifting, outside of the count.
        nodes: Nodes of each.
        length_mm: Length of each [mm].
        thickness_mm: Thickness of each [mm].
        nodes_below: Nodes below the surface.
        base_depth_mm: How deep the base, or the seed, is [mm].
        basal_cut: How the base was cut.
        wounds: Bark cut away at the base.
        hormone: What the bases were treated with.
        disinfection: What against rot; may be "none".
        wrap: What is around each.
        cover: What stands over them.
        medium: The recipe of the medium.
        container: The container, or pot.
        tray: The tray that it was stuck into; empty: none of the bench.
        place: Where in the tray, or where else.
        stuck_utc_ms: When it was stuck [ms]; None: not yet.
        base_mc: Degree-hours count above [m°C]; None: the tray's.
        upper_mc: And no faster above [m°C]; None with a base: no upper.
        text: Whatever else.
        withdrawn: It was told by mistake and counts no longer.
    """

    crop: str
    cultivar: str = ""
    kind: BatchKind
    source: str = ""
    mother: str = ""
    collected: date | None = None
    storage: str = ""
    count: int | None = None
    wanted: int | None = None
    sentinels: int = 0
    nodes: int | None = None
    length_mm: float | None = None
    thickness_mm: float | None = None
    nodes_below: int | None = None
    base_depth_mm: float | None = None
    basal_cut: str = ""
    wounds: Wounds | None = None
    hormone: Hormone | None = None
    disinfection: str = ""
    wrap: Wrap | None = None
    cover: Cover | None = None
    medium: str = ""
    container: str = ""
    tray: str = ""
    place: str = ""
    stuck_utc_ms: int | None = None
    base_mc: int | None = None
    upper_mc: int | None = None
    text: str = ""
    withdrawn: bool = False


_WORDS = (
    *("crop", "cultivar", "source", "mother", "storage", "basal_cut"),
    *("disinfection", "medium", "container", "place"),
)


def check_batch(batch: Batch) -> None:
    """Hold a batch to its rules; raise RecordError with every fault."""
    refuse(_faults(batch))


def _faults(batch: Batch) -> Iterator[Fault]:
    for field in _WORDS:
        yield from text_faults(field, getattr(batch, field))
    yield from text_faults("text", batch.text, LONGEST_TEXT)
    if not batch.crop.strip():
        yield fault("crop", "nothing", "must say what it is, such as gooseberry")
    yield from name_faults("tray", [batch.tray] if batch.tray else [])
    yield from _number_faults(batch)
    yield from _shape_faults(batch)
    yield from _treatment_faults(batch)
    yield from _stuck_faults(batch)
    yield from _threshold_faults(batch)


def _number_faults(batch: Batch) -> Iterator[Fault]:
    yield from number_faults("count", batch.count, 1, MOST, "")
    yield from number_faults("wanted", batch.wanted, 0, MOST, "")
    yield from number_faults("sentinels", batch.sentinels, 0, MOST, "")
    yield from number_faults("nodes", batch.nodes, 0, 100, "")
    yield from number_faults("nodes_below", batch.nodes_below, 0, 100, "")
    yield from number_faults("length_mm", batch.length_mm, 1, 5_000, "mm")
    yield from number_faults("thickness_mm", batch.thickness_mm, 0.1, 200, "mm")
    yield from number_faults("base_depth_mm", batch.base_depth_mm, 0, 1_000, "mm")


def _shape_faults(batch: Batch) -> Iterator[Fault]:
    if batch.kind is BatchKind.SEED:
        for field in ("nodes", "nodes_below", "wounds"):
            if getattr(batch, field) is not None:
                yield fault(field, getattr(batch, field), "a seed has none")
        if batch.basal_cut:
            yield fault("basal_cut", batch.basal_cut, "a seed has none")
    nodes, below = batch.nodes, batch.nodes_below
    if nodes is not None and below is not None and below > nodes:
        right = f"must not be more than the cutting has, {nodes}"
        yield fault("nodes_below", below, right)
    length, depth = batch.length_mm, batch.base_depth_mm
    cutting = batch.kind not in (BatchKind.SEED, BatchKind.ROOT_CUTTING)
    if cutting and length is not None and depth is not None and depth > length:
        right = f"must not be more than the cutting is long, {length:g} mm"
        yield fault("base_depth_mm", f"{depth:g}", right)


def _treatment_faults(batch: Batch) -> Iterator[Fault]:
    if batch.wounds is not None:
        yield from number_faults("wounds.sides", batch.wounds.sides, 1, 8, "")
        length = batch.wounds.length_mm
        yield from number_faults("wounds.length_mm", length, 1, 500, "mm")
    if batch.wrap is not None:
        yield from number_faults("wrap.down_mm", batch.wrap.down_mm, 1, 5_000, "mm")
    hormone = batch.hormone
    if hormone is None:
        return
    yield from text_faults("hormone.active", hormone.active)
    if not hormone.active.strip():
        yield fault("hormone.active", "nothing", "must name the active substance")
    yield from number_faults("hormone.ppm", hormone.ppm, 0, 200_000, "ppm")
    yield from number_faults("hormone.seconds", hormone.seconds, 0, 172_800, "s")
    if hormone.seconds is not None and hormone.carrier is not Carrier.DIP:
        right = f"only a dip takes time; with {hormone.carrier} leave it out"
        yield fault("hormone.seconds", f"{hormone.seconds:g}", right)


def _stuck_faults(batch: Batch) -> Iterator[Fault]:
    if batch.stuck_utc_ms is None:
        return
    yield from time_faults("stuck_utc_ms", batch.stuck_utc_ms)
    if batch.count is None:
        yield fault("count", "nothing", "must say how many were stuck")


def _threshold_faults(batch: Batch) -> Iterator[Fault]:
    base, upper = batch.base_mc, batch.upper_mc
    for field, temp_mc in (("base_mc", base), ("upper_mc", upper)):
        if temp_mc is not None and not LEAST_BASE_MC <= temp_mc <= MOST_UPPER_MC:
            yield fault(field, f"{temp_mc / 1000:g} °C", "must be from -10 to 70 °C")
    if upper is not None and base is None:
        yield fault("base_mc", "nothing", "an upper needs a base of the crop's own")
    elif upper is not None and base is not None and upper <= base:
        right = f"must lie above the base, {base / 1000:g} °C"
        yield fault("upper_mc", f"{upper / 1000:g} °C", right)
