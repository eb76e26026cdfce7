"""The book of records as the API keeps it: read once, then brought up to date.

Whoever writes goes one after the other, and each decides on the book as it is;
what somebody else wrote meanwhile is read, and decided anew. What may live here:
reading in threads, deciding in turn, waiting for the disk.
"""

import asyncio
import logging
from collections.abc import Callable, Sequence

import anyio.to_thread
from anyio import CapacityLimiter

from api.problems import ProblemError, quoted
from api.record_values import refused
from controller.ports import (
    MovedOnError,
    NotKeptError,
    Photos,
    RecordKeeper,
    RecordReader,
)
from controller.records.book import Book, NoSuchRecordError, fold
from controller.records.changes import Change
from controller.records.faults import RecordError

Decide = Callable[[Book], Sequence[Change]]

_TRIES = 3
_logger = logging.getLogger("bottomheat.api")


class Records:
    """What people saw and did, kept somewhere.

    Attributes:
        photos: Keeps photos; None: none are kept.
    """

    def __init__(
        self,
        keeper: RecordKeeper | None,
        reader: Callable[[], RecordReader] | None,
        photos: Photos | None = None,
    ) -> None:
        """Look at nothing yet.

        Args:
            keeper: Writes; None: nothing can be written.
            reader: Opens what is kept, called in a thread; None: there is none.
            photos: Keeps photos; None: none are kept.
        """
        self.photos = photos
        self._keeper, self._reader = keeper, reader
        self._book = Book()
        self._turn = asyncio.Lock()
        self._limiter = CapacityLimiter(1)

    async def book(self) -> Book:
        """Return the book as it is now.

        Raises:
            ProblemError: It cannot be read.
        """
        reader = self._reader
        if reader is None:
            raise ProblemError(503, "this bench keeps no season log to read")
        try:
            self._book = await anyio.to_thread.run_sync(
                lambda: _folded(self._book, reader()), limiter=self._limiter
            )
        except Exception as error:
            _logger.warning("the records cannot be read: %s", error)
            raise ProblemError(
                503, "the records cannot be read just now", headers={"Retry-After": "5"}
            ) from error
        return self._book

    async def write(self, decide: Decide) -> tuple[Book, Sequence[Change]]:
        """Decide on the book as it is, write, and return the book afterwards.

        Args:
            decide: From the book to changes; no changes are none to be written.

        Raises:
            ProblemError: It was refused, or could not be written.
        """
        if self._keeper is None:
            raise ProblemError(503, "this bench keeps no season log to write")
        async with self._turn:
            for _ in range(_TRIES):
                book = await self.book()
                changes = _decided(decide, book)
                if not changes:
                    return book, ()
                try:
                    await self._keeper.keep(changes)
                except MovedOnError:
                    continue
                except NotKeptError as error:
                    raise _not_kept(error) from None
                self._book = fold(book, changes)
                return self._book, changes
        raise ProblemError(
            409, "somebody else writes at the same time; look again, and try again"
        )


def _folded(book: Book, reader: RecordReader) -> Book:
    changes = reader.changes(book.newest)
    return fold(book, changes) if changes else book


def _decided(decide: Decide, book: Book) -> Sequence[Change]:
    try:
        return decide(book)
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None
    except RecordError as error:
        raise refused(error) from None


def _not_kept(error: NotKeptError) -> ProblemError:
    words = (
        f"nothing was written: {error}"
        if error.certain
        else f"{error}: whether it was written will be seen; look before you say it"
        " again"
    )
    return ProblemError(503, words, headers={"Retry-After": "5"})
