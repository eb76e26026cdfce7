"""The table of hazards: every row is guarded, injected somewhere, and told of."""

import ast
from collections import Counter
from pathlib import Path

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.review.hazard_table import HAZARDS
from controller.review.hazards import (
    Hazard,
    Threshold,
    developers_table,
    growers_table,
    in_hours,
)
from tests.campaigns.scenarios import SCENARIOS

ROOT = Path(__file__).parents[2]
NAMES = [hazard.name for hazard in HAZARDS]
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}


def below(document: str) -> str:
    """Return what stands below the marker `<!-- hazards -->` of a document."""
    text = (ROOT / document).read_text(encoding="utf-8")
    _, found, rest = text.partition("<!-- hazards -->\n")
    assert found, f"{document} has no table marked <!-- hazards -->"
    lines = rest.lstrip("\n").splitlines()
    end = next((n for n, line in enumerate(lines) if not line.startswith("|")), None)
    return "\n".join(lines[:end])


@pytest.mark.parametrize(
    ("document", "table"),
    [("README.md", growers_table), ("DEVELOPERS.md", developers_table)],
    ids=["README", "DEVELOPERS"],
)
def test_the_documents_have_the_table_as_it_is(document, table):
    wanted = table(HAZARDS)
    assert below(document) == wanted, f"put this into {document}:\n{wanted}"


def test_every_hazard_has_a_name_of_its_own():
    assert [name for name, times in Counter(NAMES).items() if times > 1] == []


@pytest.mark.parametrize("hazard", HAZARDS, ids=NAMES)
def test_a_hazard_is_injected_somewhere_or_a_matter_of_advice(hazard):
    assert hazard.advice_only != bool(hazard.injected_by)


@pytest.mark.parametrize("hazard", HAZARDS, ids=NAMES)
def test_what_injects_a_hazard_exists(hazard):
    assert [name for name in hazard.scenarios if name not in BY_NAME] == []
    assert [name for name in hazard.tests if not defined(name)] == []


def defined(test: str) -> bool:
    """Whether a file defines a test."""
    path, _, name = test.partition("::")
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return any(isinstance(node, kinds) and node.name == name for node in tree.body)


def test_every_scenario_of_the_campaign_belongs_to_one_hazard():
    named = Counter(name for hazard in HAZARDS for name in hazard.scenarios)
    assert named == Counter(BY_NAME.keys())


@pytest.mark.parametrize("hazard", HAZARDS, ids=NAMES)
def test_a_threshold_is_of_a_scenario_of_its_hazard_and_in_its_unit(hazard):
    for threshold in hazard.thresholds:
        scenario = BY_NAME[threshold.scenario]
        assert threshold.scenario in hazard.scenarios
        assert threshold.unit == scenario.unit
        assert threshold.at_least in scenario.severities
        assert 0 < threshold.within_h <= scenario.hours


@pytest.mark.parametrize("hazard", HAZARDS, ids=NAMES)
def test_what_must_be_found_is_named_by_a_cause_or_an_alarm(hazard):
    assert bool(hazard.thresholds) <= bool(hazard.causes or hazard.alarms)


@pytest.mark.parametrize("hazard", HAZARDS, ids=NAMES)
def test_a_grower_reads_whole_sentences_without_words_of_engineers(hazard):
    said = hazard.in_plain_words
    assert said[0].isupper() and said.endswith(".")
    words = {word.strip(".,:;").lower() for word in said.split()}
    assert not words & {"inhibit", "trip", "latched", "duty", "coverage", "permissive"}


def test_tables_say_all_and_escape_what_would_break_them():
    hazard = Hazard(
        name="odd",
        when="a | b",
        in_plain_words="It is off.",
        detected="seen",
        then="off",
        bound="none",
        thresholds=(Threshold("odd-one", 2.5, "K", 0.5),),
        causes=(Cause.RISES_TOO_FAST,),
        alarms=(AlarmKind.RISES_TOO_FAST, AlarmKind.TRIP),
        injected_by=("odd-one", "tests/x.py::test_y"),
    )
    assert growers_table([hazard]).splitlines()[2] == "| a \\| b | It is off. |"
    assert developers_table([hazard]).splitlines()[2] == (
        "| `odd` | seen | 2.5 K, 30 min | off (`rises-too-fast`, `trip`) | none"
        " | `odd-one`, `tests/x.py::test_y` |"
    )


@pytest.mark.parametrize(
    ("hours", "words"), [(0.01, "36 s"), (0.3, "18 min"), (1, "1 h"), (1.5, "1.5 h")]
)
def test_times_are_told_in_the_unit_that_reads_best(hours, words):
    assert in_hours(hours) == words
