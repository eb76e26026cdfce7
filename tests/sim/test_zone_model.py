"""The model of a root zone, of two lags and of three."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.signal import dlsim

from sim.zone_model import Zone, modes, steps

TRAY = Zone(
    name="N1", gain_k=14.0, mat_s=700.0, medium_s=9000.0, coupling=0.15, offset_k=-0.5
)

common = {
    "name": st.just("N1"),
    "gain_k": st.floats(2, 40),
    "mat_s": st.floats(60, 4000),
    "medium_s": st.floats(1500, 60_000),
    "coupling": st.floats(0.02, 2.0),
}
leaks = st.just(0.0) | st.floats(1e-3, 3)
zones = st.builds(Zone, **common) | st.builds(
    Zone, **common, between_s=st.floats(100, 60_000), leak=leaks
)


def continuous(zone: Zone) -> tuple[np.ndarray, np.ndarray]:
    """The equations of the module's docstring, written down once more."""
    if zone.between_s is not None:
        return continuous_of_halves(zone)
    a = np.array(
        [
            [-1 / zone.mat_s, 1 / zone.mat_s],
            [zone.coupling / zone.mat_s, -zone.coupling / zone.mat_s],
        ]
    )
    a[1, 1] -= 1 / zone.medium_s
    heat = zone.gain_k / (zone.coupling * zone.medium_s)
    return a, np.array([[heat, 0, 0, 0], [0, 1 / zone.medium_s, 1, 0]])


def continuous_of_halves(zone: Zone) -> tuple[np.ndarray, np.ndarray]:
    into, across = 2 * zone.coupling / zone.mat_s, 1 / zone.between_s
    a = np.array(
        [
            [-(1 + zone.leak) / zone.mat_s, 1 / zone.mat_s, 0],
            [into, -into - across, across],
            [0, across, -across - 1 / zone.medium_s],
        ]
    )
    past, out = zone.leak / zone.mat_s, 1 / zone.medium_s
    b = np.array([[1.0, past, 0, 0], [0, 0, 0, 1], [0, out, 1, 0]])
    b[0, 0] = zone.gain_k / -np.linalg.solve(a, b)[1, 0]
    return a, b


@pytest.mark.oracle
@given(zone=zones, step_s=st.sampled_from([1.0, 5.0, 60.0, 3600.0]))
def test_a_step_is_the_matrix_exponential(zone: Zone, step_s: float) -> None:
    """scipy.linalg.expm of the system with its inputs held (Van Loan's block)."""
    (a, b), parts = continuous(zone), zone.parts
    block = np.zeros((parts + 4, parts + 4))
    block[:parts, :parts], block[:parts, parts:] = a, b
    exact = expm(block * step_s)[:parts]
    got = steps(zone, step_s)
    np.testing.assert_allclose(got.carry, exact[:, :parts], rtol=1e-9, atol=1e-11)
    inputs = np.column_stack([got.by_heat, got.by_room, got.by_push, got.by_near])
    np.testing.assert_allclose(inputs, exact[:, parts:], rtol=1e-8, atol=1e-10)


@pytest.mark.oracle
def test_a_night_runs_as_scipys_dlsim() -> None:
    got, rng = steps(TRAY, 60.0), np.random.default_rng(4)
    inputs = np.column_stack([rng.integers(0, 2, 600), rng.normal(14, 1, 600)])
    b = np.column_stack([got.by_heat, got.by_room])
    system = (got.carry, b, np.eye(2), np.zeros((2, 2)), 60.0)
    _, _, theirs = dlsim(system, inputs, x0=[15.0, 15.0])
    state = np.array([15.0, 15.0])
    for row, expected in zip(inputs, theirs, strict=True):
        np.testing.assert_allclose(state, expected, atol=1e-9)
        state = got.carry @ state + b @ row


@given(zone=zones)
def test_modes_are_the_same_step(zone: Zone) -> None:
    plain, modal = steps(zone, 60.0), modes(zone, 60.0)
    state = np.array([30.0, 20.0, 14.0])[: zone.parts]
    after = plain.carry @ state + plain.by_heat * 0.4 + plain.by_room * 12
    z = modal.decay * (modal.of_state @ state) + modal.by_heat * 0.4
    z = z + modal.by_room * 12
    assert z.sum() == pytest.approx(after[1], abs=1e-9)
    assert modal.mat @ z == pytest.approx(after[0], abs=1e-8)
    assert modal.outer @ z == pytest.approx(after[-1], abs=1e-8)
    assert (np.diff(modal.decay) < 0).all()


def test_a_mode_in_which_the_probe_stands_still_tells_the_mat_all_the_same() -> None:
    """The mat by itself is as fast as the outer half: the two swing against it."""
    zone = replace(TRAY, mat_s=1024.0, between_s=2048.0, medium_s=2048.0)
    modal, state = modes(zone, 60.0), np.array([31.0, 20.0, 9.0])
    z = modal.of_state @ state
    got = [modal.mat @ z, z.sum(), modal.outer @ z]
    assert got == pytest.approx(state, abs=1e-9)
    assert np.isfinite(steps(zone, 60.0).carry).all()


def test_halves_that_cling_together_are_one_medium() -> None:
    zone = replace(TRAY, between_s=1e-2)
    # Each half by itself sees twice the loss of the whole, at half its capacity.
    one, two = replace(zone, medium_s=TRAY.medium_s / 2), TRAY
    assert one.lags_s[:2] == pytest.approx(two.lags_s, rel=1e-4)
    by = steps(one, 600.0)
    assert by.by_heat[:2] == pytest.approx(steps(two, 600.0).by_heat, rel=1e-4)


@given(zone=zones)
def test_full_power_ends_at_gain_above_room(zone: Zone) -> None:
    year = steps(zone, 3e7)
    end = year.by_heat + year.by_room * 12
    assert end[1] == pytest.approx(12 + zone.gain_k, rel=1e-9)
    assert end[0] == pytest.approx(12 + zone.gain_k + zone.heat_k, rel=1e-9)
    a, b = continuous(zone)
    pushed = -np.linalg.solve(a, b)[1, 2]
    assert year.by_push[1] == pytest.approx(pushed, rel=1e-9)
    assert pushed == pytest.approx(zone.medium_s) or 0 < pushed < zone.medium_s
    assert (pushed < (1 - 1e-9) * zone.medium_s) == (zone.leak > 0)


@given(zone=zones)
def test_lags_are_those_of_the_equations(zone: Zone) -> None:
    a, _ = continuous(zone)
    slowest_first = sorted(-1 / np.linalg.eigvals(a).real, reverse=True)
    assert zone.lags_s == pytest.approx(tuple(slowest_first), rel=1e-8)


@pytest.mark.parametrize(
    "key", ["gain_k", "mat_s", "medium_s", "coupling", "between_s"]
)
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_what_no_bench_can_be_is_refused(key: str, value: float) -> None:
    good = {"gain_k": 14.0, "mat_s": 700.0, "medium_s": 9e3, "coupling": 0.15}
    with pytest.raises(ValueError, match=f"zone N1: {key} = .*above 0"):
        Zone(name="N1", **(good | {key: value}))


@pytest.mark.parametrize(
    ("between_s", "leak"),
    [(None, 0.2), (3e3, -0.1), (3e3, float("nan")), (3e3, float("inf"))],
)
def test_a_leak_that_cannot_be_is_refused(between_s: float, leak: float) -> None:
    with pytest.raises(ValueError, match=r"zone N1: leak = .*from 0 is needed"):
        replace(TRAY, between_s=between_s, leak=leak)


def test_a_step_takes_time() -> None:
    with pytest.raises(ValueError, match=r"step_s = 0\.0"):
        modes(TRAY, 0.0)
