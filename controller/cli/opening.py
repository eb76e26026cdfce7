"""Opening a bench's season log for a run, whatever state it is in.

A log that is damaged or too old is set aside, never deleted and never written
to, and the run begins a new one. What may live here: that, and what is told of
it.
"""

import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from controller.adapters.season_log import (
    NO_ENDING,
    LogError,
    LogLock,
    SeasonLogReader,
    SeasonLogWriter,
    UnusableLogError,
    carry_records,
    inspect_log,
    is_former,
    migrated,
    set_aside,
)
from controller.adapters.settings import Settings
from controller.cli.beginning import Beginning, beginning
from controller.core.state import Trip
from controller.ports import IMPORTED, Instant

FEW_BYTES = 300_000_000
"""Chosen: about what a season of eight probes takes, twice over."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A season log, open, and where the run begins.

    Attributes:
        log: Its writer.
        begun: Where the run begins.
        notes: What a person should know of it, for the journal.
        before: How the run before ended, in words; empty: there was none.
    """

    log: SeasonLogWriter
    begun: Beginning
    notes: tuple[str, ...]
    before: str


def opened(
    settings: Settings,
    now: Instant,
    trips: Mapping[str, Trip],
    tell: Callable[[str], None],
) -> Opening:
    """Open the season log of a bench and find where its run begins.

    Args:
        settings: The bench.
        now: The present instant; its run clock is not used.
        trips: What the side file of trips remembers.
        tell: Told, later and from another thread, of trouble with the disk.

    Raises:
        LogError: The file belongs to another program, a newer version or a
            daemon that runs; or it cannot be read now, or not be set aside.
    """
    try:
        return _opened(settings, now, trips, tell)
    except UnusableLogError:
        # Writing found what the look had not: now a mark lies beside the log.
        return _opened(settings, now, trips, tell)


def _opened(
    settings: Settings,
    now: Instant,
    trips: Mapping[str, Trip],
    tell: Callable[[str], None],
) -> Opening:
    path = settings.log.path
    with _locked(path) as lock:
        try:
            notes = _brought_up(path)
            inspect_log(path)
            begun = beginning(path, settings.plan, now, trips)
            before = _how_it_ended(path, now)
        except UnusableLogError as error:
            aside = _set_aside(path, error, now, lock)
            begun, kept = _salvaged(aside, settings, now, trips)
            begun = replace(begun, state=replace(begun.state, log_set_aside=True))
            told = _about(error, aside, trips, kept=kept)
            notes, before = (told, *_records_carried(aside, path)), ""
    log = SeasonLogWriter(
        path,
        commit_every_ms=settings.log.commit_every_ms,
        fold_after_ms=settings.log.fold_after_ms,
        tell=tell,
    )
    return Opening(log, begun, (*notes, *_little_room(path)), before)


def _brought_up(path: Path) -> tuple[str, ...]:
    """Bring an older log up to the present schema; return what was done."""
    if not is_former(path):
        return ()
    kept = migrated(path)
    return (
        f"{path} had an older schema and was brought up; as it was before it is kept"
        f" as {kept.name}, which may be deleted once all is well",
    )


@contextmanager
def _locked(path: Path) -> Iterator[LogLock | None]:
    """Hold the log's lock, so that nobody writes what is looked at.

    On a disk that takes no lock nobody can write it either.
    """
    lock: LogLock | None = None
    with suppress(OSError):
        lock = LogLock(path)
    try:
        yield lock
    finally:
        if lock is not None:
            lock.release()


def _set_aside(path: Path, error: LogError, now: Instant, lock: LogLock | None) -> Path:
    if lock is None:
        raise LogError(f"{error}; it cannot be set aside: its folder is not writable")
    try:
        return set_aside(path, now.utc_ms)
    except OSError as refused:
        message = f"{error}; it cannot be set aside: {refused.strerror}"
        raise LogError(message) from refused


def _salvaged(
    aside: Path, settings: Settings, now: Instant, trips: Mapping[str, Trip]
) -> tuple[Beginning, bool]:
    """Return where to begin, from what can still be read, and whether it could."""
    try:
        return beginning(aside, settings.plan, now, trips), True
    except LogError:
        nothing = settings.log.path.with_name(aside.name + ".none")
        return beginning(nothing, settings.plan, now, trips), False


def _records_carried(aside: Path, path: Path) -> Iterator[str]:
    """Carry batches, looks and events into the new log; yield what became of them."""
    try:
        found = carry_records(aside, path)
    except LogError as error:
        yield f"what people wrote could not be carried over: {error}"
        return
    if found.carried:
        yield f"records of batches and events carried over: {found.carried}"
    if found.left:
        yield (
            f"records of batches and events that could not be carried over:"
            f" {found.left}; they stand in {aside.name}"
        )


def _about(
    error: LogError, aside: Path, trips: Mapping[str, Trip], *, kept: bool
) -> str:
    what = (
        "its last degree-hours, steps and setpoints could still be read and go on"
        if kept
        else "degree-hours, steps and changed setpoints begin anew"
    )
    locked = ", ".join(sorted(trips))
    still = f"; locked off as before: {locked}" if locked else ""
    return (
        f"{error}. It was set aside as {aside.name}, with nothing deleted, and a new"
        f" season log is begun: {what}{still}"
    )


def _how_it_ended(path: Path, now: Instant) -> str:
    """Return how the last live run ended, in words; empty: there was none."""
    if not path.exists():
        return ""
    reader = SeasonLogReader(path)
    runs = [one for one in reader.runs() if one.origin != IMPORTED]
    if not runs or runs[-1].origin != "live":
        return ""
    run = runs[-1].run
    ending = reader.ending(run)
    if ending is None:
        return f"the run before ({run}) left no word: {NO_ENDING}"
    at = datetime.fromtimestamp(ending.utc_ms / 1000, UTC)
    ago_min = (now.utc_ms - ending.utc_ms) // 60_000
    ago = f", {ago_min} min ago" if now.clock_ok and ago_min >= 0 else ""
    return f"the run before ({run}) ended at {at:%Y-%m-%dT%H:%MZ}{ago}: {ending.cause}"


def _little_room(path: Path) -> Iterator[str]:
    try:
        free = shutil.disk_usage(path.parent).free
    except OSError:
        return
    if free < FEW_BYTES:
        yield (
            f"only {free / 1e6:.0f} MB are free in {path.parent.resolve()}; a season"
            f" may take {FEW_BYTES / 1e6:.0f} MB: make room, or give [log] path another"
            " disk"
        )
