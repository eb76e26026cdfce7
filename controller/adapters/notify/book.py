"""The book of messages: a small file beside the season log.

It says what was told, what waits and what is on its way. What may live here:
that file, whole or not at all.
"""

import os
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from controller.adapters.notify.memory import Book
from controller.adapters.season_log.files import sync_directory

_BOOK = TypeAdapter(Book)

_LARGEST = 5_000_000
"""Chosen: a full book of long messages takes a tenth of it [bytes]."""


def book_beside(log: Path) -> Path:
    """Return where the book of a bench is kept whose season log is there."""
    return log.with_name(f"{log.stem}.notices.json")


class BookFile:
    """The book on disk.

    Args:
        path: Where it is kept.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def load(self) -> tuple[Book, str | None]:
        """Return the book, and what a person should know of reading it.

        A damaged one is set aside and an empty one taken: the alarms that
        stand are told again then. Nothing here keeps a bench from starting.
        """
        try:
            with self._path.open("rb") as file:
                content = file.read(_LARGEST + 1)
        except FileNotFoundError:
            return Book(), None
        except OSError as error:
            return Book(), f"{self._path}: cannot be read: {error.strerror}"
        try:
            return _BOOK.validate_json(content[:_LARGEST]), None
        except ValidationError as error:
            what = error.errors(include_url=False, include_input=False)[0]["msg"]
            return Book(), f"{self._path} is damaged: {what}; {self._set_aside()}"

    def _set_aside(self) -> str:
        aside = self._path.with_name(f"{self._path.name}.damaged")
        try:
            os.replace(self._path, aside)  # noqa: PTH105
        except OSError as error:
            return f"it could not be set aside: {error.strerror}"
        return f"it was set aside as {aside.name}, and messages in it are lost"

    def save(self, book: Book) -> None:
        """Replace the file: after a power cut it is the old one or the new one.

        Raises:
            OSError: The disk does not take it; the old file stands.
        """
        building = self._path.with_name(self._path.name + ".new")
        with building.open("wb") as file:
            file.write(_BOOK.dump_json(book) + b"\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(building, self._path)  # noqa: PTH105
        sync_directory(self._path.parent)
