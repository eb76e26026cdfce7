"""What every way of doing work over many items promises.

What may live here: the promise, and what its implementations share.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeAlias, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

TWICE = 2
"""Workers that an item may kill before it is given up. Chosen: the first may
have died of something else, the second would be a strange chance."""


@dataclass(frozen=True, slots=True)
class Lost:
    """Instead of a result: there is none.

    Attributes:
        why: In words, such as what was raised.
    """

    why: str


Came: TypeAlias = Callable[[int, Result | Lost], None]
"""Told the number of an item and its result, in the order in which they come."""


def nobody(_number: int, _result: object) -> None:
    """Tell nobody."""


class SchedulerError(Exception):
    """A scheduler cannot be reached, or went away; the message says which."""


class Mapper(Protocol):
    """Does the same work over many items."""

    def map(
        self,
        function: Callable[[Item], Result],
        items: Sequence[Item],
        came: Came[Result] = nobody,
    ) -> list[Result | Lost]:
        """Return the result of each item, in the order of the items.

        Args:
            function: What is done. It, its items and its results may have to
                travel: it stands at the top of a module (or is an object of
                such a class), and they are small.
            items: What it is done to.
            came: Told of each result as it comes, on the caller's thread. What
                it raises ends the work.

        An item of which the function raises, or that kills two workers, is
        Lost; the others go on.
        """
        ...


@dataclass(frozen=True, slots=True)
class Guarded(Generic[Item, Result]):
    """A function that raises nothing: what it raised becomes a word about it.

    Exceptions do not travel well: some cannot be unpickled, and then they
    would look like a worker's death.

    Attributes:
        function: What is done.
    """

    function: Callable[[Item], Result]

    def __call__(self, item: Item) -> Result | Lost:
        """Do it to one item."""
        try:
            return self.function(item)
        except Exception as error:  # noqa: BLE001 (one item's bug is not the others')
            return failed(error)


def failed(error: Exception) -> Lost:
    """Return what is told of an item at which something was raised."""
    return Lost(f"{type(error).__name__}: {error}")


def given_up() -> Lost:
    """Return what is told of an item that kills its workers."""
    return Lost(
        f"{TWICE} workers that had it in hand were killed: is there too little memory"
        " for it?"
    )
