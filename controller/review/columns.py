"""Rows that are kept as columns of whole numbers.

A season is some ten thousand rows: as objects of their own they would take five
times as much room. What may live here: that way of keeping them.
"""

from array import array
from collections.abc import Callable, Iterator, Sequence
from itertools import compress
from typing import TypeAlias, TypeVar, overload

from typing_extensions import override

T = TypeVar("T")

Column: TypeAlias = "array[int]"

_Slice: TypeAlias = "slice[int | None, int | None, int | None]"


class Rows(Sequence[T]):
    """Rows, each made anew whenever it is looked at.

    Args:
        make: Makes a row of its cells.
        columns: Of equal length.
    """

    def __init__(
        self, make: Callable[[Sequence[int]], T], columns: Sequence[Column]
    ) -> None:
        self._make, self._columns = make, columns

    @override
    def __len__(self) -> int:
        return len(self._columns[0])

    @overload
    def __getitem__(self, at: int) -> T: ...
    @overload
    def __getitem__(self, at: "_Slice") -> Sequence[T]: ...

    @override
    def __getitem__(self, at: "int | _Slice") -> T | Sequence[T]:
        if isinstance(at, slice):
            return [self[n] for n in range(*at.indices(len(self)))]
        return self._make([column[at] for column in self._columns])

    @override
    def __iter__(self) -> Iterator[T]:
        return map(self._make, zip(*self._columns, strict=True))

    @override
    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Rows):
            return NotImplemented
        return bool(self._columns == other._columns)

    @override
    def __hash__(self) -> int:
        return hash(tuple(column.tobytes() for column in self._columns))


def empty(columns: int, rows: int) -> tuple[Column, ...]:
    """Return columns that hold nothing but 0."""
    return tuple(array("q", bytes(8 * rows)) for _ in range(columns))


def filled(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return the rows of which the first cell is not 0."""
    return tuple(array("q", compress(cells, columns[0])) for cells in columns)
