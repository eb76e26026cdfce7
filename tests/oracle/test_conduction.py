"""Columns of many layers against closed forms of transient conduction.

The closed forms are those of Carslaw and Jaeger, Conduction of Heat in Solids
(2nd ed. 1959), chapters II and III, as texts on heat transfer give them.
"""

import numpy as np
import pytest
from scipy.special import erf, erfc

from sim.form import Material
from sim.stack import column

pytestmark = pytest.mark.oracle

DAY_MS = 86_400_000


def middles_m(depth_m, layers):
    """Depths of the middles of layers below the surface, from the bottom up."""
    thick_m = depth_m / layers
    return depth_m - thick_m / 2 - thick_m * np.arange(layers)


def after(net, start_c, surface_c, lasting_ms):
    """Temperatures after a time with the surroundings at one temperature [°C]."""
    modes = net.modes_of(np.full(len(net.capacity), float(start_c)))
    return net.temps_of(net.step(modes, net.drive(net.ground * surface_c), lasting_ms))


def test_frost_comes_down_to_a_water_main_as_deep_as_in_the_textbook():
    """Soil of 20 °C, its surface at -15 °C from one moment on, diffusivity
    0.138e-6 m²/s: after 60 days 0 °C is 0.68 m deep (the textbook problem of a
    water main; 0.677 m by the error function).
    """
    depth_m, layers = 6.0, 300
    soil = Material(w_mk=0.138, j_m3k=1.0e6)
    temps = after(column(soil, depth_m, layers), 20, -15, 60 * DAY_MS)
    frost_m = np.interp(0.0, temps[::-1], middles_m(depth_m, layers)[::-1])
    assert frost_m == pytest.approx(0.677, abs=0.0005)


@pytest.mark.parametrize("hours", [1, 6, 24, 24 * 7])
def test_a_semi_infinite_body_follows_the_error_function(hours):
    """(T - Ts) / (Ti - Ts) = erf(z / (2 sqrt(a t)))."""
    stuff = Material(w_mk=0.3, j_m3k=2.5e6)
    root_m = np.sqrt(stuff.w_mk / stuff.j_m3k * hours * 3600)
    deep_m = 10 * root_m  # where nothing has happened yet
    temps = after(column(stuff, deep_m, 300), 12, 27, hours * 3_600_000)
    expected = 27 - 15 * erf(middles_m(deep_m, 300) / (2 * root_m))
    assert temps == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("hours", [0.25, 1, 4, 12])
def test_a_semi_infinite_body_under_a_film_follows_its_closed_form(hours):
    """(T - Ti) / (Ta - Ti) = erfc(s) - exp(h z / k + h² a t / k²) erfc(s + h
    sqrt(a t) / k), with s = z / (2 sqrt(a t)).
    """
    stuff = Material(w_mk=0.3, j_m3k=2.5e6)
    film, diffusivity = 10.0, stuff.w_mk / stuff.j_m3k
    temps = after(column(stuff, 1.0, 500, film_m2k_w=0.1), 20, 5, hours * 3_600_000)
    depth_m = middles_m(1.0, 500)
    root = np.sqrt(diffusivity * hours * 3600)
    near = depth_m < 8 * root  # the exponential overflows where nothing happens
    s, bi = depth_m[near] / (2 * root), film * root / stuff.w_mk
    share = erfc(s) - np.exp(2 * s * bi + bi**2) * erfc(s + bi)
    assert temps[near] == pytest.approx(20 - 15 * share, abs=0.005)


@pytest.mark.parametrize("fourier", [0.02, 0.1, 0.3, 1.0])
def test_a_slab_with_fixed_faces_follows_its_series(fourier):
    """A slab of half-thickness L, both faces at Ts: (T - Ts) / (Ti - Ts) =
    4/pi sum (-1)^n / (2n + 1) exp(-(2n + 1)² pi² Fo / 4) cos((2n + 1) pi x / 2L).
    Nothing passes through its middle, which is the foot of a column.
    """
    stuff, half_m, layers = Material(w_mk=0.5, j_m3k=2.0e6), 0.06, 120
    lasting_s = fourier * half_m**2 * stuff.j_m3k / stuff.w_mk
    temps = after(column(stuff, half_m, layers), 25, 10, round(lasting_s * 1000))
    odd = 2 * np.arange(200) + 1
    signs = np.where(odd % 4 == 1, 1.0, -1.0)
    decays = signs / odd * np.exp(-((odd * np.pi) ** 2) * fourier / 4)
    from_middle = (half_m - middles_m(half_m, layers)) / half_m
    shares = 4 / np.pi * np.cos(np.outer(from_middle, odd) * np.pi / 2) @ decays
    assert temps == pytest.approx(10 + 15 * shares, abs=0.005)


def test_the_grid_error_falls_with_the_square_of_the_layer():
    """What second-order differences promise: half the layer, a quarter."""
    stuff, errors = Material(w_mk=0.3, j_m3k=2.5e6), []
    for layers in (50, 100, 200):
        temps = after(column(stuff, 1.0, layers), 0, 1, 2 * DAY_MS)
        expected = erfc(middles_m(1.0, layers) / (2 * np.sqrt(1.2e-7 * 172_800)))
        errors.append(np.abs(temps - expected).max())
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.1)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.1)


def test_a_daily_wave_is_damped_and_comes_late_by_the_damping_depth():
    """Surface T = A sin(w t): A exp(-z/d) sin(w t - z/d), d = sqrt(2 a / w)."""
    stuff, day_s = Material(w_mk=0.3, j_m3k=2.5e6), 86_400
    net, depth_m = column(stuff, 1.0, 200), middles_m(1.0, 200)
    speed = 2 * np.pi / day_s
    damping_m = np.sqrt(2 * stuff.w_mk / stuff.j_m3k / speed)
    late = depth_m / damping_m
    modes = net.modes_of(5 * np.exp(-late) * np.sin(-late))  # as it is at midnight
    for minute in range(1440 + 360):
        surface_c = 5 * np.sin(speed * 60 * (minute + 0.5))
        modes = net.step(modes, net.drive(net.ground * surface_c), 60_000)
    expected = 5 * np.exp(-late) * np.sin(np.pi / 2 - late)  # a quarter of a day on
    assert net.temps_of(modes) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("layers", [1, 3, 7, 40])
def test_a_steady_column_adds_up_by_hand_whatever_its_layers(layers):
    """Heat q into the foot: T = Tr + q (film + thickness / conductivity), less
    half a layer, as the foot's node is the middle of its layer.
    """
    net = column(Material(w_mk=0.25, j_m3k=2e6), 0.08, layers, film_m2k_w=0.1)
    heat = np.zeros(layers)
    heat[0] = 60.0
    temps = np.linalg.solve(net.conductances, heat + net.ground * 14.0)
    expected = 14 + 60 * (0.1 + (0.08 - 0.04 / layers) / 0.25)
    assert temps[0] == pytest.approx(expected)
