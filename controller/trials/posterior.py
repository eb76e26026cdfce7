"""What is believed of two shares after counting: beta posteriors.

Every cutting stands for itself. Both begin from a beta prior, flat unless told
otherwise. What may live here: the posterior of the difference, exactly or by close
integration.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from controller.trials.proportions import Interval, check_counts
from controller.trials.special import beta_cdf, beta_quantile, crossing, ln_beta

_NODES = 200
_CLOSE = 1e-7
_REST = 1e-10


@dataclass(frozen=True, slots=True)
class Shape:
    """A beta distribution."""

    a: float
    b: float

    @property
    def mean(self) -> float:
        """Its mean."""
        return self.a / (self.a + self.b)


FLAT = Shape(1, 1)


def after(rooted: int, n: int, prior: Shape = FLAT) -> Shape:
    """Return what is believed of a share after so many of so many."""
    check_counts(rooted, n)
    return Shape(prior.a + rooted, prior.b + n - rooted)


def chance_greater(first: Shape, second: Shape) -> float:
    """Return the chance that the first share is the greater one.

    An exact finite sum where the first shape of the first is a whole number (as with
    a flat prior), else by integration.
    """
    if float(first.a).is_integer():
        return min(1.0, sum(_terms(first, second)))
    return 1 - _at_most(first, second, 0.0)


def _terms(first: Shape, second: Shape) -> list[float]:
    """Return the terms of P(first > second), one for each i below first.a.

    P(p > y) is a sum over i of y^i (1-y)^b / ((b+i) B(1+i, b)), each of which has
    its mean under the second.
    """
    a, b = second.a, second.b
    return [
        math.exp(
            ln_beta(a + i, b + first.b)
            - math.log(first.b + i)
            - ln_beta(1 + i, first.b)
            - ln_beta(a, b)
        )
        for i in range(round(first.a))
    ]


def difference(first: Shape, second: Shape, level: float = 0.95) -> Interval:
    """Return the equal-tailed credible interval of the first share less the second."""
    tail = (1 - level) / 2

    def quantile(share: float) -> float:
        return crossing(lambda d: _at_most(first, second, d) - share, -1, 1, _CLOSE)

    return Interval(quantile(tail), quantile(1 - tail))


def _at_most(first: Shape, second: Shape, apart: float) -> float:
    """Return the chance that first - second is at most so much.

    Simpson's rule over where the second has its mass, from bend to bend: the first's
    distribution bends where it begins and ends.
    """
    low = beta_quantile(_REST, second.a, second.b)
    high = beta_quantile(1 - _REST, second.a, second.b)
    bends = [at for at in (-apart, 1 - apart) if low < at < high]
    total = mass = 0.0
    for start, end in pairwise([low, *bends, high]):
        step = (end - start) / _NODES
        for n in range(_NODES + 1):
            weight = step * (1 if n in (0, _NODES) else 4 if n % 2 else 2)
            y = start + n * step
            density = weight * _density(y, second)
            mass += density
            total += density * beta_cdf(y + apart, first.a, first.b)
    return total / mass


def _density(x: float, shape: Shape) -> float:
    if not 0 < x < 1:
        return 0.0
    a, b = shape.a, shape.b
    return math.exp((a - 1) * math.log(x) + (b - 1) * math.log1p(-x) - ln_beta(a, b))
