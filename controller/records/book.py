"""The book: what is so now, folded from the changes, with all that was before.

Folding some changes and then some more gives the same book as folding all at
once; a change that does not follow is an error, never left out. What may live
here: the fold, and looking things up in it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

from controller.records.batches import Batch
from controller.records.changes import Change, Kind, Value
from controller.records.codes import CodeError, canonical
from controller.records.events import BenchEvent
from controller.records.looks import Look
from controller.records.places import Closing, Move, Stay, stays
from controller.records.stages import Stage
from controller.records.trials import Trial

History = tuple[Change, ...]
"""All changes of one record, oldest first; the last one holds."""

T = TypeVar("T", BenchEvent, Batch, Look, Move, Closing, Stage, Trial)


class BookError(ValueError):
    """A change does not follow from those before it."""


class NoSuchRecordError(LookupError):
    """There is no such record; the message says which was asked for."""


@dataclass(frozen=True, slots=True)
class Book:
    """Everything that is recorded.

    Attributes:
        newest: Number of the last change; 0: there is none.
        histories: The changes of each record, by kind and subject.
    """

    newest: int = 0
    histories: Mapping[tuple[Kind, str], History] = field(default_factory=dict)

    def history(self, kind: Kind, subject: str) -> History:
        """Return the changes of a record, oldest first.

        Raises:
            NoSuchRecordError: There is none.
        """
        found = self.histories.get((kind, subject))
        if found is None:
            raise NoSuchRecordError(f"there is no {kind} {subject}")
        return found

    def all_of(self, kind: Kind) -> Iterator[History]:
        """Yield the changes of every record of a kind, in order of their first."""
        for (found, _), history in self.histories.items():
            if found is kind:
                yield history


@dataclass(frozen=True, slots=True)
class BatchFile:
    """All that is known of one batch now.

    Attributes:
        code: Its label code.
        batch: What it is.
        history: What was told of it, change by change.
        looks: Looks by their numbers, in order of time, without withdrawn ones.
        moves: The same for moves.
        closing: How it ended; None: it is open.
        stages: What became of its plants, as looks and moves are told.
    """

    code: str
    batch: Batch
    history: History
    looks: tuple[tuple[str, Look], ...]
    moves: tuple[tuple[str, Move], ...]
    closing: Closing | None
    stages: tuple[tuple[str, Stage], ...] = ()

    @property
    def stays(self) -> tuple[Stay, ...]:
        """Where it stood, from when it was stuck."""
        moves = sorted(self.moves, key=lambda told: int(told[0]))
        return stays(self.batch, (move for _, move in moves), self.closing)


def fold(book: Book, changes: Iterable[Change]) -> Book:
    """Return a book after some more changes.

    Raises:
        BookError: One of them does not follow.
    """
    newest = book.newest
    histories = dict(book.histories)
    for change in changes:
        key = (change.kind, change.subject)
        if change.id != newest + 1:
            raise BookError(f"change {change.id} comes after change {newest}")
        before = histories.get(key, ())
        _check(change, before, histories)
        histories[key] = (*before, change)
        newest = change.id
    return Book(newest, histories)


def _check(
    change: Change, before: History, known: Mapping[tuple[Kind, str], History]
) -> None:
    """Check that a change is of something that is there, or may begin."""
    value, subject = change.value, change.subject
    about = f"change {change.id} is about {change.kind} {subject}"
    if isinstance(value, Batch):
        if not _is_code(subject):
            raise BookError(f"{about}, which is no label code")
    elif isinstance(value, Closing):
        if subject != value.batch:
            raise BookError(f"{about}, and tells of batch {value.batch}")
    elif not before and subject != str(change.id):
        raise BookError(f"{about}, which is not there")
    _check_batch(about, value, before, known)


def _check_batch(
    about: str,
    value: Value,
    before: History,
    known: Mapping[tuple[Kind, str], History],
) -> None:
    """Check that what tells of a batch tells of one that is there, and the same."""
    batch = _batch_of(value)
    if batch and (Kind.BATCH, batch) not in known:
        raise BookError(f"{about}, of batch {batch}, which is not there")
    if before and _batch_of(before[-1].value) != batch:
        raise BookError(f"{about}, which is of another batch")


def _is_code(text: str) -> bool:
    try:
        return canonical(text) == text
    except CodeError:
        return False


def _batch_of(value: Value) -> str:
    return "" if isinstance(value, BenchEvent | Batch | Trial) else value.batch


def _values(book: Book, kind: Kind, shape: type[T]) -> Iterator[tuple[str, T]]:
    """Yield the present value of every record of a kind, with its subject."""
    for history in book.all_of(kind):
        value = history[-1].value
        if isinstance(value, shape):
            yield history[-1].subject, value


def _value_in(book: Book, kind: Kind, subject: str, shape: type[T]) -> T:
    value = book.history(kind, subject)[-1].value
    if not isinstance(value, shape):
        raise BookError(f"{kind.value} {subject} is {value!r}")
    return value


def event_in(book: Book, number: str) -> BenchEvent:
    """Return an event as it is now; raise NoSuchRecordError if there is none."""
    return _value_in(book, Kind.EVENT, number, BenchEvent)


def check_owner(book: Book, code: str, owner: str) -> None:
    """Raise NoSuchRecordError unless a record's owner is the batch of a code."""
    if batch_in(book, code).code != owner:
        raise NoSuchRecordError(f"this is of batch {owner}, not of {code}")


def look_in(book: Book, number: str) -> Look:
    """Return a look as it is now; raise NoSuchRecordError if there is none."""
    return _value_in(book, Kind.LOOK, number, Look)


def move_in(book: Book, number: str) -> Move:
    """Return a move as it is now; raise NoSuchRecordError if there is none."""
    return _value_in(book, Kind.MOVE, number, Move)


def stage_in(book: Book, number: str) -> Stage:
    """Return a stage as it is now; raise NoSuchRecordError if there is none."""
    return _value_in(book, Kind.STAGE, number, Stage)


def trial_in(book: Book, number: str) -> Trial:
    """Return a trial as it is now; raise NoSuchRecordError if there is none."""
    return _value_in(book, Kind.TRIAL, number, Trial)


def trials(book: Book, *, withdrawn: bool = False) -> list[tuple[str, Trial]]:
    """Return all trials with their numbers, in the order in which they were told.

    Args:
        book: The book.
        withdrawn: Whether those told by mistake are among them.
    """
    found = _values(book, Kind.TRIAL, Trial)
    return [one for one in found if withdrawn or not one[1].withdrawn]


def events(book: Book, *, withdrawn: bool = False) -> list[tuple[str, BenchEvent]]:
    """Return all events with their numbers, in order of when they happened.

    Args:
        book: The book.
        withdrawn: Whether those told by mistake are among them.
    """
    found = [
        (number, event)
        for number, event in _values(book, Kind.EVENT, BenchEvent)
        if withdrawn or not event.withdrawn
    ]
    return sorted(found, key=lambda told: (told[1].utc_ms, int(told[0])))


def batches(book: Book, *, withdrawn: bool = False) -> list[BatchFile]:
    """Return all batches, in the order in which they were told.

    Args:
        book: The book.
        withdrawn: Whether those told by mistake are among them.
    """
    told = _told(book)
    return [
        _file(book, code, told)
        for code, batch in _values(book, Kind.BATCH, Batch)
        if withdrawn or not batch.withdrawn
    ]


def changes_of(book: Book, code: str) -> list[Change]:
    """Return every change that tells of a batch, in the order of writing."""
    found = [
        change
        for (kind, subject), history in book.histories.items()
        for change in history
        if _batch_of(change.value) == code or (kind, subject) == (Kind.BATCH, code)
    ]
    return sorted(found, key=lambda change: change.id)


def batch_in(book: Book, code: str) -> BatchFile:
    """Return a batch by its label code, which may be written carelessly.

    Raises:
        NoSuchRecordError: There is none, or the code is none.
    """
    try:
        written = canonical(code)
    except CodeError as error:
        raise NoSuchRecordError(f"there is no batch {code[:40]!r}: {error}") from None
    return _file(book, written, _told(book))


class _Told(NamedTuple):
    """What was told of all batches, gone through once."""

    looks: list[tuple[str, Look]]
    moves: list[tuple[str, Move]]
    stages: list[tuple[str, Stage]]


def _told(book: Book) -> _Told:
    return _Told(
        list(_values(book, Kind.LOOK, Look)),
        list(_values(book, Kind.MOVE, Move)),
        list(_values(book, Kind.STAGE, Stage)),
    )


def _file(book: Book, code: str, told: _Told) -> BatchFile:
    history = book.history(Kind.BATCH, code)
    batch = history[-1].value
    if not isinstance(batch, Batch):
        raise BookError(f"batch {code} is {batch!r}")
    closed = book.histories.get((Kind.CLOSING, code))
    closing = closed[-1].value if closed else None
    return BatchFile(
        code,
        batch,
        history,
        _own(told.looks, code),
        _own(told.moves, code),
        closing if isinstance(closing, Closing) and not closing.withdrawn else None,
        _own(told.stages, code),
    )


_Dated = TypeVar("_Dated", Look, Move, Stage)


def _own(told: list[tuple[str, _Dated]], code: str) -> tuple[tuple[str, _Dated], ...]:
    own = [one for one in told if one[1].batch == code and not one[1].withdrawn]
    return tuple(sorted(own, key=lambda one: (one[1].utc_ms, int(one[0]))))
