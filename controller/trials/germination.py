"""Indices of germination from daily counts, as seed laboratories tell them.

The names and formulas are those of the literature (Ranal and de Santana 2006,
Revista Brasileira de Botânica 29: 1-11, reviews most; from memory). They take the
day of a count for the day of germination, which the estimate of `censored` does not:
that is the better one to compare arms by. What may live here: these indices.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from controller.trials.linear import SingularError, inverse, times


@dataclass(frozen=True, slots=True)
class Indices:
    """What daily counts come to; None: too few germinated to tell.

    Attributes:
        percent: Of the seeds sown, those that germinated [%].
        first: The first time of any.
        last: The last time of any.
        peak: The first time of the most.
        t50_coolbear: When half of those that germinate have (Coolbear and others
            1984): the (N+1)/2-th, by interpolation.
        t50_farooq: The same (Farooq and others 2005): the N/2-th.
        mean_time: Their mean time.
        variance: Of their times, over N - 1.
        standard_error: Of the mean time.
        variation: Standard deviation over the mean.
        mean_rate: 1 over the mean time.
        rate_variance: Of that rate.
        rate_error: Its standard error.
        velocity: Coefficient of velocity, 100 times the mean rate.
        speed: Sum of counts over times (Maguire 1962).
        rate_index: The same of percentages: germination rate index [%/time].
        accumulated_speed: Sum of cumulative counts over times (Bradbeer 1988).
        corrected_speed: Speed over the final percentage.
        timson: Sum of the cumulative percentages (Timson 1965).
        weighted_percent: Early ones count more (Reddy and others 1985) [%].
        mean_daily_percent: Final percentage over the length of the test.
        peak_value: Highest of cumulative percentage over time (Czabator 1962).
        germination_value: Peak value times mean daily percentage.
        uniformity: 1 over the variance with N below it (Heydecker 1972).
        synchrony: Share of pairs that germinated at the same time (Primack 1980).
        uncertainty: Entropy of the times [bit] (Labouriau and Valadares 1976).
    """

    percent: float
    first: float | None = None
    last: float | None = None
    peak: float | None = None
    t50_coolbear: float | None = None
    t50_farooq: float | None = None
    mean_time: float | None = None
    variance: float | None = None
    standard_error: float | None = None
    variation: float | None = None
    mean_rate: float | None = None
    rate_variance: float | None = None
    rate_error: float | None = None
    velocity: float | None = None
    speed: float | None = None
    rate_index: float | None = None
    accumulated_speed: float | None = None
    corrected_speed: float | None = None
    timson: float | None = None
    weighted_percent: float | None = None
    mean_daily_percent: float | None = None
    peak_value: float | None = None
    germination_value: float | None = None
    uniformity: float | None = None
    synchrony: float | None = None
    uncertainty: float | None = None


def indices(counts: Sequence[int], at: Sequence[float], sown: int) -> Indices:
    """Return the indices of new germinations.

    Args:
        counts: How many were new at each count.
        at: When each count was, growing, above 0.
        sown: How many seeds were sown.

    Raises:
        ValueError: The numbers cannot be such counts.
    """
    _check(counts, at, sown)
    if not sum(counts):
        return Indices(percent=0.0)
    return _all(counts, at, sown)


def _check(counts: Sequence[int], at: Sequence[float], sown: int) -> None:
    if len(counts) != len(at) or not counts:
        raise ValueError(f"found {len(counts)} counts at {len(at)} times")
    if min(counts) < 0 or not 0 <= sum(counts) <= sown or sown < 1:
        raise ValueError(f"found {sum(counts)} of {sown} seeds: at most all germinate")
    if at[0] <= 0 or any(b <= a for a, b in pairwise(at)):
        raise ValueError("times must lie above 0 and grow")


def _all(counts: Sequence[int], at: Sequence[float], sown: int) -> Indices:
    n = sum(counts)
    pairs = list(zip(counts, at, strict=True))
    mean = sum(c * t for c, t in pairs) / n
    squares = sum(c * (t - mean) ** 2 for c, t in pairs)
    variance = squares / (n - 1) if n > 1 else None
    cumulative = list(accumulate(counts))
    speed = sum(c / t for c, t in pairs)
    percents = [100 * c / sown for c in cumulative]
    peak_value = max(p / t for p, t in zip(percents, at, strict=True))
    daily = percents[-1] / at[-1]
    share = [c / n for c in counts if c]
    rate_variance = None if variance is None else variance / mean**4
    return Indices(
        percent=percents[-1],
        first=next(t for c, t in pairs if c),
        last=next(t for c, t in reversed(pairs) if c),
        peak=at[counts.index(max(counts))],
        t50_coolbear=_when(cumulative, at, (n + 1) / 2),
        t50_farooq=_when(cumulative, at, n / 2),
        mean_time=mean,
        variance=variance,
        standard_error=None if variance is None else math.sqrt(variance / n),
        variation=None if variance is None else math.sqrt(variance) / mean,
        mean_rate=1 / mean,
        rate_variance=rate_variance,
        rate_error=None if rate_variance is None else math.sqrt(rate_variance / n),
        velocity=100 / mean,
        speed=speed,
        rate_index=100 * speed / sown,
        accumulated_speed=sum(c / t for c, t in zip(cumulative, at, strict=True)),
        corrected_speed=speed / percents[-1],
        timson=sum(percents),
        weighted_percent=100
        * sum((len(counts) - k) * c for k, c in enumerate(counts))
        / (len(counts) * sown),
        mean_daily_percent=daily,
        peak_value=peak_value,
        germination_value=peak_value * daily,
        uniformity=n / squares if squares else None,
        synchrony=_synchrony(counts) if n > 1 else None,
        uncertainty=-sum(p * math.log2(p) for p in share) or 0.0,
    )


def _when(cumulative: Sequence[int], at: Sequence[float], rank: float) -> float:
    """Return when the rank-th germinated, along straight lines between counts."""
    before, start = 0, 0.0
    for count, end in zip(cumulative, at, strict=True):
        if count >= rank:
            if before == 0 and start == 0.0:
                return end
            return start + (rank - before) * (end - start) / (count - before)
        before, start = count, end
    return at[-1]


def _synchrony(counts: Sequence[int]) -> float:
    return sum(math.comb(c, 2) for c in counts) / math.comb(sum(counts), 2)


# --------------------------------------------------------------------- Hill's curve


@dataclass(frozen=True, slots=True)
class Hill:
    """Hill's curve through cumulative percentages (El-Kassaby and others 2008).

    Attributes:
        top: Where it ends [%]: the final percentage.
        slope: How steep it is.
        t50: When half of that has germinated.
    """

    top: float
    slope: float
    t50: float

    def at(self, time: float) -> float:
        """Return the cumulative percentage at a time."""
        if time <= 0:
            return 0.0
        exponent = self.slope * (math.log(time) - math.log(self.t50))
        return self.top / (1 + math.exp(min(-exponent, 700.0)))


def hill(counts: Sequence[int], at: Sequence[float], sown: int) -> Hill | None:
    """Return Hill's curve by least squares; None: there are too few times for one.

    It begins at 0 and ends at the final percentage; slope and half time are fitted.

    Raises:
        ValueError: The numbers cannot be such counts.
    """
    found = indices(counts, at, sown)
    half = found.t50_farooq
    if half is None or half <= 0 or sum(1 for count in counts if count) < 2:  # noqa: PLR2004
        return None
    seen = [100 * c / sown for c in accumulate(counts)]
    curve, step = Hill(found.percent, 5.0, half), 1e-3
    squares = _squares(curve, seen, at)
    for _ in range(500):
        new = _nearer(curve, seen, at, step)
        if new is None:
            return None
        fewer = _squares(new, seen, at)
        if fewer > squares:
            step *= 4
        else:
            done = squares - fewer <= 1e-14 * squares and step < 1
            curve, squares, step = new, fewer, max(step / 4, 1e-12)
            if done:
                break
        if step > 1e12:  # noqa: PLR2004 - no step helps any more
            break
    return curve


def _squares(curve: Hill, seen: Sequence[float], at: Sequence[float]) -> float:
    return sum((y - curve.at(t)) ** 2 for y, t in zip(seen, at, strict=True))


def _nearer(
    curve: Hill, seen: Sequence[float], at: Sequence[float], damping: float
) -> Hill | None:
    """Return a curve after one step of Levenberg and Marquardt, in logarithms."""
    normal = [[0.0, 0.0], [0.0, 0.0]]
    right = [0.0, 0.0]
    for y, t in zip(seen, at, strict=True):
        value = curve.at(t)
        rise = value * (1 - value / curve.top)
        by = (
            rise * curve.slope * (math.log(t) - math.log(curve.t50)),
            -rise * curve.slope,
        )
        for n in range(2):
            right[n] += by[n] * (y - value)
            for m in range(2):
                normal[n][m] += by[n] * by[m]
    for n in range(2):
        normal[n][n] *= 1 + damping
    try:
        slope, t50 = times(inverse(normal), right)
    except SingularError:
        return None
    hold = max(1.0, abs(slope), abs(t50))
    return Hill(
        curve.top,
        curve.slope * math.exp(slope / hold),
        curve.t50 * math.exp(t50 / hold),
    )
