"""Work over many items in this very process, one after the other."""

from collections.abc import Callable, Sequence

from controller.adapters.fleet.mapping import (
    Came,
    Guarded,
    Item,
    Lost,
    Result,
    nobody,
)


class Here:
    """Does it here; nobody stands in if this process is killed."""

    def map(
        self,
        function: Callable[[Item], Result],
        items: Sequence[Item],
        came: Came[Result] = nobody,
    ) -> list[Result | Lost]:
        """Return the results in the order of the items, as Mapper has it."""
        guarded = Guarded(function)
        results = []
        for number, item in enumerate(items):
            result = guarded(item)
            results.append(result)
            came(number, result)
        return results
