"""Where things stand on the table, and how large they are: to draw the bench by.

Values only. The core never sees them, and no run is told of them: two benches
that stand differently decide alike.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple


class Millimetres(NamedTuple):
    """Two lengths on the table [mm]: left to right, and near to far."""

    across: int
    back: int


@dataclass(frozen=True, slots=True)
class Stand:
    """Where one thing stands, seen from the near side of the table.

    Attributes:
        at_mm: Its left and near edge, from the left and near edge of the
            table [mm].
        size_mm: Its size [mm].
    """

    at_mm: Millimetres
    size_mm: Millimetres

    def overlaps(self, other: "Stand") -> bool:
        """Return whether the two cover some of the same table."""
        return all(
            mine < theirs + their_size and theirs < mine + my_size
            for mine, my_size, theirs, their_size in zip(
                self.at_mm, self.size_mm, other.at_mm, other.size_mm, strict=True
            )
        )


@dataclass(frozen=True, slots=True)
class Tabletop:
    """The places that were told, by name; what is missing was not told.

    Attributes:
        mats: Heat mats.
        trays: Trays.
    """

    mats: Mapping[str, Stand] = field(default_factory=dict)
    trays: Mapping[str, Stand] = field(default_factory=dict)
