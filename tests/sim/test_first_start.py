"""What a bench will do before it has done anything."""

from dataclasses import replace

import control
import numpy as np
import pytest

from controller.review.limit_cycle import ultimate
from sim.first_start import Expected, control_model, expected, first_pid, holding
from tests.sim.lean_to import (
    BOTH_OFF,
    BOTH_ON,
    DAY,
    HOUR,
    NORTH,
    PLAN,
    SOUTH,
    a_world,
    flat_room,
)

EVEN = {"unevenness": 0.0, "noise_k": 0.0, "evaporation_mm": 0.0}


def settled(energised, **options):
    world = a_world(PLAN, room_csv=flat_room(10.0), **(EVEN | options))
    world.advance(5 * DAY, energised)  # thirty time constants
    return world


def test_the_rise_is_the_simulated_benchs_own():
    hot, cold = settled(BOTH_ON), settled(BOTH_OFF)
    for tray in expected(NORTH):
        rise_k = hot.truth(tray.tray) - cold.truth(tray.tray)
        assert tray.gain_k == pytest.approx(rise_k, abs=1e-4)
    rise_k = hot.surface("north") - cold.surface("north")
    assert expected(NORTH)[0].surface_k == pytest.approx(rise_k, abs=1e-4)


def test_evaporation_cools_as_the_simulated_bench_does():
    dry, wet = settled(BOTH_OFF), settled(BOTH_OFF, evaporation_mm=2.0)
    for tray in expected(NORTH):
        cooled_k = dry.truth(tray.tray) - wet.truth(tray.tray)
        assert 2 * tray.cooled_k == pytest.approx(cooled_k, abs=1e-4)


def test_the_rise_comes_as_the_simulated_benchs_does():
    world = a_world(PLAN, room_csv=flat_room(10.0), start_temp_c=10.0, **EVEN)
    for hours in (0.1, 1, 3, 9, 40):
        world.advance(round(hours * HOUR), BOTH_ON)
        for tray in expected(NORTH):
            rise_k = world.truth(tray.tray) - 10.0
            assert tray.rise_k(hours * 3600) == pytest.approx(rise_k, abs=1e-6)


@pytest.mark.parametrize("share", [0.1, 0.632, 0.95])
def test_a_share_of_the_rise_has_come_when_told(share):
    for tray in expected(NORTH):
        came_k = tray.rise_k(tray.warm_up_s(share))
        assert came_k == pytest.approx(share * tray.gain_k, abs=1e-6)


def test_foam_is_worth_degrees():
    """Every kelvin that the underside keeps; none at all where heat goes up only."""
    bare, thick = expected(NORTH, 0.0), expected(NORTH, 0.05)
    for none, usual, double in zip(bare, expected(NORTH), thick, strict=True):
        assert none.gain_k < 0.8 * usual.gain_k < 0.8 * double.gain_k


def test_holding_says_yes_barely_and_no():
    tray = Expected("N1", 15.0, 1.0, 24.0, np.array([15.0]), np.array([1 / 9_000]))
    easy = holding(tray, 20.0, 10.0, evaporation_mm=1.0)
    assert easy.duty == pytest.approx(11 / 15)
    assert easy.highest_c == pytest.approx(24.0)
    assert easy.surface_c == pytest.approx(9 + 11 / 15 * 24)
    assert easy.verdict == "yes"
    assert holding(tray, 22.5, 10.0, 1.0).verdict == "barely"
    weak = holding(tray, 24.5, 10.0, 1.0)
    assert weak.verdict == "no"
    assert weak.surface_c == pytest.approx(9 + 24)
    assert holding(tray, 8.0, 10.0, 1.0).duty == 0


def test_what_is_told_to_hold_is_held_by_the_simulated_bench():
    """At the duty that is told, the tray settles where it should."""
    tray = expected(NORTH)[1]
    told = holding(tray, 20.0, 10.0, 0.0)
    on, off = settled(BOTH_ON), settled(BOTH_OFF)
    mean_c = told.duty * on.truth("N2") + (1 - told.duty) * off.truth("N2")
    assert mean_c == pytest.approx(20.0, abs=1e-4)


@pytest.mark.oracle
def test_one_lag_and_a_delay_are_found_again():
    """A tray that is one lag: gain and lag are its own, the delay what waits.

    The probe's lag of 30 s is all that is no delay; it counts nearly as one.
    """
    lag = Expected("L", 15.0, 0.0, 0.0, np.array([15.0]), np.array([1 / 9_000]))
    found = control_model(lag, 5.0, 600_000)
    assert found.gain_k == 15.0
    assert found.lag_s == pytest.approx(9_000, rel=0.02)
    assert found.delay_s == pytest.approx(302.5 + 30, rel=0.02)


@pytest.mark.oracle
@pytest.mark.parametrize("smooth", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("mat", [NORTH, SOUTH], ids=lambda mat: mat.name)
def test_first_settings_keep_their_margins_on_the_whole_bench(mat, smooth):
    """Margins by python-control, of the loop with every mode of the network.

    With closed lag = delay SIMC has a gain margin of 3.14 and a phase margin of
    61.4 degrees for one lag and a delay, 2.96 and 46.9 for an integrator and a
    delay, between which a slow lag lies (Skogestad 2003, Table 1).
    """
    rates = np.geomspace(1e-6, 0.02, 5_000)
    for tray in expected(mat):
        pid = first_pid(control_model(tray, 5.0, 600_000), 600_000, smooth)
        waits = np.exp(-1j * rates * 302.5) / (1 + 1j * rates * 30)
        acts = pid.gain_per_k * (1 + 1 / (1j * rates * pid.integral_s))
        loop = control.frd(tray.response(rates) * waits * acts, rates)
        gain_margin, phase_margin, _, _ = control.margin(loop)
        assert gain_margin > 2.9
        assert phase_margin > 45


def test_smoother_is_gentler_and_never_near_the_ultimate_gain():
    model = control_model(expected(NORTH)[0], 5.0, 600_000)
    gains = [first_pid(model, 600_000, s).gain_per_k for s in (1.0, 2.0, 3.0)]
    assert gains == sorted(gains, reverse=True)
    assert gains[0] < ultimate(model).size / 2.9
    with pytest.raises(ValueError, match=r"smooth = 0\.5"):
        first_pid(model, 600_000, 0.5)


def test_a_mat_with_nothing_on_it_has_no_answer():
    with pytest.raises(ValueError, match="mat north: no tray"):
        expected(replace(NORTH, trays=()))
