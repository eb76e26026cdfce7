"""Records kept in memory only: for a bench that keeps no season log, and tests."""

from collections.abc import Sequence

from controller.ports import MovedOnError, NotKeptError
from controller.records.changes import Change


class MemoryRecords:
    """Implements ports.RecordKeeper and RecordReader; gone with the process.

    Attributes:
        refuses: Why nothing is kept for now; empty: it is.
    """

    def __init__(self) -> None:
        self._kept: list[Change] = []
        self.refuses = ""

    async def keep(self, changes: Sequence[Change]) -> None:
        """Keep changes: see ports.RecordKeeper."""
        if self.refuses:
            raise NotKeptError(self.refuses)
        for number, change in enumerate(changes, len(self._kept) + 1):
            if change.id != number:
                message = f"change {change.id} does not follow change {number - 1}"
                raise MovedOnError(message)
        self._kept.extend(changes)

    def changes(self, after: int) -> Sequence[Change]:
        """Return the changes after one: see ports.RecordReader."""
        return self._kept[after:]
