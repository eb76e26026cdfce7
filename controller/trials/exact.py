"""Two shares compared exactly: Fisher, Boschloo, Barnard, each cutting for itself.

Fisher's test asks given how many rooted in both together. Boschloo's takes his p for
a mere measure of how far apart the shares are, and asks how often one as small comes
about at the worst common share; it is never less powerful (Boschloo 1970, Statistica
Neerlandica 24: 1-9). Barnard's takes the pooled z for that measure (Barnard 1945).
What may live here: these tests, which counts they reject, and how often.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import accumulate

from controller.trials.proportions import check_counts
from controller.trials.special import (
    binomials,
    highest,
    ln_choose,
    normal_quantile,
)


class Sided(StrEnum):
    """Against what: the first share is another, is less, is greater."""

    TWO = "two-sided"
    LESS = "less"
    GREATER = "greater"


_GRID = 256
_PEAKS = 4
_SAME = 1 + 1e-10
"""Measures that differ by less are ties."""

_Rows = list[list[tuple[int, int]]]
"""For each count in the first group, stretches of counts in the second."""


@dataclass(frozen=True, slots=True)
class _Sizes:
    first: int
    second: int

    def cells(self) -> Iterator[tuple[int, int]]:
        for x in range(self.first + 1):
            for y in range(self.second + 1):
                yield x, y


# -------------------------------------------------------------------------- Fisher


@lru_cache(maxsize=4_096)
def _given(total: int, first: int, second: int) -> tuple[int, tuple[float, ...]]:
    """Return the chances of the first count given the sum, and the least one."""
    least, most = max(0, total - second), min(first, total)
    whole = ln_choose(first + second, total)
    chances = tuple(
        math.exp(ln_choose(first, x) + ln_choose(second, total - x) - whole)
        for x in range(least, most + 1)
    )
    return least, chances


def fisher(x: int, n: int, y: int, m: int, sided: Sided = Sided.TWO) -> float:
    """Return the p of Fisher's exact test of x of n against y of m.

    Two-sided, all counts count that are no likelier (as in R and in scipy).

    Raises:
        ValueError: The counts are none.
    """
    check_counts(x, n)
    check_counts(y, m)
    least, chances = _given(x + y, n, m)
    at = x - least
    if sided is Sided.TWO:
        p = sum(chance for chance in chances if chance <= chances[at] * (1 + 1e-7))
        return min(1.0, p)
    up, down = _sums(x + y, n, m)
    return min(1.0, up[at] if sided is Sided.LESS else down[at])


@lru_cache(maxsize=4_096)
def _sums(
    total: int, first: int, second: int
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the chances of at most each first count, and of at least each."""
    _, chances = _given(total, first, second)
    down = tuple(accumulate(reversed(chances)))[::-1]
    return tuple(accumulate(chances)), down


# ---------------------------------------------------- how often, at the worst share


def _rows(sizes: _Sizes, inside: Callable[[int, int], bool]) -> _Rows:
    rows: _Rows = []
    for x in range(sizes.first + 1):
        stretches: list[tuple[int, int]] = []
        start: int | None = None
        for y in range(sizes.second + 2):
            within = y <= sizes.second and inside(x, y)
            if within and start is None:
                start = y
            elif not within and start is not None:
                stretches.append((start, y))
                start = None
        rows.append(stretches)
    return rows


def _chance(rows: _Rows, sizes: _Sizes, share: float, other: float) -> float:
    """Return how often counts fall into some rows, at given shares."""
    below = [0.0]
    for chance in binomials(sizes.second, other):
        below.append(below[-1] + chance)
    total = 0.0
    for chance, stretches in zip(binomials(sizes.first, share), rows, strict=True):
        for start, end in stretches:
            total += chance * (below[end] - below[start])
    return total


def _worst(rows: _Rows, sizes: _Sizes) -> float:
    """Return how often counts fall into some rows at the worst common share.

    A grid that is dense towards 0 and 1, then the highest places more closely.
    """

    def chance(angle: float) -> float:
        share = math.sin(angle) ** 2
        return _chance(rows, sizes, share, share)

    step = math.pi / 2 / _GRID
    heights = [(chance(step * n), n) for n in range(_GRID + 1)]
    best = max(heights)[0]
    for _, n in sorted(heights, reverse=True)[:_PEAKS]:
        low, high = step * max(0, n - 1), step * min(_GRID, n + 1)
        best = max(best, highest(chance, low, high)[1])
    return min(1.0, best)


# ------------------------------------------------------------ Boschloo and Barnard


@lru_cache(maxsize=4_096)
def boschloo(x: int, n: int, y: int, m: int, sided: Sided = Sided.TWO) -> float:
    """Return the p of Boschloo's exact test of x of n against y of m.

    Two-sided it is twice the smaller of the one-sided ones, at most 1 (as in scipy).

    Raises:
        ValueError: The counts are none.
    """
    check_counts(x, n)
    check_counts(y, m)
    if sided is Sided.TWO:
        smaller = min(boschloo(x, n, y, m, one) for one in (Sided.LESS, Sided.GREATER))
        return min(1.0, 2 * smaller)
    sizes = _Sizes(n, m)
    seen = fisher(x, n, y, m, sided) * _SAME
    return _worst(_rows(sizes, lambda a, b: fisher(a, n, b, m, sided) <= seen), sizes)


_TURNS: Mapping[Sided, Callable[[float], float]] = {
    Sided.TWO: abs,
    Sided.LESS: lambda z: -z,
    Sided.GREATER: lambda z: z,
}


def barnard(x: int, n: int, y: int, m: int, sided: Sided = Sided.TWO) -> float:
    """Return the p of Barnard's exact test with the pooled z; raise as boschloo."""
    check_counts(x, n)
    check_counts(y, m)
    turn = _TURNS[sided]
    seen = turn(_pooled(x, n, y, m)) - 1e-10
    sizes = _Sizes(n, m)
    rows = _rows(sizes, lambda a, b: turn(_pooled(a, n, b, m)) >= seen)
    return _worst(rows, sizes)


def _pooled(x: int, n: int, y: int, m: int) -> float:
    share = (x + y) / (n + m)
    spread = math.sqrt(share * (1 - share) * (1 / n + 1 / m))
    return (x / n - y / m) / spread if spread else 0.0


# -------------------------------------------------------------------------- power


def _region(n: int, m: int, sided: Sided, alpha: float) -> _Rows:
    """Return the counts that Boschloo's one-sided test rejects at a level."""
    sizes = _Sizes(n, m)
    measures = {cell: fisher(cell[0], n, cell[1], m, sided) for cell in sizes.cells()}
    levels = sorted(set(measures.values()))

    def rows(level: float) -> _Rows:
        return _rows(sizes, lambda x, y: measures[x, y] <= level * _SAME)

    low, high = 0, len(levels)  # levels before low are known to be rejected
    while low < high:
        middle = (low + high) // 2
        if _worst(rows(levels[middle]), sizes) <= alpha:
            low = middle + 1
        else:
            high = middle
    return rows(levels[low - 1]) if low else [[] for _ in range(n + 1)]


def power_boschloo(
    share: float, n: int, other: float, m: int, alpha: float = 0.05
) -> float:
    """Return how often Boschloo's two-sided test finds shares to differ.

    Args:
        share: The true share of the first group.
        n: How many are in it.
        other: The true share of the second.
        m: How many are in that.
        alpha: At which p it is said that they do.
    """
    sizes = _Sizes(n, m)
    sides = (Sided.LESS, Sided.GREATER)
    regions = [_region(n, m, side, alpha / 2) for side in sides]
    return sum(_chance(region, sizes, share, other) for region in regions)


def power_fisher(
    share: float, n: int, other: float, m: int, alpha: float = 0.05
) -> float:
    """Return how often Fisher's two-sided test finds shares to differ."""
    first, second = binomials(n, share), binomials(m, other)
    return sum(
        first[x] * second[total - x]
        for total in range(n + m + 1)
        for x in _rejected(total, n, m, alpha)
    )


def _rejected(total: int, n: int, m: int, alpha: float) -> Iterator[int]:
    """Yield the first counts that Fisher's two-sided test rejects, given the sum."""
    least, chances = _given(total, n, m)
    ordered = sorted(chances)
    below = list(accumulate(ordered))
    for x, chance in enumerate(chances, least):
        if below[bisect_right(ordered, chance * (1 + 1e-7)) - 1] <= alpha:
            yield x


def smallest_boschloo(n: int, m: int) -> float:
    """Return the smallest p that Boschloo's two-sided test of n and m can give.

    That of all against none: no other counts are as extreme, and they are likeliest
    where the common share is that of all together.
    """
    whole = n + m
    return min(1.0, 2 * (n / whole) ** n * (m / whole) ** m)


# -------------------------------------------------------------------- sample sizes


def needed_fisher(
    share: float, other: float, *, alpha: float = 0.05, power: float = 0.8
) -> int | None:
    """Return the first n in each of two groups for which Fisher's test will do.

    None: more than 2,000 are needed, or the shares are the same.
    """
    start = _arcsine(share, other, alpha, power)
    if start is None or start > _MOST_NEEDED:
        return None
    # The arcsine rule is known to say too few, by up to a third for small groups.
    for n in range(max(2, int(start * 0.9)), int(start * 2) + 20):
        if power_fisher(share, n, other, n, alpha) >= power:
            return n
    return None


_MOST_NEEDED = 2_000


def _arcsine(share: float, other: float, alpha: float, power: float) -> float | None:
    apart = 2 * (math.asin(math.sqrt(share)) - math.asin(math.sqrt(other)))
    if apart == 0:
        return None
    z = normal_quantile(1 - alpha / 2) + normal_quantile(power)
    return 2 * (z / apart) ** 2
