"""Vapour in air, by the equations of FAO Irrigation and Drainage Paper 56.

Allen, Pereira, Raes and Smith, "Crop evapotranspiration" (1998), chapter 3;
the numbers of equations are those of the paper. Each function takes numbers or
arrays. What may live here: these formulas. Nothing about benches.
"""

import math
from typing import TypeVar, overload

import numpy as np

from sim.thermal import Vector

Values = TypeVar("Values", float, Vector)

LATENT_J_KG = 2.45e6
"""Latent heat of vaporisation, which the paper takes at 20 °C."""

SEA_LEVEL_KPA = 101.3

VENTILATED_PER_K = 0.000662
NATURAL_PER_K = 0.000800
INDOORS_PER_K = 0.001200
"""Coefficients of psychrometers [1/K]: aspirated at some 5 m/s, in natural
ventilation of some 1 m/s, and indoors without (with equation 16)."""


@overload
def saturation_kpa(temp_c: float) -> float: ...
@overload
def saturation_kpa(temp_c: Vector) -> Vector: ...
def saturation_kpa(temp_c: float | Vector) -> float | Vector:
    """Return the saturation vapour pressure [kPa] (11, after Tetens)."""
    found: float | Vector = 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))
    return found


def mean_saturation_kpa(lowest_c: Values, highest_c: Values) -> Values:
    """Return the mean saturation pressure of a day [kPa] (12).

    It is the mean of the pressures, not the pressure at the mean temperature,
    which is lower.
    """
    found: Values = (saturation_kpa(lowest_c) + saturation_kpa(highest_c)) / 2
    return found


def slope_kpa_k(temp_c: Values) -> Values:
    """Return the slope of the saturation pressure [kPa/K] (13)."""
    found: Values = 4098 * saturation_kpa(temp_c) / (temp_c + 237.3) ** 2
    return found


def pressure_kpa(height_m: float) -> float:
    """Return the usual pressure of the air at a height above the sea [kPa] (7)."""
    return SEA_LEVEL_KPA * math.pow((293 - 0.0065 * height_m) / 293, 5.26)


def psychrometric_kpa_k(air_kpa: float = SEA_LEVEL_KPA) -> float:
    """Return the psychrometric constant at a pressure of the air [kPa/K] (8)."""
    return 0.665e-3 * air_kpa


def from_dew_point_kpa(dew_point_c: Values) -> Values:
    """Return the vapour pressure of air with a dew point [kPa] (14)."""
    return saturation_kpa(dew_point_c)


def from_bulbs_kpa(
    dry_c: float,
    wet_c: float,
    air_kpa: float = SEA_LEVEL_KPA,
    *,
    per_k: float = VENTILATED_PER_K,
) -> float:
    """Return the vapour pressure by a dry and a wet bulb [kPa] (15, 16).

    Args:
        dry_c: What the dry bulb shows [°C].
        wet_c: What the wet bulb shows [°C].
        air_kpa: Pressure of the air [kPa].
        per_k: Coefficient of the psychrometer [1/K].
    """
    return saturation_kpa(wet_c) - per_k * air_kpa * (dry_c - wet_c)


def from_humidity_kpa(temp_c: Values, humidity: float) -> Values:
    """Return the vapour pressure by a relative humidity at once [kPa] (10).

    Args:
        temp_c: Temperature of the air [°C].
        humidity: Relative humidity, as a share [-].
    """
    found: Values = humidity * saturation_kpa(temp_c)
    return found


def from_extremes_kpa(
    lowest_c: float, highest_c: float, most: float, least: float
) -> float:
    """Return a day's vapour pressure by its extremes [kPa] (17).

    The most humidity goes with the lowest temperature, and the least with the
    highest.

    Args:
        lowest_c: Lowest temperature [°C].
        highest_c: Highest temperature [°C].
        most: Highest relative humidity, as a share [-].
        least: Lowest relative humidity, as a share [-].
    """
    at_night = from_humidity_kpa(lowest_c, most)
    return (at_night + from_humidity_kpa(highest_c, least)) / 2


def from_most_kpa(lowest_c: float, most: float) -> float:
    """Return a day's vapour pressure by its highest humidity alone [kPa] (18)."""
    return from_humidity_kpa(lowest_c, most)


def from_mean_kpa(lowest_c: float, highest_c: float, humidity: float) -> float:
    """Return a day's vapour pressure by its mean humidity [kPa] (19)."""
    return humidity * mean_saturation_kpa(lowest_c, highest_c)


def humidity(temp_c: float, vapour_kpa: float) -> float:
    """Return the relative humidity, as a share [-] (10)."""
    return vapour_kpa / saturation_kpa(temp_c)


def deficit_kpa(temp_c: Values, vapour_kpa: Values) -> Values:
    """Return by how much air could be wetter at once [kPa]; below 0: dew falls."""
    found: Values = saturation_kpa(temp_c) - vapour_kpa
    return found


def day_deficit_kpa(lowest_c: float, highest_c: float, vapour_kpa: float) -> float:
    """Return a day's vapour pressure deficit [kPa] (12, less the vapour's)."""
    return mean_saturation_kpa(lowest_c, highest_c) - vapour_kpa
