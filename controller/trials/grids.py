"""Chances on grids: rows, bells and products that stay in range.

What may live here: arithmetic on lists of numbers, of which the pooled model is made.
It knows nothing of crops.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import mul

CUT = 4.5
"""Chosen: standard deviations that bells reach to both sides."""

Row = list[float]
Table = list[Row]


@dataclass(frozen=True, slots=True)
class Scaled:
    """A table times e to some power, so that products of many stay in range.

    Attributes:
        rows: The table.
        log: The power.
    """

    rows: Table
    log: float = 0.0

    def even(self) -> "Scaled":
        """Return the same with its largest entry 1."""
        top = max(map(max, self.rows))
        if top <= 0:
            return self
        return Scaled(
            [[one / top for one in row] for row in self.rows], self.log + math.log(top)
        )


class Bells:
    """A bell around each point of one grid on another, cut where it is nothing.

    Args:
        around: The points.
        grid: The other grid, of even steps.
        spread: Standard deviation of the bells.
    """

    def __init__(self, around: Row, grid: Row, spread: float) -> None:
        reach = CUT * spread + 1e-9
        self._rows: list[tuple[int, Row]] = []
        columns: list[list[tuple[int, float]]] = [[] for _ in grid]
        step = grid[1] - grid[0]
        for n, centre in enumerate(around):
            first = max(0, math.ceil((centre - reach - grid[0]) / step))
            last = min(len(grid), math.floor((centre + reach - grid[0]) / step) + 1)
            part = [bell((at - centre) / spread) for at in grid[first:last]]
            # The sum of a whole bell: at an edge of the grid a part is lost.
            whole = spread * math.sqrt(2 * math.pi) / step
            row = [one / whole for one in part]
            self._rows.append((first, row))
            for at, one in enumerate(row, first):
                columns[at].append((n, one))
        self._columns = [
            (some[0][0] if some else 0, [one for _, one in some]) for some in columns
        ]

    def back(self, row: Row) -> Row:
        """Return for each centre the mean of a row under its bell."""
        return [dot(one, row[at : at + len(one)]) for at, one in self._rows]

    def on(self, row: Row) -> Row:
        """Return chances at the centres spread out by their bells."""
        return [dot(one, row[at : at + len(one)]) for at, one in self._columns]


def dot(one: Iterable[float], other: Iterable[float]) -> float:
    """Return the sum of products of two rows."""
    products: Iterable[float] = map(mul, one, other)
    return sum(products)


def turned(table: Sequence[Sequence[float]]) -> Table:
    """Return a table with rows for columns."""
    return list(map(list, zip(*table, strict=True)))


def without(some: Sequence[Scaled | None], at: int) -> list[Scaled | None]:
    """Return all but one."""
    return [one for n, one in enumerate(some) if n != at]


def product(some: Iterable[Scaled | None]) -> Scaled | None:
    """Return the product of tables, cell by cell; of none there is none."""
    told = [one for one in some if one is not None]
    return times(told[0], told[1:]) if told else None


def times(whole: Scaled, some: Iterable[Scaled | None]) -> Scaled:
    """Return a table times others, cell by cell."""
    for one in some:
        if one is not None:
            pairs = zip(whole.rows, one.rows, strict=True)
            rows = [list(map(mul, a, b)) for a, b in pairs]
            whole = Scaled(rows, whole.log + one.log).even()
    return whole


def grid_around(middle: float, reach: float, step: float) -> Row:
    """Return even steps to both sides of a middle, at least so far."""
    half = math.ceil(reach / step)
    return [middle + n * step for n in range(-half, half + 1)]


def bell(standard: float) -> float:
    """Return the height of a normal curve, 1 in its middle."""
    return math.exp(-0.5 * standard * standard)


def even(row: Row) -> Row:
    """Return a row that adds up to 1."""
    total = sum(row)
    return [one / total for one in row]


def mixed(weights: Table, rows: Table) -> Table:
    """Return weighted sums of rows, one for each row of weights."""
    columns = turned(rows)
    return [[dot(weight, column) for column in columns] for weight in weights]


def summed(rows: Table) -> Row:
    """Return the sum of all rows, place by place."""
    return [sum(column) for column in zip(*rows, strict=True)]


def plus(row: Row, factor: float, more: Row) -> Row:
    """Return a row with a multiple of another added."""
    return [a + factor * b for a, b in zip(row, more, strict=True)]


def beta_row(mean: float, weight: float, at: Sequence[float]) -> Row:
    """Return the chances of shares around a mean, as so many cuttings would tell."""
    up, down = mean * weight - 1, (1 - mean) * weight - 1
    logs = [up * math.log(share) + down * math.log1p(-share) for share in at]
    top = max(logs)
    return even([math.exp(one - top) for one in logs])


def variance(at: Sequence[float], chances: Sequence[float]) -> float:
    """Return the variance of what has these chances."""
    mean = dot(at, chances)
    return sum(c * (x - mean) ** 2 for x, c in zip(at, chances, strict=True))
