"""Weibull times of what was seen between looks: how many times faster one arm is.

ln T = b0 + b1 x1 + ... + scale * E, E the logarithm of a standard exponential: an
accelerated-failure-time model (Kalbfleisch and Prentice, "The Statistical Analysis
of Failure Time Data", ch. 3; from memory). With x 0 or 1 for an arm, exp(-b) says
how many times faster it is. Its own standard errors take every cutting for itself
and are too small for few of them: take p from a permutation. What may live here:
that fit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.trials.censored import Seen
from controller.trials.linear import Matrix, SingularError, inverse, times

_MOST_STEPS = 200
_WIDEST = 12.0
"""ln of a scale further from 0 than this is none: all came at once, or never."""


class NoFitError(ArithmeticError):
    """No Weibull times are likeliest: the message says why."""


@dataclass(frozen=True, slots=True)
class Row:
    """What was seen, with what it may depend on.

    Attributes:
        seen: When, and how many.
        about: x1, x2 and so on.
    """

    seen: Seen
    about: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """The likeliest Weibull times.

    Attributes:
        coefficients: b0, b1 and so on, of ln T.
        errors: Their standard errors, every cutting taken for itself.
        log_scale: ln of the scale; the Weibull shape is 1 over the scale.
        log_scale_error: Its standard error.
        log_likelihood: How likely what was seen is.
    """

    coefficients: tuple[float, ...]
    errors: tuple[float, ...]
    log_scale: float
    log_scale_error: float
    log_likelihood: float

    @property
    def shape(self) -> float:
        """The Weibull shape: above 1 the chance grows with time."""
        return math.exp(-self.log_scale)

    def scale(self, *about: float) -> float:
        """Return the time by which 63 % have had their event."""
        pairs = zip(self.coefficients, (1.0, *about), strict=True)
        return math.exp(sum(b * x for b, x in pairs))

    def median(self, *about: float) -> float:
        """Return the time by which one half has had its event."""
        return self.scale(*about) * math.pow(math.log(2), math.exp(self.log_scale))


def fit(rows: Sequence[Row]) -> Fit:
    """Return the likeliest Weibull times; 0 as a left end stands for "from the start".

    Raises:
        NoFitError: There are none.
        ValueError: A time is negative or not a number.
    """
    used = [row for row in rows if row.seen.count > 0]
    _check(used)
    place = _start(used)
    for _ in range(_MOST_STEPS):
        value, slope = _likelihood(used, place)
        curve = _curvature(used, place)
        step = _step(curve, slope)
        taken = _taken(used, place, step, value)
        if taken is None:
            break
        gained = _likelihood(used, taken)[0] - value
        place = taken
        if gained < 1e-11 * (1 + abs(value)):
            break
    return _done(used, place)


def _check(rows: Sequence[Row]) -> None:
    for row in rows:
        left, right = row.seen.left, row.seen.right
        if not 0 <= left <= right or right == 0:
            raise ValueError(f"found {row.seen}: times must lie above 0, in order")
    if all(math.isinf(row.seen.right) for row in rows):
        raise NoFitError("none was seen to come")
    latest = max(row.seen.left for row in rows)
    earliest = min(row.seen.right for row in rows)
    exact = any(row.seen.left == row.seen.right for row in rows)
    if latest < earliest and not exact:
        raise NoFitError("all came within the same stretch: one look told everything")


def _start(rows: Sequence[Row]) -> list[float]:
    """Return where to begin: the logarithms of middles, a scale of one half."""
    total = weight = 0.0
    for row in rows:
        seen = row.seen
        right = 1.5 * seen.left if math.isinf(seen.right) else seen.right
        middle = (seen.left + right) / 2
        total += seen.count * math.log(middle or 1.0)
        weight += seen.count
    return [total / weight, *(0.0 for _ in rows[0].about), math.log(0.5)]


# -------------------------------------------------------------------- likelihood


def _likelihood(
    rows: Sequence[Row], place: Sequence[float]
) -> tuple[float, list[float]]:
    """Return the log-likelihood and its slopes; minus infinity where it is none."""
    *coefficients, log_scale = place
    value, slope = 0.0, [0.0] * len(place)
    try:
        for row in rows:
            about = (1.0, *row.about)
            middle = sum(b * x for b, x in zip(coefficients, about, strict=True))
            log, by_middle, by_scale = _one(row.seen, middle, math.exp(-log_scale))
            value += row.seen.count * log
            for n, x in enumerate(about):
                slope[n] += row.seen.count * by_middle * x
            slope[-1] += row.seen.count * by_scale
    except (ValueError, OverflowError, ZeroDivisionError):
        return -math.inf, slope
    return value, slope


def _one(seen: Seen, middle: float, shape: float) -> tuple[float, float, float]:
    """Return ln of the chance of one, and its slopes by middle and log scale."""
    if seen.left == seen.right:
        z = (math.log(seen.left) - middle) * shape
        u = math.exp(z)
        log = math.log(shape) - math.log(seen.left) + z - u
        return log, (u - 1) * shape, (u - 1) * z - 1
    s_left, m_left, k_left = _still(seen.left, middle, shape)
    s_right, m_right, k_right = _still(seen.right, middle, shape)
    chance = s_left - s_right
    return math.log(chance), (m_left - m_right) / chance, (k_left - k_right) / chance


def _still(at: float, middle: float, shape: float) -> tuple[float, float, float]:
    """Return the share without the event at a time, and its slopes."""
    if at == 0:
        return 1.0, 0.0, 0.0
    if math.isinf(at):
        return 0.0, 0.0, 0.0
    z = (math.log(at) - middle) * shape
    if z > _LARGEST_Z:
        return 0.0, 0.0, 0.0
    u = math.exp(z)
    left = math.exp(-u)
    return left, u * left * shape, z * u * left


_LARGEST_Z = 6.6
"""exp(-exp(z)) is 0 beyond."""


def _curvature(rows: Sequence[Row], place: Sequence[float]) -> Matrix:
    """Return the second derivatives, by differences of the slopes."""
    size, found = len(place), []
    for n in range(size):
        nudge = 1e-5 * (1 + abs(place[n]))
        up = [x + nudge * (m == n) for m, x in enumerate(place)]
        down = [x - nudge * (m == n) for m, x in enumerate(place)]
        high, low = _likelihood(rows, up)[1], _likelihood(rows, down)[1]
        found.append([(a - b) / (2 * nudge) for a, b in zip(high, low, strict=True)])
    return [[(found[n][m] + found[m][n]) / 2 for m in range(size)] for n in range(size)]


def _step(curve: Matrix, slope: Sequence[float]) -> list[float]:
    """Return Newton's step, held back where the likelihood is not curved downwards."""
    size = len(slope)
    damping = 0.0
    for _ in range(60):
        held = [
            [-curve[n][m] + damping * (n == m) for m in range(size)]
            for n in range(size)
        ]
        try:
            step = times(inverse(held), slope)
        except SingularError:
            step = [math.nan]
        upwards = sum(a * b for a, b in zip(step, slope, strict=False))
        if upwards >= 0 and max(map(abs, step)) <= 2:  # noqa: PLR2004 - a trust region
            return step
        damping = max(1e-3, damping * 3)
    return [0.0] * size


def _taken(
    rows: Sequence[Row], place: list[float], step: list[float], value: float
) -> list[float] | None:
    """Return the place after a step, cut until it leads upwards; None: none does."""
    for _ in range(40):
        new = [x + d for x, d in zip(place, step, strict=True)]
        if _likelihood(rows, new)[0] > value:
            return new
        step = [d / 2 for d in step]
    return None


def _done(rows: Sequence[Row], place: list[float]) -> Fit:
    value, _ = _likelihood(rows, place)
    if math.isinf(value) or max(map(abs, place)) > _WIDEST:
        raise NoFitError("the likeliest times run away: too little was seen")
    negative = [[-x for x in row] for row in _curvature(rows, place)]
    try:
        spread = inverse(negative)
    except SingularError:
        raise NoFitError("what times depend on cannot be told apart") from None
    errors = [math.sqrt(max(0.0, spread[n][n])) for n in range(len(place))]
    if max(errors) > _WIDEST:
        raise NoFitError("the likeliest times run away: too little was seen")
    return Fit(tuple(place[:-1]), tuple(errors[:-1]), place[-1], errors[-1], value)
