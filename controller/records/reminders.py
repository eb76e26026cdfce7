"""What is to be done and when, as plain entries: looks, steps, wraps, covers, plants.

An entry is for a calendar, a page or a message alike; its uid stays the same while
the thing is the same, so that a calendar moves an entry and does not double it. What
may live here: from records and the mats' steps to entries. Pure: no clock, no file.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from controller.core.units import DAY_MS
from controller.records.batches import BatchKind, Cover
from controller.records.book import BatchFile
from controller.records.stages import SIX_WEEKS_MS, StageKind, plants
from controller.records.tracks import Tracks, tracks
from controller.records.weaning import COVER_DAYS

LOOK_DAYS = 7
SEED_LOOK_DAYS = 2
"""Chosen: a look each week at cuttings; seed that swells sooner."""

WRAP_DAYS = 42
"""Chosen: a wrap that is on for six weeks is looked at, in leaf or not."""

VENT_DAYS = 7
"""Chosen: a closed cover over leaves is vented within a week."""


@dataclass(frozen=True, slots=True, order=True)
class Reminder:
    """Something that is due.

    Attributes:
        due_utc_ms: When [ms].
        uid: The same for the same thing: letters, digits and "-".
        summary: In one line.
        description: And more; lines are broken by a newline.
    """

    due_utc_ms: int
    uid: str
    summary: str
    description: str


@dataclass(frozen=True, slots=True)
class MatStep:
    """A step of a mat's programme that ends by itself.

    Attributes:
        mat: Which mat.
        number: Which step, from 1.
        ends_utc_ms: When it ends [ms].
        words: What comes then, such as "19 °C: grow on".
    """

    mat: str
    number: int
    ends_utc_ms: int
    words: str


def reminders(files: Iterable[BatchFile], steps: Iterable[MatStep]) -> list[Reminder]:
    """Return everything that is due, in order of time; some may be overdue.

    Args:
        files: The batches.
        steps: Steps of mats that end by themselves.
    """
    found: list[Reminder] = []
    for file in files:
        if file.batch.withdrawn or file.batch.stuck_utc_ms is None:
            continue
        found += _of_plants(file)
        if file.closing is None:
            found += _of_batch(file)
    found += map(_of_step, steps)
    return sorted(found)


def _of_batch(file: BatchFile) -> Iterator[Reminder]:
    seen = tracks(look for _, look in file.looks)
    yield _look_due(file, seen)
    yield from _wrap(file, seen)
    yield from _cover(file, seen)
    if seen.has_roots and file.stays and file.stays[-1].tray:
        words = f"rooted: move {file.stays[-1].tray} off the heat, if all in it are"
        yield _entry(file, "off-heat", seen.last_utc_ms or 0, words, seen.base_words)


def _look_due(file: BatchFile, seen: Tracks) -> Reminder:
    seed = file.batch.kind is BatchKind.SEED
    days = SEED_LOOK_DAYS if seed else LOOK_DAYS
    since_ms = seen.last_utc_ms or file.batch.stuck_utc_ms or 0
    what = "look whether it emerges" if seed else "look at it"
    more = (
        f"{seen.base_words or 'the base was not looked at yet'}\n" if not seed else ""
    )
    told = f"{more}Tops: {seen.tops_words or 'not counted yet'}"
    return _entry(file, "look", since_ms + days * DAY_MS, what, told)


def _wrap(file: BatchFile, seen: Tracks) -> Iterator[Reminder]:
    wrap, stuck_ms = file.batch.wrap, file.batch.stuck_utc_ms or 0
    if wrap is None or wrap.off is not None:
        return
    due_ms = stuck_ms + WRAP_DAYS * DAY_MS
    if seen.in_leaf and seen.last_utc_ms is not None:
        due_ms = min(due_ms, seen.last_utc_ms)
    words = f"take the {wrap.material} off, once buds move under it"
    yield _entry(file, "wrap", due_ms, words, "then tell it: batch correct --wrap-off")


def _cover(file: BatchFile, seen: Tracks) -> Iterator[Reminder]:
    cover = file.batch.cover
    if cover not in (Cover.CLOSED, Cover.VENTED):
        return
    off_ms = _off_heat_ms(file)
    if off_ms is not None:
        what = "vent the cover" if cover is Cover.CLOSED else "take the cover off"
        why = "a week after it left the heat: one change at a time"
        yield _entry(file, "cover", off_ms + COVER_DAYS * DAY_MS, what, why)
    elif cover is Cover.CLOSED and seen.in_leaf and not seen.has_roots:
        due_ms = (seen.last_utc_ms or 0) + VENT_DAYS * DAY_MS
        why = "leaves under a sealed cover grow mould"
        yield _entry(file, "vent", due_ms, "vent the cover a little", why)


def _off_heat_ms(file: BatchFile) -> int | None:
    """Return since when it stands off the bench [ms]; None: it does not."""
    last = file.stays[-1:]
    off = bool(last) and not last[0].tray and last[0].to_utc_ms is None
    return last[0].from_utc_ms if off and len(file.stays) > 1 else None


def _of_plants(file: BatchFile) -> Iterator[Reminder]:
    told = [stage for _, stage in file.stages]
    potted = [one for one in told if one.stage is StageKind.POTTED]
    if not potted or plants(told).here <= 0:
        return
    due_ms = max(one.utc_ms for one in potted) + SIX_WEEKS_MS
    words = "six weeks after potting: count the plants that live"
    here = f"{plants(told).here} should be there; tell the dead: batch plants … dead"
    yield _entry(file, "six-weeks", due_ms, words, here)


def _of_step(step: MatStep) -> Reminder:
    # With its day, which tells this pass through the programme from another.
    uid = f"step-{step.mat}-{step.number}-{step.ends_utc_ms // DAY_MS}"
    summary = f"{step.mat}: step {step.number} ends, then {step.words}"
    return Reminder(step.ends_utc_ms, uid, summary, "The programme goes on by itself.")


def _entry(
    file: BatchFile, what: str, due_ms: int, words: str, description: str
) -> Reminder:
    name = " ".join(part for part in (file.batch.crop, file.batch.cultivar) if part)
    where = file.stays[-1].tray if file.stays else ""
    place = f"\nIt stands in {where}." if where else ""
    summary = f"{file.code} {name}: {words}"
    return Reminder(due_ms, f"{what}-{file.code}", summary, f"{description}{place}")
