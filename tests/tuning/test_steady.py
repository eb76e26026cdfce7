"""How steadily a mat is kept: the compiled loop counts what the core does."""

import numpy as np
import pytest

from sim.tuning.candidates import candidates, knobs_of
from sim.whatif.engine import run, trace
from sim.whatif.reference import core_outcomes
from tests.tuning.mats import MODEL, NORTH, a_span, at

pytestmark = pytest.mark.timeout(120)  # the first use compiles


def test_the_twin_counts_what_the_core_counts():
    span = a_span()
    plans = candidates(knobs_of(NORTH, MODEL, range(-4000, 4001, 500)), 6, seed=5)
    found = run(MODEL, span, plans)
    for number, plan in enumerate(plans):
        core = core_outcomes(MODEL, span, plan, band_mk=500)
        for name in ("warm_s", "deviation_k", "uneven_k", "low_mc"):
            assert np.array_equal(getattr(core, name)[0], getattr(found, name)[number])


def test_the_sums_are_those_of_the_trace():
    span = a_span()
    plan = at(23.0, 20.0, driving_tray="N1")
    found, told = run(MODEL, span, [plan]), trace(MODEL, span, plan)
    off = (told.temps_mc[:, 0] - told.setpoint_mc) / 1000
    first = int(np.argmax(off >= -0.5))
    assert found.warm_s[0] == 60.0 * (span.steps - first)
    assert found.deviation_k[0] == pytest.approx(np.sqrt(np.mean(off[first:] ** 2)))
    apart = np.ptp(told.temps_mc[first:], axis=1).mean() / 1000
    assert found.uneven_k[0] == pytest.approx(apart)
    assert found.low_mc[0].tolist() == told.temps_mc[first:].min(axis=0).tolist()


def test_without_numba_the_numbers_are_the_same():
    span = a_span()
    plans = candidates(knobs_of(NORTH, MODEL, range(-4000, 4001, 500)), 3, seed=5)
    fast, slow = run(MODEL, span, plans), run(MODEL, span, plans, bare=True)
    for name in ("warm_s", "deviation_k", "uneven_k", "low_mc"):
        assert np.array_equal(getattr(fast, name), getattr(slow, name))


def test_a_mat_that_never_gets_warm_has_no_figure():
    found = run(MODEL, a_span(room_c=5.0), [at(29.0)])
    assert found.warm_s[0] == 0
    assert found.deviation_k[0] == found.uneven_k[0] == np.inf
