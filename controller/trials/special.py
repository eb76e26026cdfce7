"""Distributions that the tests need: beta, binomial, normal, chi-square, Student.

What may live here: their functions, to some twelve digits. Continued fractions and
series as in the Digital Library of Mathematical Functions (dlmf.nist.gov, 8.9,
8.11 and 8.17; from memory).
"""

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300
_STEPS = 1_000
_CLOSE = 1e-15
_NORMAL = NormalDist()


def ln_choose(n: int, k: int) -> float:
    """Return the logarithm of n over k."""
    return _ln_factorial(n) - _ln_factorial(k) - _ln_factorial(n - k)


@lru_cache(maxsize=20_000)
def _ln_factorial(n: int) -> float:
    return math.lgamma(n + 1)


def ln_beta(a: float, b: float) -> float:
    """Return the logarithm of the beta function."""
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def beta_cdf(x: float, a: float, b: float) -> float:
    """Return the chance that a beta variable is at most x.

    Args:
        x: From 0 to 1; beyond them 0 and 1.
        a: First shape, positive.
        b: Second shape, positive.
    """
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    front = math.exp(a * math.log(x) + b * math.log1p(-x) - ln_beta(a, b))
    # The fraction converges quickly on this side of the mean.
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(x, a, b) / a
    return 1 - front * _beta_fraction(1 - x, b, a) / b


def _beta_fraction(x: float, a: float, b: float) -> float:
    """Return the continued fraction of the incomplete beta (Lentz's method)."""

    def term(n: int) -> float:
        m = n // 2
        if n % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))

    return 1 / _fraction(term, lambda _: 1.0, 1.0)


def _fraction(
    over: Callable[[int], float], under: Callable[[int], float], first: float
) -> float:
    """Return first + over(1) / (under(1) + over(2) / (under(2) + ...))."""
    value = first or _TINY
    c, d = value, 0.0
    for n in range(1, _STEPS):
        d = under(n) + over(n) * d
        d = 1 / (d or _TINY)
        c = under(n) + over(n) / c
        c = c or _TINY
        value *= c * d
        if abs(c * d - 1) < _CLOSE:
            break
    return value


def beta_quantile(share: float, a: float, b: float) -> float:
    """Return below what a beta variable lies with a given chance."""
    if share <= 0:
        return 0.0
    if share >= 1:
        return 1.0
    return crossing(lambda x: beta_cdf(x, a, b) - share, 0.0, 1.0)


def crossing(
    function: Callable[[float], float], low: float, high: float, close: float = 0.0
) -> float:
    """Return where a function that grows from low to high passes 0, by halving.

    Args:
        function: The function.
        low: It is below 0 there.
        high: And above it there.
        close: How near is near enough; 0: as near as numbers go.
    """
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high) or high - low < close:
            break
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def highest(
    function: Callable[[float], float], low: float, high: float
) -> tuple[float, float]:
    """Return where a function of one peak is highest, and how high.

    By golden sections.
    """
    golden = (math.sqrt(5) - 1) / 2
    left, right = high - golden * (high - low), low + golden * (high - low)
    at_left, at_right = function(left), function(right)
    for _ in range(80):
        if at_left < at_right:
            low, left, at_left = left, right, at_right
            right = low + golden * (high - low)
            at_right = function(right)
        else:
            high, right, at_right = right, left, at_left
            left = high - golden * (high - low)
            at_left = function(left)
        if high - low < 1e-10:  # noqa: PLR2004 - below what rounding leaves of a peak
            break
    return (left, at_left) if at_left > at_right else (right, at_right)


def binomials(n: int, share: float) -> list[float]:
    """Return the chances of 0 to n out of n."""
    if share <= 0:
        return [1.0] + [0.0] * n
    if share >= 1:
        return [0.0] * n + [1.0]
    yes, no = math.log(share), math.log1p(-share)
    return [math.exp(ln_choose(n, k) + k * yes + (n - k) * no) for k in range(n + 1)]


def normal_quantile(share: float) -> float:
    """Return below what a standard normal variable lies with a given chance."""
    return _NORMAL.inv_cdf(share)


def normal_cdf(z: float) -> float:
    """Return the chance that a standard normal variable is at most z."""
    return math.erfc(-z / math.sqrt(2)) / 2


def chi_square_above(value: float, freedom: float) -> float:
    """Return the chance that a chi-square variable exceeds a value."""
    if value <= 0:
        return 1.0
    a, x = freedom / 2, value / 2
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1:
        return 1 - front * _gamma_series(a, x)
    return front / _fraction(
        lambda n: -n * (n - a), lambda n: x + 2 * n + 1 - a, x + 1 - a
    )


def _gamma_series(a: float, x: float) -> float:
    term = total = 1 / a
    for n in range(1, _STEPS):
        term *= x / (a + n)
        total += term
        if term < total * _CLOSE:
            break
    return total


def student_quantile(share: float, freedom: float) -> float:
    """Return below what Student's t lies with a given chance, above one half."""
    x = beta_quantile(2 * (1 - share), freedom / 2, 0.5)
    return math.sqrt(freedom * (1 - x) / x)
