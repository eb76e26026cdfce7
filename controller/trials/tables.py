"""Tables of counts: odds ratios, over strata too, and whether strata agree.

A table is ((yes, no), (yes, no)): its first row is one treatment, its second the
other. What may live here: measures of tables and their chi-squares.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.trials.special import chi_square_above, crossing

Table = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Square:
    """A chi-square and what it says; p is None where there is nothing to test."""

    value: float
    freedom: int
    p: float | None


def _square(value: float, freedom: int) -> Square:
    p = chi_square_above(value, freedom) if freedom > 0 else None
    return Square(value, freedom, p)


def odds_ratio(table: Table) -> float:
    """Return the odds of the first row over those of the second.

    Infinite where only its denominator is 0; not a number where both are.
    """
    (a, b), (c, d) = table
    if b * c == 0:
        return math.inf if a * d > 0 else math.nan
    return a * d / (b * c)


def mantel_haenszel(tables: Sequence[Table]) -> float:
    """Return the odds ratio common to strata (Mantel and Haenszel 1959)."""
    over = under = 0.0
    for (a, b), (c, d) in tables:
        total = a + b + c + d
        if total:
            over += a * d / total
            under += b * c / total
    if under == 0:
        return math.inf if over > 0 else math.nan
    return over / under


def woolf(tables: Sequence[Table]) -> Square:
    """Return whether strata share one odds ratio (Woolf 1955).

    Raises:
        ValueError: A cell is 0, of which it can make nothing.
    """
    ratios, weights = [], []
    for table in tables:
        cells = [cell for row in table for cell in row]
        if min(cells) <= 0:
            raise ValueError(f"found the cells {cells}: each must be above 0")
        ratios.append(math.log(odds_ratio(table)))
        weights.append(1 / sum(1 / cell for cell in cells))
    mean = sum(w * r for w, r in zip(weights, ratios, strict=True)) / sum(weights)
    value = sum(w * (r - mean) ** 2 for w, r in zip(weights, ratios, strict=True))
    return _square(value, len(tables) - 1)


@dataclass(frozen=True, slots=True)
class ThreeFactor:
    """Bartlett's hypothesis that the odds ratios of two tables are one.

    Attributes:
        shift: How much goes into or out of each cell so that they are.
        test: How far the counts are from that.
    """

    shift: float
    test: Square


def no_three_factor_interaction(first: Table, second: Table) -> ThreeFactor:
    """Return what must be moved for two tables of one odds ratio, and the test.

    All margins are kept (Bartlett 1935, Supplement to the Journal of the Royal
    Statistical Society 2: 248-252).
    """
    (a, b), (c, d) = first
    (e, f), (g, h) = second
    plus, minus = (a, d, f, g), (b, c, e, h)

    def excess(shift: float) -> float:
        own = (a + shift) * (d + shift) * (f + shift) * (g + shift)
        return own - (b - shift) * (c - shift) * (e - shift) * (h - shift)

    shift = crossing(excess, -min(plus), min(minus))
    fitted = [cell + shift for cell in plus] + [cell - shift for cell in minus]
    empty = any(cell <= 0 for cell in fitted)
    value = 0.0 if empty else shift**2 * sum(1 / cell for cell in fitted)
    return ThreeFactor(shift, _square(value, 0 if empty else 1))


def pearson(rows: Sequence[Sequence[float]], *, corrected: bool = False) -> Square:
    """Return Pearson's chi-square of a table of any size.

    Rows and columns of nothing but 0 are left out.

    Args:
        rows: Counts.
        corrected: Whether with Yates's correction, in a table of 2 by 2.
    """
    kept = [row for row in rows if sum(row)]
    columns = [column for column in zip(*kept, strict=True) if sum(column)]
    total = sum(map(sum, columns))
    across = [sum(row) for row in zip(*columns, strict=True)]
    freedom = (len(across) - 1) * (len(columns) - 1)
    value = 0.0
    for column in columns:
        for seen, row_sum in zip(column, across, strict=True):
            expected = row_sum * sum(column) / total
            apart = abs(seen - expected)
            if corrected and freedom == 1:
                apart -= min(0.5, apart)
            value += apart**2 / expected
    return _square(value, freedom)
