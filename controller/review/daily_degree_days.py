"""Degree-days from a day's highest and lowest temperature, by name of method.

Books and advisory services count from two readings a day, and not all alike.
What may live here: their methods, each under the name of its source, and the
list of them. The season log has better: every reading (see degree_hours).

Temperatures may be °C or °F, all of one call alike: degree-days come out in
the same unit, K·d or °F·d. A day counts as a day, also one of 23 or 25 hours.
"""

from enum import Enum
from math import isfinite

from controller.review.day_shapes import Cutoff, Shape, above_base, sine, triangle


class DailyMethod(Enum):
    """The methods; the value is the name by which people ask for one."""

    AVERAGE_1 = "average-1"
    AVERAGE_2 = "average-2"
    SINGLE_TRIANGLE = "single-triangle"
    DOUBLE_TRIANGLE = "double-triangle"
    SINGLE_SINE = "single-sine"
    DOUBLE_SINE = "double-sine"
    MET_SERVICE = "met-service"


SOURCES = {
    DailyMethod.AVERAGE_1: (
        "mean of highest and lowest, above the base; upper: both held down to it "
        "first (McMaster and Wilhelm 1997, Method 1)"
    ),
    DailyMethod.AVERAGE_2: (
        "highest and lowest held up to the base, and down to the upper, then "
        "their mean (McMaster and Wilhelm 1997, Method 2; with base 50 and upper "
        "86 °F the 86/50 of corn)"
    ),
    DailyMethod.SINGLE_TRIANGLE: (
        "straight lines from lowest to highest and back (Zalom et al. 1983)"
    ),
    DailyMethod.DOUBLE_TRIANGLE: (
        "straight lines from lowest to highest to the next day's lowest "
        "(Zalom et al. 1983)"
    ),
    DailyMethod.SINGLE_SINE: "one sine wave (Baskerville and Emin 1969)",
    DailyMethod.DOUBLE_SINE: (
        "half a sine wave to the highest, half of another to the next day's "
        "lowest (Zalom et al. 1983)"
    ),
    DailyMethod.MET_SERVICE: (
        "accumulated temperature by four cases, no upper (met.ie/climate/data03.asp)"
    ),
}
"""What each method does, and where it comes from."""

ABBREVIATIONS = {
    DailyMethod.AVERAGE_1: "avg-1",
    DailyMethod.AVERAGE_2: "avg-2",
    DailyMethod.SINGLE_TRIANGLE: "tri-1",
    DailyMethod.DOUBLE_TRIANGLE: "tri-2",
    DailyMethod.SINGLE_SINE: "sin-1",
    DailyMethod.DOUBLE_SINE: "sin-2",
    DailyMethod.MET_SERVICE: "met",
}
"""Names for the heads of narrow columns."""

NEEDS_NEXT_DAY = frozenset({DailyMethod.DOUBLE_TRIANGLE, DailyMethod.DOUBLE_SINE})
"""Methods that also need the lowest temperature of the day after."""

_SHAPES: dict[DailyMethod, Shape] = {
    DailyMethod.SINGLE_TRIANGLE: triangle,
    DailyMethod.DOUBLE_TRIANGLE: triangle,
    DailyMethod.SINGLE_SINE: sine,
    DailyMethod.DOUBLE_SINE: sine,
}

TAKES_CUTOFF = frozenset(_SHAPES)
"""Methods for which the three kinds of upper cut-off are told apart."""


def degree_days(
    method: DailyMethod,
    high: float,
    low: float,
    base: float,
    *,
    upper: float | None = None,
    cutoff: Cutoff = Cutoff.HORIZONTAL,
    next_low: float | None = None,
) -> float:
    """Return a day's degree-days by one of the methods.

    Args:
        method: Which.
        high: Highest temperature of the day.
        low: Lowest temperature of the day.
        base: Base temperature.
        upper: Upper threshold; None: none. MET_SERVICE knows none.
        cutoff: What it means, for the methods in TAKES_CUTOFF; the averages
            know only a horizontal one.
        next_low: Lowest temperature of the day after, for those in
            NEEDS_NEXT_DAY; the others do not look at it.

    Raises:
        ValueError: A temperature is no number, the highest is below a lowest,
            the upper not above the base, or something is missing or unknown to
            the method.
    """
    _check(high=high, low=low, base=base)
    _check_upper(method, base, upper, cutoff)
    shape = _SHAPES.get(method)
    if method is DailyMethod.MET_SERVICE:
        return met_service(high, low, base)
    if shape is None:
        average = _AVERAGES[method]
        return average(*_held_down(high, low, upper), base)
    halves = [(low, high)]
    if method in NEEDS_NEXT_DAY:
        halves.append((_next(method, high, next_low), high))
    return above_base(shape, halves, base, upper, cutoff)


def mcmaster_wilhelm_method_1(high: float, low: float, base: float) -> float:
    """Return degree-days: the mean of the two readings, above the base.

    McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300, Method 1: the
    mean is held against the base.

    Args:
        high: Highest temperature of the day.
        low: Lowest temperature of the day.
        base: Base temperature.

    Raises:
        ValueError: The highest is below the lowest, or one is no number.
    """
    _check(high=high, low=low, base=base)
    return max(0.0, (high + low) / 2 - base)


def mcmaster_wilhelm_method_2(high: float, low: float, base: float) -> float:
    """Return degree-days: the mean of what each reading is above the base.

    McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300, Method 2: each
    reading is held against the base before the mean is taken, so a cold night
    takes nothing from a warm day. Never less than by Method 1.

    Args:
        high: Highest temperature of the day.
        low: Lowest temperature of the day.
        base: Base temperature.

    Raises:
        ValueError: The highest is below the lowest, or one is no number.
    """
    _check(high=high, low=low, base=base)
    return (max(high, base) + max(low, base)) / 2 - base


def met_service(high: float, low: float, base: float) -> float:
    """Return a day's accumulated temperature by the four cases of met services.

    met.ie/climate/data03.asp: the mean less the base where the
    whole day is above it; half of what the highest is above less a quarter of
    what the lowest is below, where the mean is above; a quarter of what the
    highest is above, where only that is; else nothing.

    Args:
        high: Highest temperature of the day.
        low: Lowest temperature of the day.
        base: Base temperature.

    Raises:
        ValueError: The highest is below the lowest, or one is no number.
    """
    _check(high=high, low=low, base=base)
    if low >= base:
        return (high + low) / 2 - base
    if high <= base:
        return 0.0
    if (high + low) / 2 > base:
        return (high - base) / 2 - (base - low) / 4
    return (high - base) / 4


_AVERAGES = {
    DailyMethod.AVERAGE_1: mcmaster_wilhelm_method_1,
    DailyMethod.AVERAGE_2: mcmaster_wilhelm_method_2,
}


def _held_down(high: float, low: float, upper: float | None) -> tuple[float, float]:
    return (high, low) if upper is None else (min(high, upper), min(low, upper))


def _next(method: DailyMethod, high: float, next_low: float | None) -> float:
    if next_low is None:
        msg = f"{method.value} needs next_low, the lowest of the day after"
        raise ValueError(msg)
    _check(high=high, next_low=next_low)
    return next_low


def _check(**temps: float) -> None:
    """Refuse what is no number; of the first two, the second may not be higher."""
    for name, temp in temps.items():
        if not isfinite(temp):
            msg = f"{name} = {temp}: a temperature is needed, a finite number"
            raise ValueError(msg)
    (high_name, high), (low_name, low) = list(temps.items())[:2]
    if high < low:
        msg = f"{high_name} = {high:g}: at least {low_name}, which is {low:g}"
        raise ValueError(msg)


def _check_upper(
    method: DailyMethod, base: float, upper: float | None, cutoff: Cutoff
) -> None:
    if upper is None:
        return
    if method is DailyMethod.MET_SERVICE:
        msg = f"upper = {upper:g}: {method.value} knows no upper threshold"
        raise ValueError(msg)
    if not (isfinite(upper) and upper > base):
        msg = f"upper = {upper:g}: a temperature above base, which is {base:g}"
        raise ValueError(msg)
    if cutoff is not Cutoff.HORIZONTAL and method not in TAKES_CUTOFF:
        msg = f"cutoff = {cutoff.value}: {method.value} knows only a horizontal one"
        raise ValueError(msg)
