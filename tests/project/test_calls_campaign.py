"""A short run of the campaign of API calls, and that it tells what breaks."""

import pytest

from tests.campaigns.fuzzing import calls


@pytest.mark.slow
@pytest.mark.timeout(150)
def test_a_few_calls_of_every_operation_keep_every_check():
    found = calls.fuzzed(1, seed=5, examples=1, phases="fuzzing,stateful")
    assert found.broke == ""
    assert found.calls > 40


@pytest.mark.slow
@pytest.mark.timeout(150)
def test_an_answer_that_breaks_the_document_is_told(monkeypatch):
    """Without the exception for rules between fields, those are told."""
    strict, _, _ = calls._CONFIGURATION.partition("[checks]")
    monkeypatch.setattr(calls, "_CONFIGURATION", strict)
    only = ("--include-path", "/v1/batches", "--max-failures", "1", "--no-shrink")
    found = calls.fuzzed(1, seed=5, examples=30, phases="fuzzing", more=only)
    assert "Schema-valid request rejected" in found.broke
