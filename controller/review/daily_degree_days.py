"""Degree-days from a day's highest and lowest temperature, by name of method.

Books and advisory services count from two readings a day, and not all alike.
What may live here: their formulas, each under the name of its source. The
season log has better: every reading (see degree_hours).
"""

from math import isfinite


def mcmaster_wilhelm_method_1(max_c: float, min_c: float, base_c: float) -> float:
    """Return degree-days [K·d]: the mean of the two readings, above the base.

    McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300, Method 1: the
    mean is held against the base.

    Args:
        max_c: Highest temperature of the day [°C].
        min_c: Lowest temperature of the day [°C].
        base_c: Base temperature [°C].

    Raises:
        ValueError: The highest is below the lowest, or one is no number.
    """
    _check(max_c, min_c, base_c)
    return max(0.0, (max_c + min_c) / 2 - base_c)


def mcmaster_wilhelm_method_2(max_c: float, min_c: float, base_c: float) -> float:
    """Return degree-days [K·d]: the mean of what each reading is above the base.

    McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300, Method 2: each
    reading is held against the base before the mean is taken, so a cold night
    takes nothing from a warm day. Never less than by Method 1.

    Args:
        max_c: Highest temperature of the day [°C].
        min_c: Lowest temperature of the day [°C].
        base_c: Base temperature [°C].

    Raises:
        ValueError: The highest is below the lowest, or one is no number.
    """
    _check(max_c, min_c, base_c)
    return (max(max_c, base_c) + max(min_c, base_c)) / 2 - base_c


def _check(max_c: float, min_c: float, base_c: float) -> None:
    for name, temp_c in (("max_c", max_c), ("min_c", min_c), ("base_c", base_c)):
        if not isfinite(temp_c):
            raise ValueError(f"{name} = {temp_c}: a temperature in °C is needed")
    if max_c < min_c:
        raise ValueError(f"max_c = {max_c:g}: at least min_c, which is {min_c:g} °C")
