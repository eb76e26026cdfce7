"""When a mat was on, by commands, reports and silence."""

import pytest

from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import RelayReport, Scan
from controller.ports import RecordedScan
from controller.review.heating import Heating

SCAN_MS = 5_000
LEASE_MS = 15_000


def scans(count, commands, reports=(), silent=()):
    """Scans every 5 s; commands and reports by the number of their scan."""
    for seq in range(1, count + 1):
        if seq in silent:
            continue
        at_ms = seq * SCAN_MS
        said = [one for when, one in reports if when == seq]
        told = [one for when, one in commands if when == seq]
        scan = Scan(seq, at_ms, at_ms, True, 0, 0, relay_reports=tuple(said))
        yield RecordedScan(scan, tuple(told), Decisions(()))


def command(on, mat="north"):
    return Command(mat, on, Cause.BELOW_BAND if on else Cause.ABOVE_BAND)


def report(seq, on, *, retained=False, mat="north"):
    return seq, RelayReport(mat, seq * SCAN_MS, on, retained=retained)


def heard(*rounds):
    heating = Heating("north")
    for recorded in rounds:
        heating.begin(Plan(bench="invented"))
        for one in recorded:
            heating.take(one)
    return heating.ended()


def at(seq):
    return seq * SCAN_MS


def test_without_reports_commands_are_believed():
    told = [(2, command(True)), (2, command(True, "south")), (10, command(False))]
    assert heard(scans(20, told)) == [(at(2), True), (at(10), False)]


def test_an_echo_of_the_command_before_changes_nothing():
    told = [(2, command(True)), (10, command(False))]
    echo = [report(3, False), report(4, True), report(11, True), report(12, False)]
    assert heard(scans(20, told, echo)) == [(at(2), True), (at(10), False)]


def test_a_relay_that_drops_out_is_off_from_when_it_says_so():
    told = [(2, command(True)), (18, command(False))]
    said = [report(8, False), report(12, True)]
    found = heard(scans(20, told, said))
    assert found == [(at(2), True), (at(8), False), (at(12), True), (at(18), False)]


def test_a_contact_that_is_welded_heats():
    told = [(2, command(True)), (6, command(False))]
    assert heard(scans(12, told, [report(10, True)])) == [
        (at(2), True),
        (at(6), False),
        (at(10), True),
        (at(12) + LEASE_MS, False),
    ]


@pytest.mark.parametrize(
    "said", [report(8, False, retained=True), report(8, False, mat="south")]
)
def test_what_is_old_or_of_another_relay_is_no_word_of_this_one(said):
    told = [(2, command(True)), (18, command(False))]
    assert heard(scans(20, told, [said])) == [(at(2), True), (at(18), False)]


def test_while_no_scan_renews_it_the_lease_runs_out():
    told = [(2, command(True)), (18, command(False))]
    found = heard(scans(20, told, silent=range(6, 15)))
    assert found == [
        (at(2), True),
        (at(5) + LEASE_MS, False),
        (at(15), True),
        (at(18), False),
    ]


def test_a_new_run_begins_cold():
    first = scans(5, [(2, command(True))])
    second = list(scans(40, [(38, command(True))]))[29:]
    found = heard(first, second)
    assert found == [
        (at(2), True),
        (at(5) + LEASE_MS, False),
        (at(38), True),
        (at(40) + LEASE_MS, False),
    ]
