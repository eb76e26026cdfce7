"""The two-lag model of a root zone."""

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

zones = st.builds(
    Zone,
    name=st.just("N1"),
    gain_k=st.floats(2, 40),
    mat_s=st.floats(60, 4000),
    medium_s=st.floats(1500, 60_000),
    coupling=st.floats(0.02, 2.0),
)


def continuous(zone: Zone) -> tuple[np.ndarray, np.ndarray]:
    """The equations of the module's docstring, written down once more."""
    a = np.array(
        [
            [-1 / zone.mat_s, 1 / zone.mat_s],
            [zone.coupling / zone.mat_s, -zone.coupling / zone.mat_s],
        ]
    )
    a[1, 1] -= 1 / zone.medium_s
    heat = zone.gain_k / (zone.coupling * zone.medium_s)
    return a, np.array([[heat, 0, 0], [0, 1 / zone.medium_s, 1]])


@pytest.mark.oracle
@given(zone=zones, step_s=st.sampled_from([1.0, 5.0, 60.0, 3600.0]))
def test_a_step_is_the_matrix_exponential(zone: Zone, step_s: float) -> None:
    """scipy.linalg.expm of the system with its inputs held (Van Loan's block)."""
    a, b = continuous(zone)
    block = np.zeros((5, 5))
    block[:2, :2], block[:2, 2:] = a, b
    exact = expm(block * step_s)
    got = steps(zone, step_s)
    np.testing.assert_allclose(got.carry, exact[:2, :2], rtol=1e-9, atol=1e-11)
    inputs = np.column_stack([got.by_heat, got.by_room, got.by_push])
    np.testing.assert_allclose(inputs, exact[:2, 2:], rtol=1e-8, atol=1e-10)


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
    state = np.array([30.0, 20.0])
    after = plain.carry @ state + plain.by_heat * 0.4 + plain.by_room * 12
    z = modal.decay * (modal.of_state @ state) + modal.by_heat * 0.4
    z = z + modal.by_room * 12
    assert z.sum() == pytest.approx(after[1], abs=1e-9)
    assert modal.mat @ z == pytest.approx(after[0], abs=1e-8)


@given(zone=zones)
def test_full_power_ends_at_gain_above_room(zone: Zone) -> None:
    year = steps(zone, 3e7)
    end = year.by_heat + year.by_room * 12
    assert end[1] == pytest.approx(12 + zone.gain_k, rel=1e-9)
    assert end[0] == pytest.approx(12 + zone.gain_k + zone.heat_k, rel=1e-9)


@given(zone=zones)
def test_lags_are_those_of_the_equations(zone: Zone) -> None:
    a, _ = continuous(zone)
    slowest_first = sorted(-1 / np.linalg.eigvals(a).real, reverse=True)
    assert zone.lags_s == pytest.approx(tuple(slowest_first), rel=1e-8)


@pytest.mark.parametrize("key", ["gain_k", "mat_s", "medium_s", "coupling"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_what_no_bench_can_be_is_refused(key: str, value: float) -> None:
    good = {"gain_k": 14.0, "mat_s": 700.0, "medium_s": 9e3, "coupling": 0.15}
    with pytest.raises(ValueError, match=f"zone N1: {key} = .*above 0"):
        Zone(name="N1", **(good | {key: value}))


def test_a_step_takes_time() -> None:
    with pytest.raises(ValueError, match=r"step_s = 0\.0"):
        modes(TRAY, 0.0)
