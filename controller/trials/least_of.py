"""The least of a function of a few numbers, without its slope.

The simplex search of Nelder and Mead 1965, The Computer Journal 7: 308-313, with its
usual coefficients 1, 2, 1/2, 1/2 (from memory), begun anew from what it found until
that changes nothing: kinks and bounds, told as infinity, do not stop it for good.
"""

import math
from collections.abc import Callable, Sequence

_NEAR = 1e-6
"""Chosen: corners of the last simplex lie no further apart."""

_Point = list[float]


def least(
    of: Callable[[Sequence[float]], float],
    start: Sequence[float],
    step: float,
    tolerance: float = 1e-10,
) -> list[float]:
    """Return where a function has its least value, near a start.

    Args:
        of: The function; infinite where it must not go.
        start: Where to begin.
        step: How far to look around at first, in every direction.
        tolerance: Done when the values differ by less than this part.
    """
    best, value = list(start), of(start)
    for _ in range(20):
        found = _descended(of, best, step, tolerance)
        again = of(found)
        gained = value - again
        if again <= value:
            best, value = found, again
        if not gained > tolerance * (abs(value) + tolerance):
            break
        step /= 2
    return best


def _descended(
    of: Callable[[Sequence[float]], float], start: _Point, step: float, tolerance: float
) -> _Point:
    corners = [list(start)]
    corners += [
        [x + step * (n == at) for n, x in enumerate(start)] for at in range(len(start))
    ]
    known = sorted(((of(corner), corner) for corner in corners), key=_value)
    for _ in range(400 * len(start)):
        if _flat(known, tolerance):
            break
        known = _moved(of, known)
    return known[0][1]


def _value(one: tuple[float, _Point]) -> float:
    return one[0]


def _flat(known: list[tuple[float, _Point]], tolerance: float) -> bool:
    low, high = known[0], known[-1]
    if math.isinf(high[0]):
        return False
    apart = max(abs(a - b) for a, b in zip(low[1], high[1], strict=True))
    return high[0] - low[0] <= tolerance * abs(low[0]) and apart < _NEAR


def _moved(
    of: Callable[[Sequence[float]], float], known: list[tuple[float, _Point]]
) -> list[tuple[float, _Point]]:
    """Return the simplex after one move of its worst corner."""
    *rest, worst = known
    middle = [
        math.fsum(corner[n] for _, corner in rest) / len(rest)
        for n in range(len(worst[1]))
    ]

    def along(factor: float) -> tuple[float, _Point]:
        point = [m + factor * (m - w) for m, w in zip(middle, worst[1], strict=True)]
        return of(point), point

    found = along(1.0)
    if found[0] < known[0][0]:
        found = min(found, along(2.0), key=_value)
    elif found[0] >= rest[-1][0]:
        found = min(worst, along(0.5), along(-0.5), key=_value)
        if found is worst:
            return _shrunk(of, known)
    return sorted([*rest, found], key=_value)


def _shrunk(
    of: Callable[[Sequence[float]], float], known: list[tuple[float, _Point]]
) -> list[tuple[float, _Point]]:
    best = known[0]
    halves = [
        [(a + b) / 2 for a, b in zip(best[1], corner, strict=True)]
        for _, corner in known[1:]
    ]
    return sorted([best, *((of(half), half) for half in halves)], key=_value)
