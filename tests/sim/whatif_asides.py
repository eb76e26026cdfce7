"""Functions that stand aside: another process must find them by their names."""

from typing import NamedTuple

import numpy as np

from sim.whatif import jit


class Heap(NamedTuple):
    """Numbers of both widths."""

    wide: np.ndarray
    half: np.ndarray


@jit.inlined
def doubled(value: float) -> float:
    """Return twice a value."""
    return 2.0 * value


@jit.aside
def added(heap: Heap, row: int, doubles: bool) -> float:
    """Add a row's numbers up, and mark it."""
    total = 0.0
    for at in range(heap.wide.shape[1]):
        total += doubled(heap.wide[row, at]) if doubles else heap.wide[row, at]
    heap.half[row] = np.float32(total)
    return total


@jit.aside
def places(heap: Heap, more: float) -> int:
    """Count the rows that were marked with more than this."""
    found = 0
    for one in range(len(heap.half)):
        if float(heap.half[one]) > more:
            found += 1
    return found


@jit.aside
def cleared(heap: Heap, row: int) -> None:
    """Clear a row of three, which there must be."""
    nothing = (0.0, 0.0, 0.0)[row]
    for at in range(heap.wide.shape[1]):
        heap.wide[row, at] = nothing


def worked(heap: Heap, doubles: bool, clears: int, found: np.ndarray) -> None:
    """Add all rows up, and clear one."""
    for row in range(heap.wide.shape[0]):
        found[row] = added(heap, row, doubles) + 0.5
    found[-1] = places(heap, 10.0)
    cleared(heap, clears)
    found[-2] = 1.0


def asides(heap: Heap, doubles: bool, clears: int, _: np.ndarray) -> list:
    """Return them all."""
    return [
        (added, (heap, 0, doubles)),
        (places, (heap, 0.0)),
        (cleared, (heap, clears)),
    ]


def some(heap: Heap, doubles: bool, clears: int, found: np.ndarray) -> list:
    """Return all but one."""
    return asides(heap, doubles, clears, found)[1:]
