"""When cuttings rooted, known only to lie between two looks: no shape assumed.

An event lies in (left, right]: not yet at left, by right. right is infinite where it
was not seen to come, left 0 where it came before the first look; left and right the
same is a time known exactly. Half-open on purpose: taken as closed, two cuttings in
(7, 14] and (14, 21] would share day 14, and every share would come out wrong.

Turnbull's estimate (1976, Journal of the Royal Statistical Society B 38: 290-295).
What may live here: that estimate and what is read from it.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

_MOST_STEPS = 20_000
_GAP = 1e-6
"""Chosen: log-likelihood that may be missing by a bound; far less is, in fact."""

_EXACT, _CLOSED, _OPEN = 0, 1, 2  # of ends at the same time, in this order


@dataclass(frozen=True, slots=True)
class Seen:
    """So many had their event within one stretch of time.

    Attributes:
        left: Not yet then.
        right: By then; infinite: not seen to have come.
        count: How many.
    """

    left: float
    right: float
    count: float = 1


@dataclass(frozen=True, slots=True)
class Estimate:
    """A distribution of times, as far as looks can tell.

    Attributes:
        stretches: Where mass may lie: (left, right], in order; those of no mass too.
        masses: How much lies in each; they add up to 1.
        log_likelihood: How likely what was seen is.
        gradient: The largest of the derivatives that must not exceed 1 (the
            conditions of Karush, Kuhn and Tucker): how near the top this is.
        steps: How many steps it took.
    """

    stretches: tuple[tuple[float, float], ...]
    masses: tuple[float, ...]
    log_likelihood: float
    gradient: float
    steps: int

    def not_yet(self, at: float) -> tuple[float, float]:
        """Return the least and the most of the share without the event at a time.

        Where the time lies inside of a stretch, looks cannot tell them apart.
        """
        told = zip(self.stretches, self.masses, strict=True)
        least = most = 1.0
        for (left, right), mass in told:
            if right <= at:
                least -= mass
                most -= mass
            elif left < at:
                least -= mass
        return max(0.0, least), max(0.0, most)

    def by_when(self, share: float) -> tuple[float, float] | None:
        """Return the stretch within which a share had its event; None: never seen."""
        total = 0.0
        for stretch, mass in zip(self.stretches, self.masses, strict=True):
            total += mass
            if mass > 0 and total >= share - 1e-9:
                return None if math.isinf(stretch[1]) else stretch
        return None


@dataclass(frozen=True, slots=True)
class Cover:
    """What was seen, by the stretches that mass may lie in.

    Attributes:
        stretches: Those stretches, in order.
        ranges: For each of what was seen, the first of its stretches and the one
            after its last.
        counts: How many each stands for.
    """

    stretches: tuple[tuple[float, float], ...]
    ranges: tuple[tuple[int, int], ...]
    counts: tuple[float, ...]


def cover(seen: Sequence[Seen]) -> Cover:
    """Return where mass may lie, innermost stretches only, and what covers them.

    Raises:
        ValueError: There is nothing, or a stretch ends before it begins.
    """
    _check(seen)
    if not any(one.count > 0 for one in seen):
        raise ValueError("nothing was seen: there must be one at least")
    lefts = [(one.left, _EXACT if one.left == one.right else _OPEN) for one in seen]
    rights = [(one.right, _CLOSED) for one in seen]
    ends = sorted({*((at, True) for at in lefts), *((at, False) for at in rights)})
    inner = [
        (start, end)
        for (start, opens), (end, opens_again) in pairwise(ends)
        if opens and not opens_again
    ]
    ranges = []
    for left, right in zip(lefts, rights, strict=True):
        within = [n for n, (a, b) in enumerate(inner) if left <= a and b <= right]
        ranges.append((within[0], within[-1] + 1))
    stretches = tuple((a[0], b[0]) for a, b in inner)
    return Cover(stretches, tuple(ranges), tuple(one.count for one in seen))


def _check(seen: Sequence[Seen]) -> None:
    for one in seen:
        if not one.left <= one.right or one.count < 0 or math.isnan(one.count):
            raise ValueError(f"found {one}: left must not lie after right")


def turnbull(seen: Iterable[Seen]) -> Estimate:
    """Return the likeliest distribution of the times of events.

    Raises:
        ValueError: There is nothing, or a stretch ends before it begins.
    """
    told = cover(_together(seen))
    masses = [1 / len(told.stretches)] * len(told.stretches)
    total, steps = sum(told.counts), 0
    while True:
        slopes = _slopes(told, masses)
        steps += 1
        # No other distribution is likelier than this by more than the bound.
        highest = max(slopes) / total
        if total * math.log(max(1.0, highest)) <= _GAP or steps > _MOST_STEPS:
            break
        masses = _better(told, masses, slopes)
    masses = _settled(told, masses)
    highest = max(_slopes(told, masses)) / total
    return Estimate(told.stretches, tuple(masses), _log(told, masses), highest, steps)


def _together(seen: Iterable[Seen]) -> list[Seen]:
    """Return what was seen with equal stretches told once."""
    counts: dict[tuple[float, float], float] = {}
    for one in seen:
        _check([one])
        ends = one.left, one.right
        counts[ends] = counts.get(ends, 0) + one.count
    return [Seen(*ends, count) for ends, count in counts.items() if count > 0]


def _settled(told: Cover, masses: list[float]) -> list[float]:
    """Return masses with those left out that only rounding keeps."""
    total = sum(told.counts)
    slopes = _slopes(told, masses)
    kept = [
        0.0 if mass < 1e-7 and slope < total * (1 - 1e-7) else mass  # noqa: PLR2004
        for mass, slope in zip(masses, slopes, strict=True)
    ]
    whole = sum(kept)
    kept = [mass / whole for mass in kept]
    return kept if _log(told, kept) > _log(told, masses) - _GAP else masses


def _likelihoods(told: Cover, masses: Sequence[float]) -> list[float]:
    below = [0.0, *accumulate(masses)]
    return [below[end] - below[start] for start, end in told.ranges]


def _log(told: Cover, masses: Sequence[float]) -> float:
    chances = zip(told.counts, _likelihoods(told, masses), strict=True)
    try:
        return sum(count * math.log(chance) for count, chance in chances)
    except ValueError:  # what was seen cannot be so
        return -math.inf


def _slopes(told: Cover, masses: Sequence[float]) -> list[float]:
    """Return how the log-likelihood grows with each mass."""
    turns = [0.0] * (len(masses) + 1)
    chances = _likelihoods(told, masses)
    for (start, end), count, chance in zip(
        told.ranges, told.counts, chances, strict=True
    ):
        turns[start] += count / chance
        turns[end] -= count / chance
    return list(accumulate(turns[:-1]))


def _em(masses: Sequence[float], slopes: Sequence[float], total: float) -> list[float]:
    new = [mass * slope / total for mass, slope in zip(masses, slopes, strict=True)]
    whole = sum(new)
    return [mass / whole for mass in new]


def _better(told: Cover, masses: list[float], slopes: list[float]) -> list[float]:
    """Return likelier masses: a leap that moves all at once, then a step of EM.

    EM alone creeps where stretches of different looks interlock; the leap alone may
    stop short (Wellner and Zhan 1997, Journal of the American Statistical
    Association 92: 945-959, on both together).
    """
    total = sum(told.counts)
    leapt = _leap(told, masses)
    if leapt is not masses:
        masses, slopes = leapt, _slopes(told, leapt)
    return _em(masses, slopes, total)


def _leap(told: Cover, masses: list[float]) -> list[float]:
    """Return masses after one step of iterative convex minorants, if it leads up.

    Newton's step on the cumulative shares with the diagonal of the curvature alone,
    brought back to a growing order, and cut until it leads upwards.
    """
    shares = list(accumulate(masses))[:-1]
    rises, curves = _by_shares(told, masses)
    wanted = [f + rise / c for f, rise, c in zip(shares, rises, curves, strict=True)]
    growing = [min(1.0, max(0.0, f)) for f in growing_order(wanted, curves)]
    before = _log(told, masses)
    part = 1.0
    for _ in range(12):
        mixed = [a + part * (b - a) for a, b in zip(shares, growing, strict=True)]
        new = [b - a for a, b in zip([0.0, *mixed], [*mixed, 1.0], strict=True)]
        if _log(told, new) > before:
            return [max(0.0, mass) for mass in new]
        part /= 2
    return masses


def _by_shares(told: Cover, masses: Sequence[float]) -> tuple[list[float], list[float]]:
    """Return how the log-likelihood grows with each cumulative share, and bends."""
    size = len(masses)
    rises, curves = [0.0] * (size + 1), [0.0] * (size + 1)
    chances = _likelihoods(told, masses)
    for (start, end), count, chance in zip(
        told.ranges, told.counts, chances, strict=True
    ):
        rises[end] += count / chance
        rises[start] -= count / chance
        for at in (start, end):
            curves[at] += count / chance**2
    return rises[1:size], curves[1:size]


def growing_order(values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return the nearest numbers that never fall, by weighted squares.

    Neighbours that fall are put together into their mean, until none does.
    """
    pools: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        pool = value, weight, 1
        while pools and pools[-1][0] >= pool[0]:
            mean, heavy, many = pools.pop()
            whole = heavy + pool[1]
            pool = (
                (mean * heavy + pool[0] * pool[1]) / whole,
                whole,
                many + pool[2],
            )
        pools.append(pool)
    return [value for value, _, many in pools for _ in range(many)]
