"""The desk for plants and rounds: stages of plants, and a container looked through.

What may live here: from stages, or from a glance at a container with what was not
right in it, and a book, to changes.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from controller.records.batch_desk import add_look
from controller.records.book import BatchFile, Book, batch_in, batches, fold, stage_in
from controller.records.changes import Change
from controller.records.desk import Stamp, change_of, future_faults, unknown_faults
from controller.records.faults import Fault, RecordError, fault, refuse
from controller.records.looks import How, Look
from controller.records.stages import Stage, check_stage, sum_faults


def add_stage(book: Book, stage: Stage, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change by which a stage of plants comes into the book.

    Raises:
        NoSuchRecordError: There is no such batch.
        RecordError: It does not keep the rules.
    """
    _check(book, stage, stamp)
    return (change_of(book, str(book.newest + 1), stage, stamp),)


def revise_stage(
    book: Book, number: str, stage: Stage, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects a stage; none if it is as it was.

    Raises:
        NoSuchRecordError: There is no such stage.
        RecordError: What it would be does not keep the rules.
    """
    before = stage_in(book, number)
    _check(book, stage, stamp, instead_of=number)
    return () if stage == before else (change_of(book, number, stage, stamp),)


def _check(book: Book, stage: Stage, stamp: Stamp, instead_of: str = "") -> None:
    check_stage(stage)
    file = batch_in(book, stage.batch)
    refuse(_dated_faults(file, stage, stamp))
    others = [told for number, told in file.stages if number != instead_of]
    refuse(sum_faults([*others, stage], file.batch.count or 0))


def _dated_faults(file: BatchFile, stage: Stage, stamp: Stamp) -> Iterator[Fault]:
    yield from future_faults("utc_ms", stage.utc_ms, stamp)
    stuck_ms = file.batch.stuck_utc_ms
    if file.batch.withdrawn:
        yield fault("batch", file.code, "was told by mistake and counts no longer")
    elif stuck_ms is None:
        right = "is not stuck yet: tell when first, with stuck_at"
        yield fault("batch", file.code, right)
    elif stage.utc_ms < stuck_ms:
        yield fault("utc_ms", stage.utc_ms, "must not lie before it was stuck")


# ------------------------------------------------------------------ a whole container


def standing_in(book: Book, tray: str, utc_ms: int) -> list[BatchFile]:
    """Return the batches that stood in a tray at some time, and were open then."""
    return [
        file
        for file in batches(book)
        if any(
            stay.tray == tray
            and stay.from_utc_ms <= utc_ms
            and (stay.to_utc_ms is None or utc_ms < stay.to_utc_ms)
            for stay in file.stays
        )
    ]


def look_through(
    book: Book, tray: str, glance: Look, others: Sequence[Look], stamp: Stamp
) -> tuple[Change, ...]:
    """Return the changes by which a glance at a container comes into the book.

    Every open batch in it gets a look "tops fine", but for those that are told of
    on their own. All of it is taken, or nothing.

    Args:
        book: The book.
        tray: Which container.
        glance: When, who and text; its batch and counts do not matter.
        others: What was not fine: looks of single batches that stand in it.
        stamp: Who writes, and when.

    Raises:
        NoSuchRecordError: One of them is no batch.
        RecordError: It does not keep the rules; faults of others begin with
            "others.0" and so on.
    """
    refuse(unknown_faults("tray", "tray", (tray,), stamp.bench.trays))
    files = {file.code: file for file in standing_in(book, tray, glance.utc_ms)}
    refuse(_round_faults(book, tray, files, others))
    told = {batch_in(book, look.batch).code: n for n, look in enumerate(others)}
    changes: list[Change] = []
    for code, file in files.items():
        at = told.get(code)
        look = _fine(file, glance) if at is None else replace(others[at], batch=code)
        try:
            more = add_look(book, look, stamp)
        except RecordError as error:
            raise _placed(error, at) from None
        book = fold(book, more)
        changes += more
    return tuple(changes)


def _round_faults(
    book: Book, tray: str, files: dict[str, BatchFile], others: Sequence[Look]
) -> Iterator[Fault]:
    if not files:
        yield fault("tray", tray, "no open batch stood in it then")
    seen: set[str] = set()
    for at, look in enumerate(others):
        code = batch_in(book, look.batch).code
        if code not in files:
            there = ", ".join(files) or "none"
            right = f"did not stand in {tray} then; there: {there}"
            yield fault(f"others.{at}.batch", code, right)
        elif code in seen:
            yield fault(f"others.{at}.batch", code, "is told of twice; once is enough")
        seen.add(code)


def _fine(file: BatchFile, glance: Look) -> Look:
    return Look(
        batch=file.code,
        utc_ms=glance.utc_ms,
        how=How.TOPS_ONLY,
        looked_at=file.batch.count or 0,
        fine=True,
        who=glance.who,
        text=glance.text,
    )


def _placed(error: RecordError, at: int | None) -> RecordError:
    """Return the faults of a look with its place among the others."""
    under = "" if at is None else f"others.{at}."
    return RecordError(
        Fault(f"{under}{f.field}", f.found, f.right) for f in error.faults
    )
