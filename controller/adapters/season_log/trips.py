"""Latched trips in a small file beside the season log.

A damaged log that is set aside must not unlock a mat that tripped. What may
live here: that file, whole or not at all.
"""

import os
from collections.abc import Mapping
from pathlib import Path

from controller.adapters.season_log.files import sync_directory
from controller.core.state import Trip
from controller.wire import decode_trips, encode_trips, from_text, to_text


def trips_beside(log: Path) -> Path:
    """Return where the trips of a bench are kept whose season log is there."""
    return log.with_name(f"{log.stem}.trips.json")


class TripFile:
    """Implements ports.TripStore."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def load(self) -> Mapping[str, Trip]:
        """Return the trips by mat; none where there is no file.

        Raises:
            ValueError: The file is damaged; the message names it.
            OSError: It cannot be read.
        """
        try:
            return decode_trips(from_text(self._path.read_bytes()))
        except FileNotFoundError:
            return {}
        except IsADirectoryError:
            raise ValueError(f"{self._path} is a directory, not a file") from None
        except ValueError as error:
            raise ValueError(
                f"{self._path} is damaged: {error}. It tells which mats are locked"
                " off, so that none is heated now: look at every mat, its trays and"
                " its cable; when all is well, rename this file and start again"
            ) from error

    def save(self, trips: Mapping[str, Trip]) -> None:
        """Replace the file: after a power cut it is the old one or the new one.

        Raises:
            OSError: The disk does not take it; the old file stands.
        """
        building = self._path.with_name(self._path.name + ".new")
        with building.open("w", encoding="utf-8") as file:
            file.write(to_text(encode_trips(trips)) + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(building, self._path)  # noqa: PTH105
        sync_directory(self._path.parent)
