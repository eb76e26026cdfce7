"""Exact steps of a thermal network, judged by scipy and by the energy balance."""

import numpy as np
import pytest
from scipy import integrate, linalg, signal

from sim.bench import evaporation_w_m2, mat_network
from sim.thermal import NetworkBuilder
from tests.sim.lean_to import NORTH, SOUTH

pytestmark = pytest.mark.oracle

STEPS_S = [0.5, 5.0, 60.0, 600.0, 86_400.0]


def random_network(seed, count=6):
    """Nodes in a chain with random shortcuts; capacities over three decades."""
    rng = np.random.default_rng(seed)
    builder = NetworkBuilder()
    for _ in range(count):
        builder.node(float(10 ** rng.uniform(1, 4)))
    for one in range(count - 1):
        builder.link(one, one + 1, float(10 ** rng.uniform(-1, 1)))
    builder.link(0, count - 1, float(rng.uniform(0.1, 1)))
    builder.ground(0, float(rng.uniform(0.1, 2)))
    builder.ground(count - 1, float(rng.uniform(0.1, 2)))
    return builder.build(), rng


NETWORKS = {
    **{f"random-{seed}": random_network(seed)[0] for seed in range(4)},
    "north": mat_network(NORTH).network,
    "south": mat_network(SOUTH).network,
}
each_network = pytest.mark.parametrize("net", NETWORKS.values(), ids=NETWORKS.keys())


def continuous(net):
    """A and B of dx/dt = A x + B q, q the heat into each node [W]."""
    return -net.conductances / net.capacity[:, None], np.diag(1 / net.capacity)


def start_and_heat(net, seed=1):
    rng = np.random.default_rng(seed)
    count = len(net.capacity)
    return rng.uniform(5, 30, count), rng.uniform(-20, 60, count)


def stepped(net, temps, heat, lasting_s):
    modes = net.step(net.modes_of(temps), net.drive(heat), round(lasting_s * 1000))
    return net.temps_of(modes)


@each_network
@pytest.mark.parametrize("lasting_s", STEPS_S)
def test_a_step_equals_the_matrix_exponential(net, lasting_s):
    """scipy.linalg.expm of the system augmented by its constant heat."""
    temps, heat = start_and_heat(net)
    a, b = continuous(net)
    count = len(temps)
    whole = np.zeros((count + 1, count + 1))
    whole[:count, :count], whole[:count, count] = a, b @ heat
    expected = (linalg.expm(whole * lasting_s) @ np.append(temps, 1.0))[:count]
    assert stepped(net, temps, heat, lasting_s) == pytest.approx(
        expected, rel=1e-9, abs=1e-9
    )


@each_network
@pytest.mark.parametrize("lasting_s", [5.0, 60.0, 600.0])
def test_a_step_equals_the_zero_order_hold_of_scipy(net, lasting_s):
    """scipy.signal.cont2discrete, method zoh."""
    temps, heat = start_and_heat(net, seed=2)
    a, b = continuous(net)
    eye = np.eye(len(temps))
    held = signal.cont2discrete((a, b, eye, 0 * eye), lasting_s, method="zoh")
    ad, bd, *_ = held  # pyright: ignore[reportGeneralTypeIssues] untyped in scipy
    assert stepped(net, temps, heat, lasting_s) == pytest.approx(
        ad @ temps + bd @ heat, rel=1e-9, abs=1e-9
    )


@each_network
def test_a_course_of_steps_equals_a_linear_simulation(net):
    """scipy.signal.lsim with inputs held from sample to sample."""
    temps, heat = start_and_heat(net, seed=3)
    a, b = continuous(net)
    eye = np.eye(len(temps))
    on = np.random.default_rng(4).integers(0, 2, 121)
    times = np.arange(121) * 60.0
    _, _, course = signal.lsim(
        (a, b, eye, 0 * eye), np.outer(on, heat), times, X0=temps, interp=False
    )
    for at in range(120):
        temps = stepped(net, temps, heat * on[at], 60)
        assert temps == pytest.approx(course[at + 1], rel=1e-9, abs=1e-9)


@each_network
def test_one_long_step_equals_ten_short_ones(net):
    temps, heat = start_and_heat(net)
    short = temps
    for _ in range(10):
        short = stepped(net, short, heat, 60)
    assert stepped(net, temps, heat, 600) == pytest.approx(short, rel=1e-11)


@each_network
def test_the_mean_over_a_step_equals_a_quadrature(net):
    """scipy.integrate.quad over exact points of the step."""
    temps, heat = start_and_heat(net)
    before, drive = net.modes_of(temps), net.drive(heat)
    after = net.step(before, drive, 600_000)
    mean = net.temps_of(net.mean_over(before, after, drive, 600.0))
    a, b = continuous(net)
    settled = -np.linalg.solve(a, b @ heat)
    expected, _ = integrate.quad_vec(
        lambda t: settled + linalg.expm(a * t) @ (temps - settled), 0, 600, epsrel=1e-10
    )
    assert mean == pytest.approx(expected / 600, rel=1e-8)


def test_a_single_body_follows_its_closed_form():
    """Newton's law of cooling: T = Tr + q/G + (T0 - Tr - q/G) exp(-G t / C)."""
    builder = NetworkBuilder()
    builder.ground(builder.node(5_000.0), 2.0)
    net = builder.build()
    heat = np.array([20.0 + 2.0 * 12.0])
    for lasting_s in STEPS_S:
        expected = 22 + (16 - 22) * np.exp(-2 * lasting_s / 5_000)
        found = stepped(net, np.array([16.0]), heat, lasting_s)
        assert found == pytest.approx([expected], rel=1e-12)


@pytest.mark.parametrize("mat", [NORTH, SOUTH], ids=["north", "south"])
def test_the_energy_balance_closes_over_days(mat):
    """First law: heater = lost to the room + evaporated + stored, to 1e-9."""
    built = mat_network(mat)
    net, rng = built.network, np.random.default_rng(5)
    temps = np.full(len(net.capacity), 16.0)
    first = net.capacity @ temps
    modes, evaporated = net.modes_of(temps), built.top_m2 * evaporation_w_m2(1.0)
    heater_j = lost_j = vapour_j = 0.0
    for minute in range(3 * 1440):
        room_c = 14 + 3 * np.sin(2 * np.pi * minute / 1440)
        heating = built.heat_share * (mat.power_mw / 1000 * rng.integers(0, 2))
        drive = net.drive(heating - evaporated + net.ground * room_c)
        after = net.step(modes, drive, 60_000)
        mean = net.temps_of(net.mean_over(modes, after, drive, 60.0))
        lost_j += 60 * float(net.ground @ (mean - room_c))
        heater_j += 60 * float(heating.sum())
        vapour_j += 60 * float(evaporated.sum())
        modes = after
    stored_j = float(net.capacity @ net.temps_of(modes) - first)
    assert heater_j > 1e6
    assert lost_j + vapour_j + stored_j == pytest.approx(heater_j, rel=1e-9)


@each_network
def test_every_mode_dies_away(net):
    """A passive network with a path to the room has no growing mode."""
    assert net.rates.min() > 0
    assert 1 / net.rates.min() < 10 * 86_400
