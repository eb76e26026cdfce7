"""The desk for trials: a plan that a person tells becomes a change, or is refused.

What may live here: from a plan and a book to changes.
"""

from collections.abc import Iterator

from controller.records.book import Book, trial_in
from controller.records.changes import Change, Kind
from controller.records.desk import Stamp, change_of, unknown_faults
from controller.records.faults import Fault, fault, refuse
from controller.records.trials import Trial, check_trial


def add_trial(book: Book, trial: Trial, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change by which a plan comes into the book.

    Raises:
        RecordError: It does not keep the rules.
    """
    _check(book, trial, stamp)
    return (change_of(book, str(book.newest + 1), trial, stamp),)


def revise_trial(
    book: Book, number: str, trial: Trial, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects a plan; none if it is as it was.

    Raises:
        NoSuchRecordError: There is no such trial.
        RecordError: What it would be does not keep the rules.
    """
    before = trial_in(book, number)
    _check(book, trial, stamp)
    return () if trial == before else (change_of(book, number, trial, stamp),)


def _check(book: Book, trial: Trial, stamp: Stamp) -> None:
    check_trial(trial)
    trays = tuple(dict.fromkeys(unit.tray for unit in trial.units if unit.tray))
    refuse(
        (
            *unknown_faults("units", "tray", trays, stamp.bench.trays),
            *_batch_faults(book, trial),
        )
    )


def _batch_faults(book: Book, trial: Trial) -> Iterator[Fault]:
    for unit in trial.units:
        if unit.batch and (Kind.BATCH, unit.batch) not in book.histories:
            yield fault("units", unit.batch, "there is no such batch")
