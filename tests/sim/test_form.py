"""The form of a network: one by one and by arrays it is the same."""

import numpy as np
import pytest

from sim.bench import Standing, mat_form, mat_network, probe_weights, tray_form
from sim.form import Assembly, Material
from tests.sim.lean_to import NORTH, SOUTH, a_tray

FORMS = {
    "north": mat_form(NORTH),
    "south-of-6": mat_form(SOUTH, layers=6),
    "lifted": mat_form(NORTH, Standing(lifted=frozenset({"N2"}))),
    "sill": tray_form(a_tray("sill")),
}


@pytest.mark.parametrize("made", FORMS.values(), ids=FORMS.keys())
def test_by_arrays_it_has_the_conductances_and_capacities_of_one_by_one(made):
    names = list(made.trays)
    rng = np.random.default_rng(1)
    w_mk, j_m3k = rng.uniform(0.1, 1, len(names)), rng.uniform(1e6, 4e6, len(names))
    materials = {n: Material(*of) for n, *of in zip(names, w_mk, j_m3k, strict=True)}
    net, assembly = made.form.network(materials), Assembly([made.form], names)
    assert assembly.capacity(j_m3k) == pytest.approx(net.capacity)
    ground = assembly.sides(w_mk)
    for name, number in made.form.tops.items():
        node, way = made.form.grounds[number]
        ground[node] += way.conductance(materials[name].w_mk)
    assert ground == pytest.approx(net.ground)
    (inner,) = assembly.inner(w_mk)
    assert inner + np.diag(ground) == pytest.approx(net.conductances)


def test_forms_together_are_what_each_is_alone():
    made = [FORMS["sill"], FORMS["south-of-6"], FORMS["north"]]
    names = ["N3", "S1", "sill", "N1", "S2", "N2"]
    rng = np.random.default_rng(2)
    w_mk, j_m3k = rng.uniform(0.1, 1, 6), rng.uniform(1e6, 4e6, 6)
    forms = [one.form for one in made]
    together, alone = Assembly(forms, names), [Assembly([f], names) for f in forms]
    for found, parts in (
        (together.capacity(j_m3k), [one.capacity(j_m3k) for one in alone]),
        (together.sides(w_mk), [one.sides(w_mk) for one in alone]),
    ):
        assert found == pytest.approx(np.concatenate(parts))
    for found, one in zip(together.inner(w_mk), alone, strict=True):
        (expected,) = one.inner(w_mk)
        assert found == pytest.approx(expected)


def test_a_steady_tray_is_as_warm_whatever_its_layers():
    """Straight between layers is exact where heat only flows up."""
    found = []
    for layers in (3, 6, 12, 24):
        net = mat_network(NORTH, layers=layers)
        temps = np.linalg.solve(net.network.conductances, net.heat_share * 100.0)
        found.append(probe_weights(net.trays["N2"], 30, len(temps)) @ temps)
    assert found == pytest.approx([found[-1]] * 4, rel=0.01)
