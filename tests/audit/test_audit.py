"""The audit finds what was altered, and nothing else."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Cause,
    Command,
    Decisions,
)
from controller.core.plan import Plan
from controller.core.scan import Scan
from controller.core.state import State
from controller.core.step import DECISIONS_VERSION, step
from controller.ports import RecordedScan
from controller.review import audit as audit_module
from controller.review.audit import AuditReport, audit


def audited(season, record: list[RecordedScan], **header: object) -> AuditReport:
    return audit(replace(season.header, **header), record, step, DECISIONS_VERSION)


def first_with(
    record: list[RecordedScan], what: Callable[[RecordedScan], object]
) -> int:
    return next(n for n, one in enumerate(record) if what(one))


def test_the_record_of_a_run_holds_every_kind_of_decision(season):
    """Else the tests below would compare nothing with nothing."""
    record = season.record()
    assert sum(len(one.commands) for one in record) > 10
    assert sum(len(one.decisions.doubts) for one in record) == 2
    assert sum(len(one.decisions.alarm_changes) for one in record) >= 4
    assert sum(len(one.decisions.answers) for one in record) == 2


def test_a_true_record_has_no_mismatch(season):
    report = audited(season, season.record())
    assert (report.scans, report.mismatches) == (600, 0)
    assert (report.differences, report.counts) == ((), {})
    assert report.same_version


def altered_command(one: RecordedScan) -> RecordedScan:
    first, *others = one.commands
    return replace(
        one, commands=(replace(first, energised=not first.energised), *others)
    )


def altered_number(one: RecordedScan) -> RecordedScan:
    first, *others = one.commands
    (name, value), *numbers = first.numbers
    changed = replace(first, numbers=((name, value + 1e-9), *numbers))
    return replace(one, commands=(changed, *others))


def without_commands(one: RecordedScan) -> RecordedScan:
    return replace(one, commands=one.commands[1:])


def findings(**changes: Callable) -> Callable[[RecordedScan], RecordedScan]:
    def change(one: RecordedScan) -> RecordedScan:
        made = {
            key: value(getattr(one.decisions, key)) for key, value in changes.items()
        }
        return replace(one, decisions=replace(one.decisions, **made))

    return change


@pytest.mark.parametrize(
    ("kind", "where", "change"),
    [
        ("command", lambda one: len(one.commands) == 1, altered_command),
        (
            "command",
            lambda one: one.commands and one.commands[0].numbers,
            altered_number,
        ),
        ("command", lambda one: len(one.commands) == 1, without_commands),
        (
            "doubt",
            lambda one: one.decisions.doubts,
            findings(doubts=lambda doubts: doubts[1:]),
        ),
        (
            "doubt",
            lambda one: one.decisions.doubts,
            findings(doubts=lambda doubts: (replace(doubts[0], temp_mc=1), doubts[1])),
        ),
        (
            "doubt",
            lambda one: one.decisions.doubts,
            findings(doubts=lambda doubts: doubts[::-1]),
        ),
        (
            "alarm",
            lambda one: one.decisions.alarm_changes,
            findings(
                alarm_changes=lambda changes: (
                    *changes,
                    AlarmChange(AlarmKind.TRIP, "north", AlarmTurn.RAISED),
                )
            ),
        ),
        (
            "answer",
            lambda one: one.decisions.answers,
            findings(
                answers=lambda answers: (
                    replace(answers[0], accepted=not answers[0].accepted),
                    answers[1],
                )
            ),
        ),
    ],
    ids=[
        "energised",
        "a digit of a number",
        "command gone",
        "doubt gone",
        "doubt altered",
        "doubts in another order",
        "alarm added",
        "answer altered",
    ],
)
def test_one_altered_decision_is_found_exactly_once(season, kind, where, change):
    record = season.record()
    place = first_with(record, where)
    record[place] = change(record[place])
    report = audited(season, record)
    assert report.mismatches == 1
    assert report.counts == {kind: 1}
    (difference,) = report.differences
    assert (difference.seq, difference.what) == (record[place].scan.seq, kind)
    assert difference.recorded != difference.redecided or difference.note


def test_a_difference_holds_what_was_recorded_and_what_is_decided_again(season):
    record = season.record()
    place = first_with(record, lambda one: len(one.commands) == 1)
    true = record[place].commands[0]
    record[place] = altered_command(record[place])
    (difference,) = audited(season, record).differences
    assert difference.recorded == replace(true, energised=not true.energised)
    assert difference.redecided == true


def test_a_command_in_a_scan_that_had_none_is_found(season):
    record = season.record()
    place = first_with(record, lambda one: not one.commands)
    made_up = Command("north", True, Cause.BELOW_BAND)
    record[place] = replace(record[place], commands=(made_up,))
    (difference,) = audited(season, record).differences
    assert (difference.recorded, difference.redecided) == (made_up, None)


def test_an_altered_reading_shows_in_what_it_changed(season):
    record = season.record()
    place = first_with(record, lambda one: one.scan.readings)
    first, *others = record[place].scan.readings
    scan = replace(record[place].scan, readings=(replace(first, milli=85_000), *others))
    record[place] = replace(record[place], scan=scan)
    report = audited(season, record)
    assert report.differences[0].seq == scan.seq
    assert report.differences[0].what in {"command", "doubt"}


@pytest.mark.parametrize("gone", [1, 300, 301])
def test_a_missing_scan_number_is_a_difference(season, gone):
    record = [one for one in season.record() if one.scan.seq != gone]
    report = audited(season, record)
    assert report.counts["scan"] == 1
    first = next(one for one in report.differences if one.what == "scan")
    assert (first.seq, first.note) == (gone, "missing in the log")


def test_every_number_of_a_longer_gap_is_counted(season):
    record = [one for one in season.record() if not 100 <= one.scan.seq < 110]
    assert audited(season, record).counts["scan"] == 10


def test_a_damaged_number_is_counted_without_counting_up_to_it(season):
    *record, last = season.record()
    far = replace(last, scan=replace(last.scan, seq=2**61))
    report = audited(season, [*record, far])
    assert report.counts["scan"] == 2**61 - 600
    assert len(report.differences) == audit_module.KEPT


def test_a_scan_that_comes_twice_is_a_difference(season):
    record = season.record()
    record.insert(50, record[50])
    report = audited(season, record)
    numbers = [one for one in report.differences if one.what == "scan"]
    assert [(one.seq, one.note) for one in numbers] == [(51, "follows scan 51")]


def test_another_decisions_version_is_labelled_and_still_decided_again(season):
    report = audited(season, season.record(), decisions_version=DECISIONS_VERSION + 1)
    assert not report.same_version
    assert report.decisions_version == DECISIONS_VERSION + 1
    assert (report.scans, report.mismatches) == (600, 0)


def test_the_list_of_differences_is_bounded_and_their_count_is_not(season, monkeypatch):
    monkeypatch.setattr(audit_module, "KEPT", 3)
    record = [replace(one, commands=()) for one in season.record()]
    report = audited(season, record)
    told = sum(len(one.commands) for one in season.record())
    assert report.mismatches == told
    assert len(report.differences) == 3


def test_the_state_that_is_carried_on_is_the_one_decided_again(season):
    """The record knows nothing of states, so any step may be put to the test."""
    seen: list[int] = []

    def counting(plan: Plan, state: State, scan: Scan) -> tuple[State, Decisions]:
        seen.append(state.run_ms)
        assert plan is season.plan
        return replace(state, run_ms=state.run_ms + scan.seq), Decisions(commands=())

    bare = [
        replace(one, commands=(), decisions=Decisions(commands=()))
        for one in season.record()[:5]
    ]
    report = audit(season.header, bare, counting, DECISIONS_VERSION)
    assert seen == [0, 1, 3, 6, 10]
    assert report.mismatches == 0


def test_a_run_without_scans_has_no_mismatch(season):
    assert audited(season, []).scans == 0
