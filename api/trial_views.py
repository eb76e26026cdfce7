"""Trials as the API shows them: the plan, and cheap counts. Pure.

What may live here: from records to plain dicts. No requests, and no statistics: those
are worked out by whoever asks, not in the daemon.
"""

from api.batch_shapes import RootingView, StayView
from api.formats import utc_text
from api.record_values import as_body
from api.trial_bodies import TrialBody
from api.trial_shapes import (
    TrialArmView,
    TrialFileView,
    TrialsView,
    TrialUnitView,
    TrialView,
    TuggedUnitView,
)
from controller.records.book import BatchFile, Book, batches, trial_in, trials
from controller.records.changes import Kind
from controller.records.end_points import reached
from controller.records.evidence import Rooting, tugged_in
from controller.records.trials import Trial, TrialUnit

_Files = dict[str, BatchFile]


def trials_view(book: Book, *, withdrawn: bool = False) -> TrialsView:
    """Return all trials."""
    files = _files(book)
    found = trials(book, withdrawn=withdrawn)
    return TrialsView(trials=[_view(book, number, files) for number, _ in found])


def trial_file_view(book: Book, number: str) -> TrialFileView:
    """Return all that is known of a trial; raise NoSuchRecordError if there is none."""
    trial, files = trial_in(book, number), _files(book)
    view = _view(book, number, files)
    return TrialFileView(
        id=view["id"],
        href=view["href"],
        trial=view["trial"],
        arms=view["arms"],
        written_at=view["written_at"],
        written_by=view["written_by"],
        revisions=view["revisions"],
        units=[_unit_view(trial, unit, files) for unit in trial.units],
    )


def _files(book: Book) -> _Files:
    return {file.code: file for file in batches(book)}


def _view(book: Book, number: str, files: _Files) -> TrialView:
    history, trial = book.history(Kind.TRIAL, number), trial_in(book, number)
    return TrialView(
        id=history[0].id,
        href=f"/v1/trials/{history[0].id}",
        trial=TrialBody.model_validate(as_body(trial)),
        arms=[_arm_view(trial, arm, files) for arm in trial.arms],
        written_at=utc_text(history[-1].utc_ms),
        written_by=history[-1].who,
        revisions=len(history),
    )


def _arm_view(trial: Trial, arm: str, files: _Files) -> TrialArmView:
    units = [unit for unit in trial.units if unit.arm == arm]
    stuck = [files[unit.batch] for unit in units if unit.batch in files]
    told = [one for file in stuck for one in reached(file, trial.end_point)]
    return TrialArmView(
        arm=arm,
        units=len(units),
        stuck=len(stuck),
        cuttings=sum(one.count for one in told),
        reached=sum(one.count for one in told if one.by_utc_ms is not None),
    )


def _unit_view(trial: Trial, unit: TrialUnit, files: _Files) -> TrialUnitView:
    file = files.get(unit.batch)
    batch = None if file is None else file.batch
    stuck_ms = None if batch is None else batch.stuck_utc_ms
    return TrialUnitView(
        name=unit.name,
        arm=unit.arm,
        block=unit.block,
        batch=unit.batch,
        count=None if batch is None else batch.count,
        stuck_at=None if stuck_ms is None else utc_text(stuck_ms),
        base_c=_celsius(None if batch is None else batch.base_mc),
        upper_c=_celsius(None if batch is None else batch.upper_mc),
        stays=[] if file is None else _stays(file),
        reached=[]
        if file is None
        else [_rooting(one) for one in reached(file, trial.end_point)],
        tugged=None if file is None else _tugged(file),
    )


def _celsius(temp_mc: int | None) -> float | None:
    return None if temp_mc is None else temp_mc / 1000


def _stays(file: BatchFile) -> list[StayView]:
    return [
        StayView(
            tray=stay.tray or None,
            since=utc_text(stay.from_utc_ms),
            until=None if stay.to_utc_ms is None else utc_text(stay.to_utc_ms),
        )
        for stay in file.stays
    ]


def _rooting(one: Rooting) -> RootingView:
    return RootingView(
        count=one.count,
        after=utc_text(one.after_utc_ms),
        by=None if one.by_utc_ms is None else utc_text(one.by_utc_ms),
        agrees=one.agrees,
    )


def _tugged(file: BatchFile) -> TuggedUnitView | None:
    """Return what the last tug suggests; None: there was none."""
    found = [tugged for _, look in file.looks if (tugged := tugged_in(look))]
    if not found:
        return None
    last = found[-1]
    return TuggedUnitView(
        held=last.held,
        gave=last.gave,
        likely_share=last.share,
        held_if_rooted=last.held_if_rooted,
        held_if_not_rooted=last.held_if_not,
    )
