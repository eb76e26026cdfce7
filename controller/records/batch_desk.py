"""The desk for batches: what a person tells of one becomes a change, or is refused.

What may live here: from a batch, a look, a move or an end, and a book, to changes.
"""

from collections.abc import Iterable, Iterator, Sequence

from controller.records.batches import Batch, check_batch
from controller.records.book import (
    BatchFile,
    Book,
    batch_in,
    fold,
    look_in,
    move_in,
)
from controller.records.changes import Change, Kind
from controller.records.codes import CodeError, code_of, number_of
from controller.records.desk import (
    Stamp,
    change_of,
    future_faults,
    unknown_faults,
)
from controller.records.faults import Fault, RecordError, fault, refuse
from controller.records.looks import Look, check_look
from controller.records.places import Closing, Move, check_closing, check_move


class RowsError(ValueError):
    """Some of several records do not keep the rules: none was taken.

    Attributes:
        rows: What is wrong, with the number of the record, from 0.
    """

    def __init__(self, rows: Sequence[tuple[int, RecordError]]) -> None:
        self.rows = tuple(rows)
        super().__init__("; ".join(f"record {at}: {error}" for at, error in rows))


# ------------------------------------------------------------------------- batches


def add_batch(
    book: Book, batch: Batch, stamp: Stamp, code: str = ""
) -> tuple[Change, ...]:
    """Return the change by which a batch comes into the book, with its code.

    Args:
        book: The book.
        batch: The batch.
        stamp: Who writes, and when.
        code: A code that it has already, on a label; empty: the next free one.

    Raises:
        RecordError: It does not keep the rules, or the code is taken.
    """
    refuse(_code_faults(book, code))
    _check_batch(batch, stamp)
    number = number_of(code) if code else _next_number(book)
    return (change_of(book, code_of(number), batch, stamp),)


def add_batches(
    book: Book, told: Sequence[tuple[Batch, str]], stamp: Stamp
) -> tuple[Change, ...]:
    """Return the changes by which several batches come into the book, or none.

    Args:
        book: The book.
        told: Batches, each with a code that it has already, or with "".
        stamp: Who writes, and when.

    Returns:
        A change for each, in their order.

    Raises:
        RowsError: Some do not keep the rules.
    """
    wrong: list[tuple[int, RecordError]] = []
    changes: list[Change] = []
    # What is on labels already is not given to others that come before them.
    free = _next_number(book, [code for _, code in told])
    for at, (batch, code) in enumerate(told):
        try:
            more = add_batch(book, batch, stamp, code or code_of(free))
        except RecordError as error:
            wrong.append((at, error))
        else:
            book = fold(book, more)
            changes += more
            free += not code
    if wrong:
        raise RowsError(wrong)
    return tuple(changes)


def revise_batch(
    book: Book, code: str, batch: Batch, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects a batch; none if it is as it was.

    Raises:
        NoSuchRecordError: There is no such batch.
        RecordError: What it would be does not keep the rules.
    """
    file = batch_in(book, code)
    _check_batch(batch, stamp)
    refuse(_earlier_faults(file, batch))
    if batch == file.batch:
        return ()
    return (change_of(book, file.code, batch, stamp),)


def _check_batch(batch: Batch, stamp: Stamp) -> None:
    check_batch(batch)
    trays = (batch.tray,) if batch.tray else ()
    refuse(
        (
            *unknown_faults("tray", "tray", trays, stamp.bench.trays),
            *future_faults("stuck_utc_ms", batch.stuck_utc_ms or 0, stamp),
        )
    )


def _code_faults(book: Book, code: str) -> Iterator[Fault]:
    if not code:
        return
    try:
        written = code_of(number_of(code))
    except CodeError as error:
        yield fault("code", code, str(error))
        return
    if (Kind.BATCH, written) in book.histories:
        yield fault("code", code, "another batch has this code already")


def _next_number(book: Book, labels: Iterable[str] = ()) -> int:
    """Return the number after the highest of any code, and of some labels."""
    taken = [history[0].subject for history in book.all_of(Kind.BATCH)]
    numbers = [number for code in (*taken, *labels) if (number := _number(code))]
    return max(numbers, default=0) + 1


def _number(code: str) -> int:
    try:
        return number_of(code)
    except CodeError:
        return 0


def _earlier_faults(file: BatchFile, batch: Batch) -> Iterator[Fault]:
    """Yield what happened before a batch would have been stuck."""
    told = _told_ms(file)
    told += [file.closing.utc_ms] if file.closing else []
    if not told:
        return
    stuck_ms = batch.stuck_utc_ms
    if stuck_ms is None:
        right = "was looked at, moved or closed already: it must have been stuck"
        yield fault("stuck_utc_ms", "nothing", right)
    elif stuck_ms > min(told):
        right = "must not lie after its first look, move or end"
        yield fault("stuck_utc_ms", stuck_ms, right)


def _told_ms(file: BatchFile) -> list[int]:
    """Return when something was told to have happened to a batch [ms]."""
    looks = [look.utc_ms for _, look in file.looks]
    return looks + [move.utc_ms for _, move in file.moves]


# ----------------------------------------------------------- looks, moves, the end


def add_look(book: Book, look: Look, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change by which a look comes into the book.

    Raises:
        NoSuchRecordError: There is no such batch.
        RecordError: It does not keep the rules.
    """
    check_look_at(batch_in(book, look.batch), look, stamp)
    return (change_of(book, str(book.newest + 1), look, stamp),)


def check_look_at(file: BatchFile, look: Look, stamp: Stamp) -> None:
    """Hold a look to its rules, and to what is known of its batch; raise RecordError.

    Args:
        file: The batch that it is of.
        look: The look.
        stamp: Who writes, and when.
    """
    check_look(look)
    refuse((*_dated_faults(file, look.utc_ms, stamp), *_counted_faults(file, look)))


def add_move(book: Book, move: Move, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change by which a move comes into the book; raise as add_look."""
    check_move(move)
    file = batch_in(book, move.batch)
    trays = (move.tray,) if move.tray else ()
    refuse(
        (
            *unknown_faults("tray", "tray", trays, stamp.bench.trays),
            *_dated_faults(file, move.utc_ms, stamp),
        )
    )
    return (change_of(book, str(book.newest + 1), move, stamp),)


def revise_look(
    book: Book, number: str, look: Look, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects a look; none if it is as it was.

    Raises:
        NoSuchRecordError: There is no such look.
        RecordError: What it would be does not keep the rules.
    """
    before = look_in(book, number)
    add_look(book, look, stamp)
    return () if look == before else (change_of(book, number, look, stamp),)


def revise_move(
    book: Book, number: str, move: Move, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects a move; raise as revise_look does."""
    before = move_in(book, number)
    add_move(book, move, stamp)
    return () if move == before else (change_of(book, number, move, stamp),)


def close(book: Book, closing: Closing, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change that ends a batch, or puts its end right.

    Raises:
        NoSuchRecordError: There is no such batch.
        RecordError: It does not keep the rules.
    """
    check_closing(closing)
    file = batch_in(book, closing.batch)
    refuse(_closing_faults(file, closing, stamp))
    if closing == file.closing:
        return ()
    return (change_of(book, file.code, closing, stamp),)


def _closing_faults(file: BatchFile, closing: Closing, stamp: Stamp) -> Iterator[Fault]:
    yield from future_faults("utc_ms", closing.utc_ms, stamp)
    stuck_ms, count = file.batch.stuck_utc_ms, file.batch.count
    if stuck_ms is not None and closing.utc_ms < stuck_ms:
        yield fault("utc_ms", closing.utc_ms, "must not lie before it was stuck")
    elif not closing.withdrawn and closing.utc_ms < max(_told_ms(file), default=0):
        right = "must not lie before its last look or move"
        yield fault("utc_ms", closing.utc_ms, right)
    if closing.withdrawn and file.closing is None:
        yield fault("withdrawn", "true", "the batch is open: there is no end to undo")
    if closing.rooted is not None and (count is None or closing.rooted > count):
        right = f"must not be more than were stuck, {count or 0}"
        yield fault("rooted", closing.rooted, right)


def _dated_faults(file: BatchFile, utc_ms: int, stamp: Stamp) -> Iterator[Fault]:
    """Yield what is wrong with when something happened to a batch."""
    yield from future_faults("utc_ms", utc_ms, stamp)
    if file.batch.withdrawn:
        yield fault("batch", file.code, "was told by mistake and counts no longer")
    stuck_ms = file.batch.stuck_utc_ms
    if stuck_ms is None:
        right = "is not stuck yet: tell when first, with stuck_at"
        yield fault("batch", file.code, right)
    elif utc_ms < stuck_ms:
        yield fault("utc_ms", utc_ms, "must not lie before it was stuck")
    if file.closing is not None and utc_ms > file.closing.utc_ms:
        yield fault("utc_ms", utc_ms, "must not lie after its end: it is closed")


def _counted_faults(file: BatchFile, look: Look) -> Iterator[Fault]:
    count = file.batch.count
    if count is not None and look.looked_at > count:
        right = f"must not be more than were stuck, {count}"
        yield fault("looked_at", look.looked_at, right)
