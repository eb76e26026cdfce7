"""The nastiest inputs that were found or thought of, tried again by every run."""

import ast
from pathlib import Path

import pytest

from tests.campaigns.fuzz import TARGETS

CORPUS = [
    ast.literal_eval(line)
    for line in Path(__file__).with_name("corpus.txt").read_text("utf-8").splitlines()
    if line and not line.startswith("#")
]


def test_every_target_has_nasty_inputs():
    assert {name for name, _ in CORPUS} == set(TARGETS)


@pytest.mark.parametrize(
    ("name", "given"), CORPUS, ids=[f"{name}-{n}" for n, (name, _) in enumerate(CORPUS)]
)
def test_nasty_input_breaks_nothing(name, given):
    TARGETS[name].check(given)
