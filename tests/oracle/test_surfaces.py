"""Surfaces of media: convection, radiation, covers and evaporation."""

import numpy as np
import pytest

from sim.bench import evaporation_w_m2
from sim.drying import (
    CRUST_SHARE,
    DRY_CRUST_MM,
    FRESHLY_WET_MM,
    READY_MM,
    TOTAL_MM,
    falling_mm,
    reduction,
    wetness,
)
from sim.surface import (
    COVER_M2K_W,
    Cover,
    Film,
    Surfaces,
    lines,
    natural_w_m2k,
    radiation_w_m2k,
)
from sim.vapour import deficit_kpa, from_humidity_kpa

pytestmark = pytest.mark.oracle

TRAY_M = 0.53 * 0.25 / (2 * (0.53 + 0.25))


def one(value):
    return np.array([float(value)])


def surfaces(film=Film.NATURAL, cover_m2k_w=0.0, vapour_share=1.0, humidity=0.70):
    return Surfaces(film, one(TRAY_M), one(cover_m2k_w), one(vapour_share), humidity)


def fluxes(surface_c, room_c, wet=0.0, given=0.0, **kinds):
    found = surfaces(**kinds).fluxes(one(surface_c), one(room_c), one(wet), one(given))
    return float(found.dry[0]), float(found.latent[0])


def test_natural_convection_and_radiation_of_the_worked_tray():
    """Nu = 0.54 Ra^(1/4) over a hot plate, length area / rim; air of 25 °C: a
    tray 0.53 by 0.25 m, 10 K warmer than 25 °C. By hand Ra 5.8e5, 4.6 W/m²K;
    radiation 0.9 * 4 * 5.67e-8 * 303.2³, 5.7: together the 0.10 m²K/W of ISO
    6946 to 5 %.
    """
    convection = float(natural_w_m2k(one(10), one(30), one(TRAY_M))[0])
    radiation = float(radiation_w_m2k(one(35), one(25))[0])
    assert convection == pytest.approx(4.6, rel=0.02)
    assert radiation == pytest.approx(5.7, abs=0.05)
    assert 1 / (convection + radiation) == pytest.approx(0.10, rel=0.05)


def test_a_large_hot_plate_is_turbulent_and_a_cold_one_half_as_lively():
    """Nu = 0.15 Ra^(1/3) above Ra 1e7, where length drops out; 0.27 Ra^(1/4)
    for the upper face of a cold plate.
    """
    large, larger = (natural_w_m2k(one(10), one(25), one(m))[0] for m in (1, 2))
    assert large == pytest.approx(larger)
    rayleigh = 9.81 / 298.15 * 10 / 1.57e-5**2 * 0.71
    assert large == pytest.approx(0.15 * rayleigh ** (1 / 3) * 0.026)
    hot, cold = (natural_w_m2k(one(k), one(25), one(TRAY_M))[0] for k in (10, -10))
    assert cold == pytest.approx(hot / 2)


def test_the_standards_film_is_one_tenth_whatever_the_temperatures():
    """ISO 6946: 0.10 m²K/W for heat that flows up."""
    for excess_k in (-5, 2, 20):
        dry, _ = fluxes(15 + excess_k, 15, film=Film.STANDARD)
        assert dry == pytest.approx(10 * excess_k)


@pytest.mark.parametrize("excess_k", [2, 5, 10, 20])
def test_a_natural_film_over_a_warm_tray_is_near_the_standards(excess_k):
    dry, _ = fluxes(18 + excess_k, 18)
    assert 8.0 < dry / excess_k < 12.5


def test_a_cover_adds_the_resistance_of_its_air():
    """ISO 6946 (1997, from memory): unventilated air, heat up, 0.16 m²K/W."""
    assert COVER_M2K_W[Cover.CLOSED] == 2 * COVER_M2K_W[Cover.VENTED] == 0.16
    dry, _ = fluxes(25, 15, film=Film.STANDARD, cover_m2k_w=0.16)
    assert dry == pytest.approx(10 / 0.26)


def test_a_freshly_wet_warm_tray_loses_about_three_millimetres_a_day():
    """Common practice puts a wet surface at about 3 mm a day. FAO-56, equation
    3, with natural convection: 20 to 21 °C in a room of 14 °C at 0.70.
    """
    for surface_c in (20, 21):
        _, latent = fluxes(surface_c, 14, wet=1.0)
        assert latent / evaporation_w_m2(1.0) == pytest.approx(FRESHLY_WET_MM, abs=0.4)


def test_evaporation_is_the_deficit_times_convection_by_the_psychrometric_constant():
    """FAO-56, equation 3: rho cp / gamma (es - ea) / ra, ra = rho cp / h. With
    the standard's 5.0 W/m²K of convection (ISO 6946 annex A, from memory).
    """
    _, latent = fluxes(21, 15, wet=1.0, film=Film.STANDARD, humidity=0.6)
    deficit = deficit_kpa(21.0, from_humidity_kpa(15.0, 0.6))
    assert latent == pytest.approx(5.0 / 0.0673645 * deficit, rel=1e-5)


def test_nothing_evaporates_into_air_as_wet_as_the_surface_and_dew_falls_beyond():
    assert fluxes(15, 15, wet=1.0, humidity=1.0)[1] == pytest.approx(0.0)
    assert fluxes(12, 15, wet=1.0, humidity=1.0)[1] < 0


def test_the_reduction_coefficient_is_that_of_fao_56():
    """Equation 74: 1 up to the readily evaporable water, then straight to 0."""
    middle = (READY_MM + TOTAL_MM) / 2
    gone = np.array([0.0, READY_MM, middle, TOTAL_MM, 2 * TOTAL_MM])
    assert reduction(gone) == pytest.approx([1.0, 1.0, 0.5, 0.0, 0.0])


def test_evaporation_falls_from_a_wet_surface_to_a_dry_crust():
    crust = np.full(3, DRY_CRUST_MM)
    found = falling_mm(np.array([0.0, 5.0, 20.0]), crust)
    assert found == pytest.approx([FRESHLY_WET_MM, 2.0, DRY_CRUST_MM])
    wet = wetness(np.array([0.0, 5.0, 20.0, 30.0]), np.full(4, 30.0))
    assert wet == pytest.approx([1.0, (1 + CRUST_SHARE) / 2, CRUST_SHARE, 0.0])


@pytest.mark.parametrize("film", list(Film))
@pytest.mark.parametrize(("surface_c", "room_c"), [(24, 14), (12, 16), (17, 15)])
def test_the_lines_touch_the_curves_and_stay_near_them(film, surface_c, room_c):
    """Taylor: off by the square of the distance."""
    made, wet, given = surfaces(film), one(0.8), one(5)
    dry, latent = lines(made, one(surface_c), float(room_c), wet, given)
    for off_k, within in ((0.0, 1e-3), (0.2, 0.2)):
        at, room = one(surface_c + off_k), room_c - off_k / 2
        curve = made.fluxes(at, one(room), wet, given)
        assert dry.at(at, room) == pytest.approx(curve.dry, abs=within)
        assert latent.at(at, room) == pytest.approx(curve.latent, abs=within)


def test_a_line_stays_level_where_convection_has_a_kink():
    """As warm as the air a plate has no convection of its own, and what it has
    beside that is steep; half a kelvin off either way the line is still within
    4 W/m², which is 0.14 mm a day.
    """
    made = surfaces(Film.NATURAL, humidity=0.7)
    _, latent = lines(made, one(15), 15.0, one(1), one(0))
    for surface_c in (14.5, 15.5):
        curve = made.fluxes(one(surface_c), one(15), one(1), one(0)).latent
        assert latent.at(one(surface_c), 15.0) == pytest.approx(curve, abs=4)
