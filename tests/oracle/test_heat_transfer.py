"""Heat in media and at surfaces against handbooks and standards."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from sim import bench
from sim.bench import evaporation_w_m2, mat_network, probe_weights
from sim.media import MEDIA, Medium
from sim.thermal import NetworkBuilder
from tests.sim.lean_to import NORTH, a_tray

pytestmark = pytest.mark.oracle


def of(*, organic=0.0, mineral=0.0, water=0.0):
    return Medium(organic=organic, mineral=mineral, perlite=0.0, water=water)


@pytest.mark.parametrize(
    ("medium", "mj_m3k"),
    [
        (of(organic=0.10), 0.25),
        (of(organic=0.10, water=0.45), 2.13),
        (of(organic=0.10, water=0.90), 4.01),
        (of(mineral=0.60), 1.28),
        (of(mineral=0.60, water=0.20), 2.12),
        (of(mineral=0.60, water=0.40), 2.96),
        (of(mineral=0.67), 1.42),
        (of(mineral=0.67, water=0.15), 2.05),
        (of(mineral=0.67, water=0.33), 2.81),
    ],
    ids=[
        "peat-dry", "peat-half", "peat-full", "loose-dry", "loose-half", "loose-full",
        "tight-dry", "tight-half", "tight-full",
    ],
)  # fmt: skip
def test_heat_capacities_of_peat_and_sand_follow_the_mixing_rule(medium, mj_m3k):
    """Moene & van Dam, Transport in the Atmosphere-Vegetation-Soil Continuum,
    Table 2.2 (after de Vries 1963), rows peat and sand; printed to 0.01, made
    from constituents that are printed to 0.01 themselves.
    """
    assert medium.heat_capacity() / 1e6 == pytest.approx(mj_m3k, abs=0.011)


@pytest.mark.parametrize(("water", "w_mk"), [(0, 0.04), (0.45, 0.27), (0.90, 0.50)])
def test_conductivity_of_peat_meets_its_three_rows(water, w_mk):
    """Moene & van Dam, Table 2.2, peat with pores of 0.9."""
    found = of(organic=0.10, water=water).conductivity()
    assert found == pytest.approx(w_mk, abs=0.005)


@pytest.mark.parametrize("name", ["coir-perlite", "peat-perlite", "peat"])
def test_organic_media_conduct_between_air_dry_and_near_saturation(name):
    """Heiskanen 2000, Suo: 0.05 air-dry to 0.5 W/mK near saturation, for weakly
    decomposed Sphagnum media.
    """
    assert 0.05 < MEDIA[name].conductivity() < 0.5


def test_surface_resistances_are_those_of_the_standard():
    """ISO 6946, internal surfaces: up 0.10, level 0.13, down 0.17 m²K/W."""
    found = bench.FILM_UP_M2K_W, bench.FILM_SIDE_M2K_W, bench.FILM_DOWN_M2K_W
    assert found == (0.10, 0.13, 0.17)


def test_the_upward_resistance_agrees_with_convection_and_radiation():
    """Horizontal plate, hot side up, Nu = 0.54 Ra^(1/4), length area/perimeter
    (free-convection correlations as in heat-transfer texts), air of 25 °C with
    k 0.026 W/mK and viscosity 1.57e-5 m²/s (Incropera, from memory), and
    radiation with emissivity 0.9: a tray 0.53 by 0.25 m, 10 K warmer.
    """
    length_m = 0.53 * 0.25 / (2 * (0.53 + 0.25))
    viscosity, prandtl, mean_k = 1.57e-5, 0.71, 303.15
    rayleigh = 9.81 / mean_k * 10 * length_m**3 / viscosity**2 * prandtl
    convection = 0.54 * rayleigh**0.25 * 0.026 / length_m
    radiation = 0.9 * 5.670e-8 * (308.15**4 - 298.15**4) / 10
    assert 1 / (convection + radiation) == pytest.approx(bench.FILM_UP_M2K_W, rel=0.05)


def test_heat_of_evaporation_is_that_of_fao_56():
    """FAO-56 (Allen et al. 1998), example 13: 0.33 MJ/m² a day is 0.13 mm a day;
    2.45 MJ/kg makes 1 mm an hour 681 W/m².
    """
    per_mm = evaporation_w_m2(1.0)
    assert round(0.33e6 / 86_400 / per_mm, 2) == 0.13
    assert 24 * per_mm == pytest.approx(681, abs=0.6)


def wide(medium="peat-perlite", depth_mm=60):
    """A mat of 100 km by 100 km: what its tray's rim loses counts for nothing."""
    tray = a_tray("N1", medium=medium, depth_mm=depth_mm)
    mat = replace(NORTH, length_mm=100_000_000, width_mm=100_000_000, trays=(tray,))
    return mat_network(mat)


@pytest.mark.parametrize("medium", ["coir-perlite", "bark-sand", "peat-perlite"])
@pytest.mark.parametrize("depth_mm", [40, 60, 90])
def test_a_steady_stack_adds_up_by_hand_from_its_resistances(medium, depth_mm):
    """Resistances in series: ISO 6946 films 0.10 up and 0.17 down, foam
    0.025 / 0.035, medium depth / conductivity, contact 0.02 m²K/W.
    """
    net = wide(medium, depth_mm)
    tray = net.trays["N1"]
    conductivity = MEDIA[medium].conductivity()
    heat = net.heat_share * 100.0 * 1e10  # 100 W/m²
    temps = np.linalg.solve(net.network.conductances, heat)
    up = 0.02 + depth_mm / 1000 / conductivity + 0.10
    down = 0.025 / 0.035 + 0.17
    sheet_k = 100 / (1 / up + 1 / down)
    middle_k = sheet_k / up * (depth_mm / 2000 / conductivity + 0.10)
    halfway = probe_weights(tray, None, len(temps)) @ temps
    assert temps[net.surface] == pytest.approx(sheet_k, rel=1e-4)
    assert halfway == pytest.approx(middle_k, rel=1e-4)


def test_rises_per_watt_meet_the_hand_calculation_of_a_wet_medium():
    """Arithmetic on ISO 6946 (0.10 up) and peat's 0.30 W/mK: 100 W/m² through
    50 mm warms the surface by 10 K, the middle by 18 K and the far side by 27 K.
    """
    tray = bench.TrayNodes((1, 2, 3), 1.0, 50, under=0)
    half = 0.05 / bench.LAYERS / 2 / 0.30
    builder = NetworkBuilder()
    nodes = [builder.node(1e4) for _ in range(bench.LAYERS + 1)]
    builder.link(nodes[0], nodes[1], 1 / half)
    for one, other in pairwise(nodes[1:]):
        builder.link(one, other, 1 / (2 * half))
    builder.ground(nodes[-1], 1 / (half + bench.FILM_UP_M2K_W))
    net = builder.build()
    temps = np.linalg.solve(net.conductances, np.array([100.0, 0, 0, 0]))
    assert temps[-1] - 100 * half == pytest.approx(10, abs=0.5)
    assert probe_weights(tray, 25, 4) @ temps == pytest.approx(18, abs=0.5)
    assert temps[0] == pytest.approx(27, abs=0.5)


@pytest.mark.parametrize("w_m2", [79, 95])
def test_the_rise_at_published_powers_is_a_published_rise(w_m2):
    """15 to 25 Btu/h ft² (47 to 79 W/m²) of root-zone heat are adequate (Rutgers,
    quoted by J. Bartok, greenhousemag.com) and up to 30 (95 W/m²) obtainable
    (ipm.cahnr.uconn.edu); soil on mats rises by 10 to 20 °F over its
    surroundings (a seed merchant's figure). At 1 mm a day of evaporation.
    """
    net = mat_network(NORTH)
    heat = net.heat_share * (w_m2 * 0.636) - net.top_m2 * evaporation_w_m2(1.0)
    temps = np.linalg.solve(net.network.conductances, heat)
    for tray in net.trays.values():
        rise_k = probe_weights(tray, None, len(temps)) @ temps
        assert 10 / 1.8 <= rise_k <= 20 / 1.8
