"""The gate of the mutation campaign: what it lets through, and what it stops."""

from collections import Counter

import pytest

from tests.campaigns.mutate import (
    EQUIVALENTS,
    Change,
    Mutant,
    change_of,
    equivalents,
    judged,
)

NAMED = Change("controller.core.judge.usable", "return a and b", "return a or b")
OTHER = Change("controller.core.judge.usable", "return a and b", "return a")
KILLED = {"killed": 10}


def a_mutant(change=NAMED, status="survived"):
    return Mutant("controller.core.judge.x_usable__mutmut_7", status, change)


def test_nothing_alive_and_nothing_named_is_well():
    assert judged(KILLED, [], {}) == []


def test_a_survivor_that_is_named_is_well():
    assert judged(KILLED, [a_mutant()], {NAMED: 1}) == []


def test_a_survivor_that_is_not_named_is_told_with_its_change():
    (finding,) = judged(KILLED, [a_mutant(OTHER)], {})
    assert finding.startswith("survived: controller.core.judge.x_usable__mutmut_7\n")
    assert "before = '''return a and b'''\nafter = '''return a'''" in finding


def test_a_second_survivor_of_the_same_change_must_be_named_too():
    assert len(judged(KILLED, [a_mutant(), a_mutant()], {NAMED: 1})) == 1
    assert judged(KILLED, [a_mutant(), a_mutant()], {NAMED: 2}) == []


@pytest.mark.parametrize(
    "status", ["no tests", "suspicious", "timeout", "segfault", "skipped"]
)
def test_only_surviving_can_be_equivalent(status):
    findings = judged(KILLED, [a_mutant(status=status)], {NAMED: 1})
    assert findings[0].startswith(f"{status}: ")
    assert len(findings) == 2  # and the one that is named was not met


def test_an_equivalent_that_is_not_met_is_told():
    (finding,) = judged(KILLED, [], {NAMED: 1})
    assert finding.startswith("named equivalent, but not met")
    assert "return a or b" in finding


def test_a_run_that_tried_nothing_is_no_pass():
    assert judged({}, [], {}) == ["no mutant was killed: nothing was tried"]


def test_a_mutant_is_known_by_its_change_not_by_its_number():
    diff = "\n".join(
        (
            "--- controller/core/judge.py",
            "+++ controller/core/judge.py",
            "@@ -1,3 +1,3 @@",
            " def usable(probe):",
            "-    return a and b",
            "+    return a or b",
        )
    )
    first, later = (
        change_of(f"controller.core.judge.x_usable__mutmut_{n}", diff) for n in (1, 9)
    )
    assert first == later == NAMED
    method = change_of("controller.core.state.xǁAlarmǁrings__mutmut_1", diff)
    assert method.function == "controller.core.state.Alarm.rings"


def test_an_equivalent_without_a_reason_is_refused(tmp_path):
    file = tmp_path / "equivalents.toml"
    entry = "[[mutant]]\nfunction = 'f'\nbefore = 'a'\nafter = 'b'\nwhy = '{}'\n"
    file.write_text(entry.format("the same") + entry.format("again the same"))
    assert equivalents(file) == Counter({Change("f", "a", "b"): 2})
    file.write_text(entry.format(" "))
    with pytest.raises(ValueError, match="f: say why it is equivalent"):
        equivalents(file)


def test_what_is_named_equivalent_has_reasons():
    assert all(times >= 1 for times in equivalents(EQUIVALENTS).values())
