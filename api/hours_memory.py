"""Thermal time that was counted already.

What may live here: that memory.
"""

from collections import OrderedDict
from threading import Lock

from controller.ports import SeasonReader
from controller.review.batch_hours import Hours, Piece, count_piece

REMEMBERED = 500
"""Chosen: pieces; two for each stay of a batch."""


class HoursMemory:
    """What was counted already; the oldest is forgotten. For several threads."""

    def __init__(self) -> None:
        self._turn = Lock()
        self._known: OrderedDict[Piece, Hours] = OrderedDict()

    def hours(self, log: SeasonReader, piece: Piece) -> Hours:
        """Return the thermal time of a piece, counted from the log if need be.

        Raises:
            ValueError: The log's clock is out of all bounds.
        """
        found = self._known.get(piece)
        if found is None:
            found = count_piece(log, piece)
            with self._turn:
                self._known[piece] = found
                while len(self._known) > REMEMBERED:
                    self._known.popitem(last=False)
        return found
