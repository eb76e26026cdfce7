"""Many looks at once, as from a table: all of them are taken, or none.

A look that is told already, word for word, is not told again, so that a table may
come twice. What may live here: from looks and a book to changes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.records.batch_desk import RowsError, check_look_at
from controller.records.book import BatchFile, Book, batches
from controller.records.changes import Change
from controller.records.codes import CodeError, canonical
from controller.records.desk import Stamp
from controller.records.faults import RecordError, fault, refuse
from controller.records.looks import Look


@dataclass(frozen=True, slots=True)
class Row:
    """What became of one look of a table.

    Attributes:
        batch: The code of its batch.
        number: Its number.
        new: Whether it is new; False: the book had it already.
    """

    batch: str
    number: str
    new: bool


def add_looks(
    book: Book, looks: Sequence[Look], stamp: Stamp
) -> tuple[tuple[Change, ...], tuple[Row, ...]]:
    """Return the changes by which several looks come into the book, and their rows.

    Args:
        book: The book.
        looks: The looks; the code of a batch may be written carelessly.
        stamp: Who writes, and when.

    Raises:
        RowsError: Some do not keep the rules, or name a batch that is not there, or
            tell of the same moment otherwise than the book does.
    """
    table = _Table(book, stamp)
    wrong: list[tuple[int, RecordError]] = []
    for at, look in enumerate(looks):
        try:
            table.add(look)
        except RecordError as error:
            wrong.append((at, error))
    if wrong:
        raise RowsError(wrong)
    return tuple(table.changes), tuple(table.rows)


class _Table:
    """Looks as they are added; the book is gone through once, not for each."""

    def __init__(self, book: Book, stamp: Stamp) -> None:
        self.changes: list[Change] = []
        self.rows: list[Row] = []
        self._newest, self._stamp = book.newest, stamp
        self._files = {file.code: file for file in batches(book, withdrawn=True)}
        self._known = {
            (code, look.utc_ms): (number, look)
            for code, file in self._files.items()
            for number, look in file.looks
        }

    def add(self, look: Look) -> None:
        """Add one; raise RecordError, and nothing is added."""
        file = self._file(look.batch)
        look = replace(look, batch=file.code)
        known = self._known.get((file.code, look.utc_ms))
        if known is None:
            self._write(file, look)
            return
        number, before = known
        if before != look:
            right = (
                f"look {number} at batch {file.code} has this very time, and tells"
                " otherwise: put that one right"
            )
            refuse([fault("utc_ms", look.utc_ms, right)])
        self.rows.append(Row(file.code, number, new=False))

    def _file(self, code: str) -> BatchFile:
        try:
            return self._files[canonical(code)]
        except CodeError as error:
            raise RecordError([fault("batch", code, str(error))]) from None
        except KeyError:
            raise RecordError(
                [fault("batch", code, "there is no such batch")]
            ) from None

    def _write(self, file: BatchFile, look: Look) -> None:
        check_look_at(file, look, self._stamp)
        number = self._newest + len(self.changes) + 1
        stamp = self._stamp
        self.changes.append(Change(number, stamp.utc_ms, stamp.who, str(number), look))
        self.rows.append(Row(file.code, str(number), new=True))
        self._known[file.code, look.utc_ms] = str(number), look
