"""How the rate of rooting, or of emergence, follows the temperature.

Three curves that the literature uses: the straight line above a base (thermal time),
the broken stick, and the beta function. Each tells the rate as warmth [K]: what an
hour at that temperature adds to a sum of degree-hours. At the optimum that is the
distance to the base, so that the same sum can be told of all three. What may live
here: curves, and fitting them to rates by least squares.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.trials.least_of import least


@dataclass(frozen=True, slots=True)
class Linear:
    """The straight line above a base, level above an upper cut-off.

    Attributes:
        base_c: Nothing happens below [°C].
        upper_c: And no faster above [°C]; None: the line goes on.

    Raises:
        ValueError: The upper does not lie above the base.
    """

    base_c: float
    upper_c: float | None = None

    def __post_init__(self) -> None:
        if self.upper_c is not None and not self.base_c < self.upper_c:
            raise ValueError(
                f"base {self.base_c:g} °C, upper {self.upper_c:g} °C: the base must"
                " lie below"
            )

    def warmth(self, temp_c: float) -> float:
        """Return what an hour at a temperature counts [K]."""
        capped = temp_c if self.upper_c is None else min(temp_c, self.upper_c)
        return max(0.0, capped - self.base_c)


@dataclass(frozen=True, slots=True)
class _Peaked:
    """What has a base, an optimum and a ceiling, in this order [°C]."""

    base_c: float
    optimum_c: float
    ceiling_c: float

    def __post_init__(self) -> None:
        if not self.base_c < self.optimum_c < self.ceiling_c:
            raise ValueError(
                f"base {self.base_c:g} °C, optimum {self.optimum_c:g} °C, ceiling"
                f" {self.ceiling_c:g} °C: each must lie above the one before"
            )


@dataclass(frozen=True, slots=True)
class BrokenStick(_Peaked):
    """Up in a straight line from a base to an optimum, and down to a ceiling."""

    def warmth(self, temp_c: float) -> float:
        """Return what an hour at a temperature counts [K]."""
        rise_k = self.optimum_c - self.base_c
        if temp_c <= self.optimum_c:
            return max(0.0, temp_c - self.base_c)
        fall_k = self.ceiling_c - self.optimum_c
        return max(0.0, rise_k * (self.ceiling_c - temp_c) / fall_k)


@dataclass(frozen=True, slots=True)
class Beta(_Peaked):
    """The beta function of Yan and Hunt, nought at base and ceiling.

    Yan and Hunt 1999, Annals of Botany 84: 607-614, have it with a base of 0 °C:
    r = ((Tmax - T)/(Tmax - Topt)) · (T/Topt)^(Topt/(Tmax - Topt)). With another base
    every temperature is told from there.
    """

    def warmth(self, temp_c: float) -> float:
        """Return what an hour at a temperature counts [K]."""
        return (self.optimum_c - self.base_c) * self.share(temp_c)

    def share(self, temp_c: float) -> float:
        """Return the rate as a share of that at the optimum."""
        if not self.base_c < temp_c < self.ceiling_c:
            return 0.0
        rise_k, fall_k = self.optimum_c - self.base_c, self.ceiling_c - self.optimum_c
        up = (temp_c - self.base_c) / rise_k
        down = (self.ceiling_c - temp_c) / fall_k
        return float(down * up ** (rise_k / fall_k))


Curve = Linear | BrokenStick | Beta


def bounds_in_words(curve: Curve) -> str:
    """Return between which temperatures a curve counts anything."""
    if isinstance(curve, Linear):
        return f"above {curve.base_c:g} °C"
    return f"between {curve.base_c:g} and {curve.ceiling_c:g} °C"


# ------------------------------------------------------------------------- fitting


@dataclass(frozen=True, slots=True)
class LinearFit:
    """A straight line through rates.

    Attributes:
        base_c: Where it meets 0 [°C]; an honest fit may give a negative one.
        thermal_time: Its inverse slope: K times the unit of time of the rates.
        r_squared: Share of the rates' variance that it explains.
    """

    base_c: float
    thermal_time: float
    r_squared: float


@dataclass(frozen=True, slots=True)
class PeakedFit:
    """A curve with an optimum through rates.

    Attributes:
        curve: The curve.
        greatest: The rate at its optimum.
        squares: What is left: the sum of squared differences.
    """

    curve: BrokenStick | Beta
    greatest: float
    squares: float

    @property
    def thermal_time(self) -> float:
        """Inverse slope of the straight rise to the optimum, in K times time."""
        return (self.curve.optimum_c - self.curve.base_c) / self.greatest


def fit_linear(temps_c: Sequence[float], rates: Sequence[float]) -> LinearFit:
    """Fit rate = (T - base) / thermal time by ordinary least squares.

    The model of thermal time as in Brewster, Onions and Other Vegetable Alliums,
    equations 4.6 and 4.7. Give it only the temperatures at which the rate still
    rises.

    Args:
        temps_c: Temperatures [°C].
        rates: What happened at each per time: 1 / days, say.

    Raises:
        ValueError: There are fewer than two temperatures, or the rate does not rise.
    """
    _check_pairs(temps_c, rates, 2)
    count = len(temps_c)
    mean_c, mean = math.fsum(temps_c) / count, math.fsum(rates) / count
    spread = math.fsum((temp - mean_c) ** 2 for temp in temps_c)
    pairs = list(zip(temps_c, rates, strict=True))
    slope = math.fsum((t - mean_c) * (r - mean) for t, r in pairs) / spread
    if slope <= 0:
        raise ValueError("the rate does not rise with the temperature: no base")
    base_c = mean_c - mean / slope
    left = math.fsum((r - slope * (t - base_c)) ** 2 for t, r in pairs)
    whole = math.fsum((r - mean) ** 2 for r in rates)
    return LinearFit(base_c, 1 / slope, 1 - left / whole)


def fit_broken_stick(temps_c: Sequence[float], rates: Sequence[float]) -> PeakedFit:
    """Fit a broken stick by least squares.

    Args:
        temps_c: Temperatures on both sides of the optimum [°C].
        rates: What happened at each per time; 0: nothing did.

    Raises:
        ValueError: There are fewer than four temperatures, or no rate.
    """
    _check_pairs(temps_c, rates, 4)
    return _fit_peaked(temps_c, rates, BrokenStick, None)


def fit_beta(
    temps_c: Sequence[float], rates: Sequence[float], base_c: float | None = 0.0
) -> PeakedFit:
    """Fit a beta function by least squares.

    Args:
        temps_c: Temperatures on both sides of the optimum [°C].
        rates: What happened at each per time; 0: nothing did.
        base_c: Its base [°C]; None: that is fitted, too.

    Raises:
        ValueError: There are too few temperatures, or no rate.
    """
    _check_pairs(temps_c, rates, 4 if base_c is None else 3)
    return _fit_peaked(temps_c, rates, Beta, base_c)


def _fit_peaked(
    temps_c: Sequence[float],
    rates: Sequence[float],
    shape: type[BrokenStick] | type[Beta],
    base_c: float | None,
) -> PeakedFit:
    low_c, high_c = min(temps_c), max(temps_c)
    best = temps_c[max(range(len(rates)), key=lambda at: rates[at])]

    alive = [temp for temp, rate in zip(temps_c, rates, strict=True) if rate > 0]

    def fitted(at: Sequence[float]) -> PeakedFit | None:
        """Return the fit of base, optimum and ceiling, its height the best.

        A curve that rules out what was seen to happen is none, however small its
        squares.
        """
        try:
            curve = shape(at[2] if base_c is None else base_c, at[0], at[1])
        except ValueError:
            return None
        if not curve.base_c < min(alive) <= max(alive) < curve.ceiling_c:
            return None
        return _with_height(curve, temps_c, rates)

    def squares(at: Sequence[float]) -> float:
        found = fitted(at)
        return math.inf if found is None else found.squares

    reach = high_c - low_c
    starts = [
        [optimum, ceiling, *([low_c - 0.1 * reach] if base_c is None else [])]
        for optimum in (best - 0.1 * reach, best, best + 0.1 * reach)
        for ceiling in (high_c + 0.02 * reach, high_c - 0.1 * reach)
    ]
    found = [fitted(least(squares, start, 0.1 * reach)) for start in starts]
    possible = [one for one in found if one is not None]
    if not possible:
        raise ValueError("no such curve can be laid through these rates")
    return min(possible, key=lambda one: one.squares)


def _with_height(
    curve: BrokenStick | Beta, temps_c: Sequence[float], rates: Sequence[float]
) -> PeakedFit | None:
    """Return a curve with the height that fits best: that is linear."""
    rise_k = curve.optimum_c - curve.base_c
    shares = [curve.warmth(temp) / rise_k for temp in temps_c]
    weight = math.fsum(share * share for share in shares)
    pairs = list(zip(shares, rates, strict=True))
    greatest = math.fsum(s * r for s, r in pairs) / weight if weight else 0.0
    if greatest <= 0:
        return None
    left = math.fsum((r - greatest * s) ** 2 for s, r in pairs)
    return PeakedFit(curve, greatest, left)


def _check_pairs(temps_c: Sequence[float], rates: Sequence[float], few: int) -> None:
    if len(temps_c) != len(rates):
        raise ValueError(f"{len(temps_c)} temperatures and {len(rates)} rates")
    if len(set(temps_c)) < few:
        raise ValueError(f"{len(set(temps_c))} temperatures: at least {few} are needed")
    if not any(rate > 0 for rate in rates):
        raise ValueError("nothing happened at any temperature: there is no rate")
