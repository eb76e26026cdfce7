"""A mat and its trays as a network: what differs, what is lost, what is left."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.bench import evaporation_w_m2, mat_network, probe_weights, tray_alone
from tests.sim.lean_to import NORTH, SOUTH, a_tray

MATS = {"north": NORTH, "south": SOUTH}
ALIKE = replace(NORTH, trays=tuple(a_tray(f"N{c}", c) for c in (1, 2, 3)))


def settled(net, *, power_w=0.0, room_c=0.0, mm=0.0):
    """Temperatures of all nodes after a very long time [°C]."""
    heat = net.heat_share * power_w - net.top_m2 * evaporation_w_m2(mm)
    heat = heat + net.network.ground * room_c
    return np.linalg.solve(net.network.conductances, heat)


def root_zone(net, temps, name, depth_mm):
    return float(probe_weights(net.trays[name], depth_mm, len(temps)) @ temps)


def share_needed(mat, tray, *, room_c, wanted_c, mm):
    """Share of full power that holds a tray's root zone in a steady room."""
    net, name, depth_mm = mat_network(mat), tray.name, tray.probes[0].depth_mm
    idle = root_zone(net, settled(net, room_c=room_c, mm=mm), name, depth_mm)
    full = root_zone(net, settled(net, power_w=mat.power_mw / 1000), name, depth_mm)
    return (wanted_c - idle) / full


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS.keys())
def test_all_of_the_mats_power_goes_into_the_mat(mat):
    assert mat_network(mat).heat_share.sum() == pytest.approx(1.0, abs=1e-12)


def test_an_empty_mat_is_one_bare_part_that_takes_all_the_heat():
    net = mat_network(replace(NORTH, trays=()))
    assert net.heat_share.tolist() == pytest.approx([1.0])
    assert net.surface == 0
    bare = settled(net, power_w=100)[0]
    # By hand: 0.636 m² over 0.10 up, and 25 mm of 0.035 W/mK and 0.17 down.
    assert bare == pytest.approx(100 / 0.636 / (1 / 0.10 + 1 / (0.025 / 0.035 + 0.17)))


def test_a_middle_tray_is_warmer_than_its_equal_at_the_edge():
    net = mat_network(ALIKE)
    first, middle, last = (
        root_zone(net, settled(net, power_w=100), name, 40) for name in net.trays
    )
    assert middle > first + 0.05
    assert first == pytest.approx(last)


def test_trays_of_equal_place_differ_by_medium_and_by_depth():
    base = mat_network(replace(NORTH, trays=(a_tray("N1", 1), a_tray("N2", 2))))
    other = {
        "medium": (a_tray("N1", 1), a_tray("N2", 2, medium="bark-sand")),
        "depth": (a_tray("N1", 1), a_tray("N2", 2, depth_mm=90)),
    }
    same = settled(base, power_w=100)
    assert root_zone(base, same, "N1", 40) == pytest.approx(
        root_zone(base, same, "N2", 40)
    )
    for trays in other.values():
        net = mat_network(replace(NORTH, trays=trays))
        temps = settled(net, power_w=100)
        one, two = (root_zone(net, temps, name, 40) for name in ("N1", "N2"))
        assert abs(one - two) > 0.1


def test_a_heated_tray_is_warmer_the_deeper_one_looks():
    net = mat_network(NORTH)
    temps = settled(net, power_w=100, room_c=11)
    depths = [root_zone(net, temps, "N2", mm) for mm in (10, 20, 30, 40, 50)]
    assert depths == sorted(depths)
    assert depths[-1] > depths[0] + 1


@pytest.mark.parametrize("depth_mm", [0, 3, 10, 29, 30, 31, 55, 60, None])
def test_a_probe_sees_a_mean_of_layers_that_adds_up_to_one(depth_mm):
    net = mat_network(NORTH)
    weights = probe_weights(net.trays["N1"], depth_mm, len(net.heat_share))
    assert weights.sum() == pytest.approx(1.0)
    assert weights.min() >= 0


def test_a_probe_without_a_depth_is_halfway_down():
    net = mat_network(NORTH)
    unsaid, halfway = (
        probe_weights(net.trays["N1"], mm, len(net.heat_share)) for mm in (None, 30)
    )
    assert unsaid.tolist() == halfway.tolist()


@given(
    room_c=st.floats(-10, 35),
    mat=st.sampled_from(sorted(MATS)),
    power_w=st.floats(1, 200),
)
@settings(max_examples=50, deadline=None)
def test_unheated_and_dry_everything_tends_to_the_room_and_heat_only_warms(
    room_c, mat, power_w
):
    net = mat_network(MATS[mat])
    idle = settled(net, room_c=room_c)
    assert idle == pytest.approx(np.full(len(idle), room_c), abs=1e-9)
    assert (settled(net, room_c=room_c, power_w=power_w) > room_c).all()


def test_more_evaporation_leaves_every_root_zone_cooler():
    net = mat_network(NORTH)
    for name in net.trays:
        by_mm = [
            root_zone(net, settled(net, room_c=16, mm=mm), name, 40)
            for mm in (0, 0.3, 1, 3)
        ]
        assert by_mm == sorted(by_mm, reverse=True)
        # Linear in the water that goes.
        assert by_mm[0] - by_mm[3] == pytest.approx(3 * (by_mm[0] - by_mm[2]))


def test_a_tray_on_no_mat_is_not_heated_and_follows_the_room():
    net = tray_alone(a_tray("sill"))
    assert net.heat_share.sum() == 0
    idle = settled(net, room_c=12)
    assert idle == pytest.approx(np.full(len(idle), 12.0))


@pytest.mark.parametrize("name", ["N1", "N2", "N3"])
def test_north_holds_its_setpoint_in_the_coldest_hour_with_power_to_spare(name):
    tray = next(tray for tray in NORTH.trays if tray.name == name)
    assert share_needed(NORTH, tray, room_c=11, wanted_c=21, mm=1) <= 0.85


@pytest.mark.parametrize("name", ["S1", "S2"])
def test_south_holds_its_setpoint_in_the_coldest_hour_with_power_to_spare(name):
    tray = next(tray for tray in SOUTH.trays if tray.name == name)
    assert share_needed(SOUTH, tray, room_c=11, wanted_c=26, mm=1) <= 0.85


@pytest.mark.parametrize("name", ["N1", "N2", "N3"])
def test_north_holds_the_everyday_setting_of_60_and_75_fahrenheit(name):
    """Common practice of the trade, no source: 15.6 °C room, 23.9 °C root zone."""
    tray = next(tray for tray in NORTH.trays if tray.name == name)
    assert share_needed(NORTH, tray, room_c=15.6, wanted_c=23.9, mm=1) <= 0.85
