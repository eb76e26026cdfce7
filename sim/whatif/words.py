"""What Python and a processor say each in its own way.

What may live here: functions that plain Python runs as they stand; teaching has what
compiled code makes of each. They take one, other and third by these names, since
numba takes a pair only where both have the same.
"""

from math import copysign, inf, nextafter
from typing import TypeVar

import numpy as np

from sim.whatif.rows import LANES
from sim.whatif.shape import Readings

ROUND = 1.5 * 2.0**52

EVEN = np.float32(1.5 * 2**23)
"""Added to a whole number below 2**22 of half the width: the sum's bits are those of
EVEN and the number, so that it can be compared and summed up as whole numbers are, for
which some processors have twice as many parts. Added to any other it rounds it, half
to even."""

Number = TypeVar("Number", float, np.float32)

Half = np.float32 | float
"""What is of half the width, whatever it is in."""


def across(lanes: int) -> int:
    """Return how many lanes a loop over all that are in use goes through.

    Compiled code goes through the whole row, idle ones too: a loop of a known
    length, over rows that lie a known way apart, is done many lanes at a time
    with nothing to be asked before and nothing left over behind.
    """
    return lanes


def flagged(rows: Readings, one: int) -> int:
    """Return a bit for each lane of a block whose value in a row is not 0."""
    return sum(1 << v for v in range(LANES) if rows[one + v] != 0.0)


def under(rows: Readings, one: int, other: int) -> int:
    """Return a bit for each lane that is less in a row than in another."""
    return sum(1 << v for v in range(LANES) if rows[one + v] < rows[other + v])


def within(rows: Readings, one: int, other: int) -> int:
    """Return a bit for each lane that is no more in a row than in another."""
    return sum(1 << v for v in range(LANES) if rows[one + v] <= rows[other + v])


def alike(rows: Readings, one: int, other: int) -> int:
    """Return a bit for each lane in which two rows are equal."""
    return sum(1 << v for v in range(LANES) if rows[one + v] == rows[other + v])


def reached(rows: Readings, one: int, other: np.float32) -> int:
    """Return a bit for each lane that in a row has no more than a value."""
    return sum(1 << v for v in range(LANES) if rows[one + v] <= other)


def counted(one: int) -> int:
    """Return how many bits are set."""
    return one.bit_count()


def lowest(one: int) -> int:
    """Return the place of the lowest bit that is set, from 0 on."""
    return (one & -one).bit_length() - 1


def but_lowest(one: int) -> int:
    """Return the bits without the lowest that is set.

    By itself compiled code would take it that one less than a number with a sign is
    a number, which the highest bit alone has not.
    """
    return one & (one - 1)


def rounded(one: float) -> float:
    """Return the nearest whole number, of two the even one.

    Added and taken away again the constant does so for what is below 2**51, which
    all here is. Compiled code has an instruction for it.
    """
    return (one + ROUND) - ROUND


def rounded_half(one: np.float32) -> np.float32:
    """Return the same of a value of half the width, below 2**22."""
    return (one + EVEN) - EVEN


def divided(one: Number, other: Number) -> Number:
    """Return a quotient whose divisor is the same for all lanes.

    Compiled code finds it by products, which takes a fifth of the time: with the
    divisor's nearest reciprocal y and a quotient q off by less than a unit in its last
    place, q + (one - q * other) * y in fused sums is the nearest there is (P. W.
    Markstein, IBM J. Res. Dev. 34, 1990; from memory). No divisor here has a
    significand of ones alone, for which that does not hold.
    """
    return one / other


def fused(one: Half, other: Half, third: Half) -> np.float32:
    """Return one * other + third, rounded once.

    A product of half the width is exact at the whole one. The sum is rounded to
    odd there, so that the second rounding goes where a single one would have
    gone (S. Boldo, G. Melquiond, IEEE Trans. Comput. 57, 2008; from memory).
    """
    product, more = float(one) * float(other), float(third)
    total = product + more
    back = total - product
    lost = (product - (total - back)) + (more - back)
    if lost != 0.0 and not int(np.float64(total).view(np.int64)) & 1:
        total = nextafter(total, copysign(inf, lost))
    return np.float32(total)


def larger(one: Number, other: Number) -> Number:
    """Return the larger of two values; the first if they are alike."""
    return max(one, other)


def smaller(one: Number, other: Number) -> Number:
    """Return the smaller of two values; the first if they are alike."""
    return min(one, other)


def higher(one: np.float32, other: np.float32) -> np.float32:
    """Return the higher of two whole numbers, each with EVEN."""
    return max(one, other)


def lower(one: np.float32, other: np.float32) -> np.float32:
    """Return the lower of two whole numbers, each with EVEN."""
    return min(one, other)


def plus(one: np.float32, other: np.float32) -> np.float32:
    """Return the sum of two whole numbers, each with EVEN."""
    return one + (other - EVEN)


def minus(one: np.float32, other: np.float32) -> np.float32:
    """Return the difference of two whole numbers, each with EVEN."""
    return EVEN + (one - other)


def plus_if(
    one: np.float32, other: np.float32, third: np.float32, more: np.float32
) -> np.float32:
    """Return a count, with more if other lies from 0 to third; each with EVEN."""
    return plus(one, more) if EVEN <= other <= third else one
