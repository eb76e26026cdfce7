"""SIMC settings against Skogestad's published processes."""

import numpy as np
import pytest

from controller.review.simc import Model, Series, as_pid, half_rule, simc

pytestmark = pytest.mark.oracle

PROCESSES = {
    "E1": {"lags_s": (1, 0.2)},
    # its lead of 0.08 is taken off the lag of 0.2 near it
    "E2": {"lags_s": (2, 1, 0.4, 0.12, 0.05, 0.05, 0.05), "inverse_s": (0.3,)},
    "E4": {"lags_s": (1, 1, 1, 1)},
    "E9": {"lags_s": (1, 1), "delay_s": 1},
    "E10": {"lags_s": (2, 20), "delay_s": 1},
    "first order": {"lags_s": (4,), "delay_s": 1},
}
"""Skogestad 2003, J. Process Control 13:291-309, Tables 3 and 4, by his numbers;
settings and peaks Ms as transcribed in a public file from the author's reprint."""

PI = [
    ("E1", 5.5, 0.8, 1.56),
    ("E2", 0.85, 2.5, 1.66),
    ("E4", 0.3, 1.5, 1.46),
    ("E9", 0.5, 1.5, 1.61),
    ("E10", 5.25, 16, 1.72),
    ("first order", 2, 4, 1.59),
]
PID = [
    ("E2", 1.30, 2, 1.2, 1.73),
    ("E4", 0.5, 1.5, 1, 1.43),
    ("E9", 0.5, 1, 1, 1.59),
    ("E10", 10, 8, 2, 1.65),
]


def settings_of(name, kept):
    return simc(half_rule(1.0, **PROCESSES[name], kept=kept))


@pytest.mark.parametrize(("name", "gain", "integral", "_peak"), PI)
def test_pi_settings_are_those_of_the_table(name, gain, integral, _peak):
    found = settings_of(name, kept=1)
    assert found.gain_per_k == pytest.approx(gain, abs=0.005)
    assert found.integral_s == pytest.approx(integral)
    assert found.derivative_s == 0


@pytest.mark.parametrize(("name", "gain", "integral", "derivative", "_peak"), PID)
def test_pid_settings_are_those_of_the_table(name, gain, integral, derivative, _peak):
    found = settings_of(name, kept=2)
    assert found.gain_per_k == pytest.approx(gain, abs=0.005)
    assert found.integral_s == pytest.approx(integral)
    assert found.derivative_s == pytest.approx(derivative)


# -------------------------------------------- what the loops do with the settings


def process(s, *, lags_s, delay_s=0.0, inverse_s=()):
    """Return the frequency response of a process of gain 1."""
    answer = np.exp(-delay_s * s)
    for lag_s in lags_s:
        answer = answer / (lag_s * s + 1)
    for time_s in inverse_s:
        answer = answer * (1 - time_s * s)
    return answer


def loop(s, name, settings):
    """Return the open loop with our PID's own form: one gain before all parts."""
    pid = as_pid(settings)
    control = pid.gain_per_k * (1 + 1 / (pid.integral_s * s) + pid.derivative_s * s)
    if name == "E2":  # as printed, with its lead and its lag of 0.2
        control = control * (0.08 * s + 1) * (0.12 * s + 1) / (0.2 * s + 1)
    return control * process(s, **PROCESSES[name])


def peak_of(values):
    return float(np.max(np.abs(values)))


FREQUENCIES = 1j * np.geomspace(1e-3, 1e3, 200_001)


@pytest.mark.parametrize(
    ("name", "kept", "peak"),
    [(row[0], 1, row[-1]) for row in PI] + [(row[0], 2, row[-1]) for row in PID],
)
def test_peak_of_the_sensitivity_is_the_published_one(name, kept, peak):
    """So the conversion to our form of the PID is right as well."""
    settings = settings_of(name, kept)
    open_loop = loop(FREQUENCIES, name, settings)
    assert peak_of(1 / (1 + open_loop)) == pytest.approx(peak, abs=0.01)


@pytest.mark.parametrize(
    ("lag_s", "gain_margin", "phase_margin", "ms", "mt"),
    [(4.0, 3.14, 61.4, 1.59, 1.00), (1e6, 2.96, 46.9, 1.70, 1.30)],
    ids=["first order", "nearly integrating"],
)
def test_margins_are_those_that_simc_promises(lag_s, gain_margin, phase_margin, ms, mt):
    """Skogestad 2003, for a closed-loop time constant equal to the delay."""
    pid = as_pid(simc(Model(1.0, lag_s, 1.0)))
    s = 1j * np.geomspace(1e-2, 1e1, 400_001)
    control = pid.gain_per_k * (1 + 1 / (pid.integral_s * s))
    answer = control * process(s, lags_s=(lag_s,), delay_s=1.0)
    size, angle = np.abs(answer), np.unwrap(np.angle(answer))
    at_180 = np.argmax(angle <= -np.pi)
    at_1 = np.argmax(size <= 1)
    assert 1 / size[at_180] == pytest.approx(gain_margin, abs=0.006)
    assert 180 + np.degrees(angle[at_1]) == pytest.approx(phase_margin, abs=0.06)
    assert peak_of(1 / (1 + answer)) == pytest.approx(ms, abs=0.006)
    assert peak_of(answer / (1 + answer)) == pytest.approx(mt, abs=0.006)


# --------------------------------------------------------------- half rule and form


@pytest.mark.parametrize(
    ("name", "kept", "lag", "second", "delay"),
    [
        ("E1", 1, 1.1, 0, 0.1),
        ("E2", 1, 2.5, 0, 1.47),
        ("E2", 2, 2, 1.2, 0.77),
        ("E4", 1, 1.5, 0, 2.5),
        ("E4", 2, 1.5, 1, 1.5),
        ("first order", 1, 4, 0, 1),
    ],
)
def test_half_rule_gives_the_published_models(name, kept, lag, second, delay):
    """Skogestad 2003, Table 3 and the worked examples before it."""
    model = half_rule(3.0, **PROCESSES[name], kept=kept)
    assert model.gain_k == 3.0
    assert model.lag_s == pytest.approx(lag)
    assert model.second_lag_s == pytest.approx(second)
    assert model.delay_s == pytest.approx(delay)


def test_parallel_gains_of_the_converted_settings_are_the_ones_of_the_series():
    """(1 + 1/(Ti s)) (Td s + 1) Kc multiplied out, by hand."""
    pid = as_pid(Series(10.0, 8.0, 2.0))
    assert pid.gain_per_k == pytest.approx(10 * (1 + 2 / 8))
    assert pid.gain_per_k / pid.integral_s == pytest.approx(10 / 8)
    assert pid.gain_per_k * pid.derivative_s == pytest.approx(10 * 2)
    pi = as_pid(Series(0.4, 4_800.0))
    assert (pi.gain_per_k, pi.integral_s, pi.derivative_s) == (0.4, 4_800, 0)


def test_slower_closed_loop_is_the_one_knob():
    """A tray of 18 K, 9000 s and 600 s: Kc = 9000 / (18 · (1800 + 600))."""
    found = simc(Model(18.0, 9_000.0, 600.0), closed_lag_s=1_800.0)
    assert found == Series(pytest.approx(0.208333, abs=1e-6), 9_000.0)
    tight = simc(Model(18.0, 9_000.0, 600.0))
    assert tight == Series(pytest.approx(0.416667, abs=1e-6), 4_800.0)
    assert simc(Model(18.0, 9_000.0, 0.0), closed_lag_s=600.0).integral_s == 2_400


# --------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"lags_s": ()}, r"^lags_s = \[\]: at least 1 to be kept"),
        ({"lags_s": (1,), "kept": 2}, r"^lags_s = \[1\]: at least 2 to be kept"),
        ({"lags_s": (1, 1, 1), "kept": 3}, "^kept = 3: 1 lag for PI or 2 for PID"),
        ({"lags_s": (1, -1)}, "^lag or delay = -1 s: a time from 0 is needed"),
        ({"lags_s": (1,), "delay_s": float("nan")}, "^lag or delay = nan s"),
        ({"lags_s": (1,), "inverse_s": (float("inf"),)}, "^lag or delay = inf s"),
    ],
)
def test_chain_that_cannot_be_reduced_is_refused(given, message):
    with pytest.raises(ValueError, match=message):
        half_rule(1.0, **given)


@pytest.mark.parametrize(
    ("model", "closed_lag_s", "message"),
    [
        (Model(0.0, 1.0, 1.0), None, r"^gain_k = 0\.0: above 0 is needed"),
        (Model(1.0, float("nan"), 1.0), None, "^lag_s = nan: above 0"),
        (Model(1.0, 1.0, 0.0), None, "^delay_s and closed_lag_s together = 0"),
        (Model(1.0, 1.0, 0.5), -0.5, "^delay_s and closed_lag_s together = 0"),
    ],
)
def test_model_without_settings_is_refused(model, closed_lag_s, message):
    with pytest.raises(ValueError, match=message):
        simc(model, closed_lag_s)
