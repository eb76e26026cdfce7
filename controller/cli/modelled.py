"""A season log's mat with its fitted model, for `tune` and `whatif`. No command.

What may live here: the way from a log to a model in the days of the log, what
there is to say of both, and progress on a terminal.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.adapters.season_log import SeasonLogReader
from controller.cli.log_words import scans_with_progress
from controller.cli.prices import AskedError
from controller.core.plan import MatPlan
from controller.core.units import SECOND_MS
from controller.ports import IMPORTED, RunHeader
from controller.review.mat_history import mat_histories
from controller.review.recounted import Span
from sim.fitting.fit import fit_mat
from sim.fitting.fitted import Fitted
from sim.fitting.gridded import record_of
from sim.fitting.record import Record
from sim.tuning.coming import after
from sim.tuning.days import whole_days
from sim.tuning.figures import Season
from sim.tuning.worlds import (
    Tell,
    World,
    without_unmodelled,
    worlds,
)

IN_THE_MODEL = "closed loop in the fitted model"
"""What is said of every figure that no probe has measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Modelled:
    """A mat with its fitted model in the days of its log.

    Attributes:
        header: The last run in which it was controlled.
        own: How it was kept in it.
        asked: The same, with only what has a model.
        record: What the log tells.
        fits: What was fitted.
        worlds: The model, then its replicates.
        season: The time of the record.
        recorded_operations: How often the log has the mat switched on.
        one_plan: It was kept alike in all of the log.
        notes: What a person should know of both, a sentence each.
    """

    header: RunHeader
    own: MatPlan
    asked: MatPlan
    record: Record
    fits: tuple[Fitted, ...]
    worlds: tuple[World, ...]
    season: Season
    recorded_operations: int
    one_plan: bool
    notes: tuple[str, ...]

    @property
    def scan_s(self) -> float:
        """The controller's scan [s]."""
        return self.header.plan.scan_ms / SECOND_MS

    @property
    def recorded_duty(self) -> float:
        """Share of the time on that the log tells [-]."""
        return float(self.record.on_share.mean())


def planned(path: Path, mat: str | None) -> tuple[RunHeader, MatPlan]:
    """Return the last run in which a mat was controlled, and how it was kept.

    That is quickly read; what was asked for is held to it before anything is
    fitted.

    Args:
        path: The season log.
        mat: Its name; None: the only one that was heated.

    Raises:
        AskedError: There is no such mat.
    """
    return _planned(path, SeasonLogReader(path).runs(), mat)


def modelled(path: Path, mat: str | None, coming_days: int | None = None) -> Modelled:
    """Return a mat of a season log with its fitted model.

    Args:
        path: The season log.
        mat: Its name; None: the only one that was heated.
        coming_days: How many days to come will be asked for; None: none.

    Raises:
        AskedError: There is no such mat, or no model of it, or too few days to
            say anything of days to come.
    """
    reader = SeasonLogReader(path)
    header, own = _planned(path, reader.runs(), mat)
    scans = partial(scans_with_progress, reader)
    span = Span(None, None, 2**61)
    history = next(iter(mat_histories(reader, [own.name], span, scans)), None)
    if history is None:
        raise AskedError(f"{path}: no scan of mat {own.name} is in it")
    try:
        plain = record_of(history)
        _enough(plain, coming_days)
        fitted = fit_mat(plain)
        asked, lost = without_unmodelled(own, fitted.zones)
    except ValueError as error:
        raise AskedError(f"{path}: {error}") from None
    record, fits = replace(plain, windows=fitted.windows), fitted.zones
    hours = len(record) * record.step_s / 3600
    zone = ZoneInfo(header.timezone)
    starts = datetime.fromtimestamp(record.start_utc_ms / 1000, zone)
    return Modelled(
        header=header,
        own=own,
        asked=asked,
        record=record,
        fits=fits,
        worlds=worlds(record, fits, asked, progress("days of the log")),
        season=Season(starts, hours),
        recorded_operations=sum(on for _, on in history.switchings),
        one_plan=_alike(own, reader.runs()),
        notes=tuple(_notes(fits, lost)),
    )


def _enough(record: Record, coming_days: int | None) -> None:
    """Refuse days to come of which a log says nothing, before it is fitted.

    Raises:
        AskedError: It has too few whole days.
    """
    if coming_days is not None:
        try:
            whole_days(record, int(after(record, coming_days).minutes[0]))
        except ValueError as error:
            raise AskedError(f"--next {coming_days}: {error}") from None


def _planned(
    path: Path, headers: Sequence[RunHeader], mat: str | None
) -> tuple[RunHeader, MatPlan]:
    runs = [one for one in headers if one.origin != IMPORTED]
    heated = [one for one in runs[-1].plan.mats if one.relay] if runs else []
    if not heated:
        raise AskedError(f"{path}: no run that heats a mat is in it")
    names = ", ".join(one.name for one in heated)
    if mat is None and len(heated) > 1:
        raise AskedError(f"{path}: say which mat with --mat; there are: {names}")
    for one in heated:
        if mat in {None, one.name}:
            return runs[-1], one
    raise AskedError(f"--mat {mat}: the log has no such mat; there are: {names}")


def _alike(own: MatPlan, headers: Sequence[RunHeader]) -> bool:
    runs = (one.plan.mats for one in headers if one.origin != IMPORTED)
    return all(mat == own for mats in runs for mat in mats if mat.name == own.name)


def _notes(fits: Sequence[Fitted], lost: str) -> list[str]:
    found = [f"{fit.name}: {'; '.join(fit.verdicts)}" for fit in fits if fit.verdicts]
    if lost:
        found.append(f"there is no model of {lost}: its limits cannot act here")
    return found


def progress(what: str) -> Tell:
    """Return what says on a terminal how far something is; elsewhere nothing."""
    if not sys.stderr.isatty():
        return _silent

    def tell(done: int, count: int) -> None:
        said = f"\r{what}: {done} of {count} models" if done < count else "\r\033[K"
        print(said, end="", file=sys.stderr, flush=True)

    return tell


def _silent(done: int, count: int) -> None:
    """Say nothing."""
