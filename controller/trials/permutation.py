"""Tests by the trial's own randomisation: had the labels fallen otherwise, what then?

What was filled and placed by itself, a pot or a tray, is a unit with one number. If
arms do not matter, that number would have been the same under the other label, and
every way in which the plan could have labelled the units of each block is as likely.
p is the share of those ways in which arms lie at least as far apart as they did.
Cuttings that share a tray are one unit: pooled over trays they give too small a p.
What may live here: that share, exactly wherever it can be counted.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, product

from controller.trials.shuffling import Shuffler

_MOST_SUMS = 60_000
"""Chosen: ways are counted sum by sum as long as no more sums than this differ."""

DRAWS = 19_999
"""Chosen: where too many differ, so many labellings are drawn instead."""

_MOST_LISTED = 20_000
"""Chosen: of more than two arms so many labellings are gone through one by one."""

_GRAIN = 2.0**40
"""Numbers become whole multiples of their range over this: ties stay ties."""


@dataclass(frozen=True, slots=True)
class Unit:
    """What was labelled as one.

    Attributes:
        arm: The label that it got.
        block: Within which its label could have been another.
        value: What came of it, as one number.
    """

    arm: str
    block: str
    value: float


@dataclass(frozen=True, slots=True)
class Randomised:
    """What a test by randomisation says.

    Attributes:
        p: How often arms would lie as far apart without any difference.
        smallest: The smallest p that this plan can give at all.
        ways: How many labellings the plan could have given.
        exact: Whether all of them were counted; else some were drawn.
    """

    p: float
    smallest: float
    ways: int
    exact: bool


Sizes = Sequence[Mapping[str, int]]
"""How many units each arm has, block by block."""


def sizes_of(units: Sequence[Unit]) -> list[dict[str, int]]:
    """Return how many units each arm has, block by block."""
    found: dict[str, Counter[str]] = {}
    for unit in units:
        found.setdefault(unit.block, Counter())[unit.arm] += 1
    return [dict(counts) for counts in found.values()]


def labellings(sizes: Sizes) -> int:
    """Return how many ways there are to label the units of all blocks."""
    ways = 1
    for block in sizes:
        ways *= math.factorial(sum(block.values()))
        for count in block.values():
            ways //= math.factorial(count)
    return ways


def smallest_p(sizes: Sizes) -> float:
    """Return the smallest two-sided p that a plan can give.

    The labelling that came about, and those that only exchange the names of arms
    with the same number of units in every block, lie equally far apart.
    """
    arms = sorted({arm for block in sizes for arm in block})
    alike = Counter(tuple(block.get(arm, 0) for block in sizes) for arm in arms)
    same = math.prod(math.factorial(count) for count in alike.values())
    return min(1.0, same / labellings(sizes))


def by_randomisation(units: Sequence[Unit], seed: int = 0) -> Randomised:
    """Return what the randomisation says of the arms of some units.

    Two arms: two-sided, by the sum of the first less what is expected of it within
    blocks. More: by the sum of squares of such differences over the units of an arm.

    Args:
        units: What was labelled, with its number; all numbers finite.
        seed: For drawing, where there are too many ways to count.
    """
    sizes = sizes_of(units)
    arms = sorted({unit.arm for unit in units})
    ways, smallest = labellings(sizes), smallest_p(sizes)
    if len(arms) < 2 or ways == 1:  # noqa: PLR2004
        return Randomised(1.0, smallest, ways, exact=True)
    p = _counted(units, arms[0]) if len(arms) == 2 else None  # noqa: PLR2004
    if p is not None:
        return Randomised(p, smallest, ways, exact=True)
    if ways <= _MOST_LISTED:
        return Randomised(_listed(units, arms), smallest, ways, exact=True)
    return Randomised(_drawn(units, arms, seed), smallest, ways, exact=False)


def _blocks(units: Sequence[Unit]) -> list[list[Unit]]:
    ordered = sorted(units, key=lambda unit: unit.block)
    return [list(block) for _, block in groupby(ordered, key=lambda unit: unit.block)]


def _centred(units: Sequence[Unit]) -> list[list[tuple[str, int]]]:
    """Return each block's units with their numbers less its mean, made whole.

    In a block of n they are multiplied by n, and every block by all others' n, so
    that nothing but the first rounding is lost.
    """
    values = [unit.value for unit in units]
    spread = (max(values) - min(values)) or 1.0
    blocks = _blocks(units)
    common = math.lcm(*(len(block) for block in blocks))
    found = []
    for block in blocks:
        whole = [round(unit.value / spread * _GRAIN) for unit in block]
        each, total = common // len(block), sum(whole)
        found.append(
            [
                (unit.arm, each * (len(block) * value - total))
                for unit, value in zip(block, whole, strict=True)
            ]
        )
    return found


def _slack(units: Sequence[Unit]) -> int:
    """Return by how much sums may differ that would be the same without rounding."""
    lengths = [len(block) for block in _blocks(units)]
    return 4 * len(units) * math.lcm(*lengths)


# ------------------------------------------------------------------------- counted


def _counted(units: Sequence[Unit], arm: str) -> float | None:
    """Return the p of two arms over all labellings; None: too many sums differ."""
    sums: dict[int, int] = {0: 1}
    seen = 0
    for block in _centred(units):
        chosen = sum(label == arm for label, _ in block)
        seen += sum(value for label, value in block if label == arm)
        own = _sums([value for _, value in block], chosen)
        if own is None or len(sums) * len(own) > 20 * _MOST_SUMS:
            return None
        sums = _added(sums, own)
        if len(sums) > _MOST_SUMS:
            return None
    least = abs(seen) - _slack(units)
    far = sum(ways for total, ways in sums.items() if abs(total) >= least)
    return far / sum(sums.values())


def _added(first: Mapping[int, int], second: Mapping[int, int]) -> dict[int, int]:
    found: dict[int, int] = {}
    for total, ways in first.items():
        for more, others in second.items():
            found[total + more] = found.get(total + more, 0) + ways * others
    return found


def _sums(values: Sequence[int], chosen: int) -> dict[int, int] | None:
    """Return in how many ways some of the values give each sum."""
    table: list[dict[int, int]] = [{0: 1}] + [{} for _ in range(chosen)]
    for value, many in Counter(values).items():
        for taken in range(chosen, 0, -1):
            here = table[taken]
            for times in range(1, min(many, taken) + 1):
                ways = math.comb(many, times)
                for total, before in table[taken - times].items():
                    key = total + times * value
                    here[key] = here.get(key, 0) + before * ways
        if sum(map(len, table)) > _MOST_SUMS:
            return None
    return table[chosen]


# ------------------------------------------------------- listed, or drawn at random


class _Apart:
    """How far apart arms lie under a labelling of all blocks."""

    def __init__(self, units: Sequence[Unit], arms: Sequence[str]) -> None:
        blocks = _centred(units)
        self.labels = [[label for label, _ in block] for block in blocks]
        self._values = [[value for _, value in block] for block in blocks]
        self._sizes = {arm: sum(unit.arm == arm for unit in units) for arm in arms}
        self.least = self.of(self.labels) * (1 - 1e-9)

    def of(self, labels: Sequence[Sequence[str]]) -> float:
        sums = dict.fromkeys(self._sizes, 0)
        for own, numbers in zip(labels, self._values, strict=True):
            for label, value in zip(own, numbers, strict=True):
                sums[label] += value
        return sum(sums[arm] ** 2 / size for arm, size in self._sizes.items())


def _listed(units: Sequence[Unit], arms: Sequence[str]) -> float:
    apart = _Apart(units, arms)
    every = product(*(list(_orders(Counter(own))) for own in apart.labels))
    far = [apart.of(labels) >= apart.least for labels in every]
    return sum(far) / len(far)


def _orders(left: Counter[str]) -> Iterator[tuple[str, ...]]:
    """Yield every order of some labels of which several are the same."""
    if not left:
        yield ()
        return
    for label in list(left):
        fewer = left - Counter((label,))
        for rest in _orders(fewer):
            yield (label, *rest)


def _drawn(units: Sequence[Unit], arms: Sequence[str], seed: int) -> float:
    """Return p from labellings drawn at random, with the one that came about.

    Counted with it p is never below what it claims (Phipson and Smyth 2010,
    Statistical Applications in Genetics and Molecular Biology 9: 39; from memory).
    """
    apart, stream = _Apart(units, arms), Shuffler(seed)
    far = 1
    for _ in range(DRAWS):
        drawn = [stream.shuffled(own) for own in apart.labels]
        far += apart.of(drawn) >= apart.least
    return far / (DRAWS + 1)
