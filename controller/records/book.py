"""The book: what is so now, folded from the changes, with all that was before.

Folding some changes and then some more gives the same book as folding all at
once; a change that does not follow is an error, never left out. What may live
here: the fold, and looking things up in it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from controller.records.changes import Change, Kind
from controller.records.events import BenchEvent

History = tuple[Change, ...]
"""All changes of one record, oldest first; the last one holds."""


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


def fold(book: Book, changes: Iterable[Change]) -> Book:
    """Return a book after some more changes.

    Raises:
        BookError: One of them does not follow.
    """
    newest = book.newest
    histories = dict(book.histories)
    for change in changes:
        key = (change.kind, change.subject)
        before = histories.get(key, ())
        if change.id != newest + 1:
            raise BookError(f"change {change.id} comes after change {newest}")
        if not before:
            _check_first(change)
        histories[key] = (*before, change)
        newest = change.id
    return Book(newest, histories)


def _check_first(change: Change) -> None:
    """Check that a record whose first change this is may begin so."""
    if change.subject != str(change.id):
        raise BookError(
            f"change {change.id} is about {change.kind} {change.subject},"
            " which is not there"
        )


def events(book: Book, *, withdrawn: bool = False) -> list[tuple[str, BenchEvent]]:
    """Return all events with their numbers, in order of when they happened.

    Args:
        book: The book.
        withdrawn: Whether those told by mistake are among them.
    """
    found = [
        (history[-1].subject, history[-1].value)
        for history in book.all_of(Kind.EVENT)
        if withdrawn or not history[-1].value.withdrawn
    ]
    return sorted(found, key=lambda told: (told[1].utc_ms, int(told[0])))
