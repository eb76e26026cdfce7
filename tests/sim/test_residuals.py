"""Tests of what one-step predictions leave, against scipy and by hand."""

import numpy as np
import pytest
from scipy import signal, stats

from sim.fitting.residuals import ljung_box, residuals


@pytest.mark.oracle
def test_correlations_are_those_of_scipy():
    """scipy.signal.correlate, and the statistic written down once more."""
    errors = np.random.default_rng(1).normal(size=500)
    away = errors - errors.mean()
    full = signal.correlate(away, away)[len(away) - 1 :]
    theirs = full[1:11] / full[0]
    found, chance = ljung_box(errors, 10, 2)
    assert found == pytest.approx(theirs, abs=1e-12)
    q = 500 * 502 * sum(r * r / (500 - k) for k, r in enumerate(theirs, 1))
    assert chance == pytest.approx(stats.chi2.sf(q, 8))


def test_white_noise_passes_as_often_as_it_should():
    rng = np.random.default_rng(2)
    chances = [ljung_box(rng.normal(size=2000), 20)[1] for _ in range(200)]
    assert 0.01 < np.mean(np.array(chances) < 0.05) < 0.10


def test_each_finding_has_its_words():
    rng = np.random.default_rng(3)
    white = rng.normal(0, 0.02, 5000)
    said = residuals(white, 5)
    assert said.words == (
        "errors of one-step predictions are independent of each other",
        "on the whole predictions miss to neither side",
        "errors are about normally distributed",
    )
    assert said.rms_k == pytest.approx(0.02, rel=0.05)
    odd = white + 0.01 + np.where(rng.random(5000) < 0.01, -0.2, 0)
    words = residuals(odd, 5).words
    assert "miss by +" in words[1]
    assert "to the cold side" in words[2]
    slow = np.convolve(white, np.ones(8), "same")
    assert "the model leaves something out" in residuals(slow, 5).words[0]
    many = signal.lfilter([1], [1, -0.03], rng.normal(size=100_000))
    assert "matter little" in residuals(many, 5).words[0]
