"""Fitted models as a file: back as they were, and refused with the place."""

import json

import numpy as np
import pytest

from sim.fitting.fit import fit_mat
from sim.fitting.model_file import ModelFileError, read, written
from tests.sim.test_fitting import a_log, watered
from tests.sim.test_layered import a_thermostats_log


@pytest.fixture(scope="module")
def text():
    record = watered(a_log(days=4), 4000, 3.0)
    temps = np.column_stack([record.temps_c, np.full(len(record), np.nan)])
    two = {"zones": ("N1", "N2"), "at_mat": (False, False), "temps_c": temps}
    fields = {name: getattr(record, name) for name in record.__slots__}
    return written("season.db", (fit_mat(type(record)(**(fields | two))),))


def test_what_was_written_is_read_back(text):
    (fit,) = read(text)
    assert written("season.db", (fit,)) == text
    known, unknown = fit.zones
    assert (
        known.zone.gain_k == json.loads(text)["mats"][0]["zones"][0]["zone"]["gain_k"]
    )
    assert known.usable and len(known.replicates) == 4
    assert known.covariance.shape == (5, 5)
    assert unknown.zone is None and unknown.residuals is None
    assert np.isnan(unknown.covariance).all() and unknown.condition == np.inf
    assert [zone.name for zone in fit.model.zones] == ["N1"]
    assert fit.windows[0].zone == "N1"


def test_three_lags_are_read_back():
    text = written("season.db", (fit_mat(a_thermostats_log(4, seed=2)),))
    (fit,) = read(text)
    assert written("season.db", (fit,)) == text
    (zone,) = fit.zones
    assert zone.zone.parts == 3 and zone.covariance.shape == (7, 7)
    assert {one.between_s is None for one in zone.replicates} == {False}


def test_a_file_from_before_there_were_three_lags_is_read(text):
    whole = json.loads(text)
    whole["version"] = 1
    known = whole["mats"][0]["zones"][0]
    for numbers in (known["zone"], *known["replicates"]):
        assert numbers.pop("between_s") is None
    (fit,) = read(json.dumps(whole))
    assert written("season.db", (fit,)) == text


def changed(text, *steps, to):
    whole = json.loads(text)
    at = whole
    for step in steps[:-1]:
        at = at[step]
    at[steps[-1]] = to
    return json.dumps(whole)


@pytest.mark.parametrize(
    ("steps", "to", "said"),
    [
        (["format"], "another", "format: "),
        (["version"], 4, "version: "),
        (["mats", 0, "zones", 0, "zone", "between_s"], 0, "zone.between_s: "),
        (["mats", 0, "zones", 0, "zone", "gain_k"], -1, "mats.0.zones.0.zone.gain_k: "),
        (["mats", 0, "zones", 0, "zone", "mat_s"], "x", "mats.0.zones.0.zone.mat_s: "),
        (["mats", 0, "zones", 0, "covariance"], [[1]], "mats.0.zones.0.covariance"),
        (
            ["mats", 0, "zones", 0, "covariance"],
            [[1.0] * 6] * 5,
            "mats.0.zones.0.covariance: .*5 rows: so many columns",
        ),
        (["mats", 0, "step_s"], 0, "mats.0.step_s: "),
        (["surplus"], 1, "surplus: "),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(text, steps, to, said):
    with pytest.raises(ModelFileError, match=said):
        read(changed(text, *steps, to=to))


@pytest.mark.parametrize("rubbish", ["", "[]", "{", "null", "{}", "\x00"])
def test_rubbish_is_refused(rubbish):
    with pytest.raises(ModelFileError):
        read(rubbish)
