"""A day as two straight lines or as a sine, and how much of it is warm enough.

Only the lowest and the highest temperature of a day are known, so the rest is
drawn: a triangle or a sine wave between them. What may live here: those shapes,
how much of them lies above a threshold, and what three kinds of upper cut-off
take away. Temperatures may be °C or °F, all of one call alike: degree-days
come out in the same unit.
"""

from collections.abc import Callable, Sequence
from enum import Enum
from math import asin, cos, pi
from typing import NamedTuple


class Cutoff(Enum):
    """What an upper threshold means, in the terms of UC IPM.

    ipm.ucdavis.edu/WEATHER/ddmoreinfo.html tells three apart: at temperatures
    above the threshold development goes on as fast as at it, goes on but more
    slowly, or stops.
    """

    HORIZONTAL = "horizontal"
    """As fast as at the threshold: what lies above it is left out."""
    INTERMEDIATE = "intermediate"
    """Slower, as much as it lies above: what lies above it is taken off twice."""
    VERTICAL = "vertical"
    """Not at all: the time above it does not count."""


class Above(NamedTuple):
    """How a shape stands to a threshold.

    Attributes:
        degree_days: What of it lies above [degrees times days].
        share: For which share of the day it is above, 0 to 1; at the threshold
            is not above it.
    """

    degree_days: float
    share: float


Shape = Callable[[float, float, float], Above]
"""A day's lowest and highest temperature and a threshold; see triangle, sine."""


def triangle(low: float, high: float, threshold: float) -> Above:
    """Return what of a straight rise and fall lies above a threshold.

    (M - T)² / (2 (M - m)) where the lines cross it: Zalom et al. 1983, UC
    Leaflet 21373, single triangle.
    """
    if threshold >= high:
        return Above(0.0, 0.0)
    if threshold <= low:
        return Above((high + low) / 2 - threshold, 1.0)
    share = (high - threshold) / (high - low)
    return Above((high - threshold) * share / 2, share)


def sine(low: float, high: float, threshold: float) -> Above:
    """Return what of one sine wave lies above a threshold.

    ((mean - T) (π/2 - θ) + a cos θ) / π with θ = asin((T - mean) / a) and the
    amplitude a: Zalom et al. 1983, UC Leaflet 21373, single sine; after
    Baskerville and Emin 1969.
    """
    mean = (high + low) / 2
    if threshold >= high:
        return Above(0.0, 0.0)
    if threshold <= low:
        return Above(mean - threshold, 1.0)
    amplitude = (high - low) / 2
    # Rounding may carry the ratio past 1 where the threshold is an extreme.
    theta = asin(max(-1.0, min(1.0, (threshold - mean) / amplitude)))
    rest = pi / 2 - theta
    return Above(((mean - threshold) * rest + amplitude * cos(theta)) / pi, rest / pi)


def above_base(
    shape: Shape,
    halves: Sequence[tuple[float, float]],
    base: float,
    upper: float | None,
    cutoff: Cutoff,
) -> float:
    """Return a day's degree-days above the base, as the cut-off lets them count.

    With B above the base and U above the upper threshold, horizontal is B - U;
    vertical takes off (upper - base) for the time above, too; intermediate is
    B - 2 U. A sine wave's intermediate is never less than its vertical; a
    triangle's is as the formula gives it, which is below zero on a day that is
    very far above the threshold.

    Args:
        shape: Triangle or sine.
        halves: Lowest and highest temperature of the day, or of its halves.
        base: Base temperature.
        upper: Upper threshold; None: none, and the cut-off does not matter.
        cutoff: What it means.
    """
    counted = _mean([shape(*half, base) for half in halves]).degree_days
    if upper is None:
        return counted
    over = _mean([shape(*half, upper) for half in halves])
    horizontal = counted - over.degree_days
    vertical = max(0.0, horizontal - (upper - base) * over.share)
    match cutoff:
        case Cutoff.HORIZONTAL:
            return horizontal
        case Cutoff.VERTICAL:
            return vertical
        case Cutoff.INTERMEDIATE:
            slower = horizontal - over.degree_days
            return max(slower, vertical) if shape is sine else slower


def _mean(parts: Sequence[Above]) -> Above:
    return Above(
        sum(part.degree_days for part in parts) / len(parts),
        sum(part.share for part in parts) / len(parts),
    )
