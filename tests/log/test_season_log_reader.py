"""Reading back: samples, journal, states; while it is written, or later."""

import os
import threading
from dataclasses import replace

import pytest

from controller.adapters.season_log import (
    DirectSeasonLog,
    SeasonLogReader,
    SeasonLogWriter,
)
from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Answer,
    Doubt,
    Doubted,
)
from controller.core.plan import Plan
from controller.core.scan import (
    Hold,
    Quality,
    Reading,
    Refusal,
    RelayReport,
    Request,
)
from controller.core.state import fresh_state
from controller.core.units import MilliC, Millis
from controller.ports import UNTAKEN_MC


def write(path, header, taken) -> SeasonLogReader:
    log = DirectSeasonLog(path)
    log.begin(header)
    for one in taken:
        log.append(*one)
    log.close()
    return SeasonLogReader(path)


def eventful(samples):
    """Return a scan in which everything happens."""
    scan, decisions, state = samples.taken(
        2,
        refusals=(Refusal("n1", Millis(9_000), "found 'abc', no number", "abc"),),
        relay_reports=(
            RelayReport("north", Millis(9_500), False, 1, "command"),
            RelayReport("north", Millis(9_900), False, None, "lease", retained=True),
        ),
        requests=(Request(7, "Ann", Hold("north", Millis(60_000))),),
    )
    at_ms = scan.readings[0].at_ms
    decisions = replace(
        decisions,
        doubts=(Doubt("n1", at_ms, MilliC(19_877), Quality.BAD, Doubted.OUT_OF_RANGE),),
        alarm_changes=(
            AlarmChange(
                AlarmKind.TRIP, "north", AlarmTurn.RAISED, (("root_mc", 33_000.5),)
            ),
        ),
        answers=(Answer(7, True, "held for 1 min"),),
    )
    return scan, decisions, state


# ---------------------------------------------------------------------- samples


def test_samples_have_the_offset_and_the_times_at_which_they_were_measured(
    samples, path
):
    reader = write(path, samples.header(), samples.many(1, 100))
    scans = [taken[0] for taken in samples.many(1, 100)]
    measured = [scan.utc_ms - 1_234 for scan in scans]
    columns = reader.samples("n1", measured[9], measured[19])
    assert list(columns.utc_ms) == measured[9:19]
    assert list(columns.run_ms) == [s.readings[0].at_ms for s in scans[9:19]]
    assert list(columns.temp_mc) == [20_000 + n - 125 for n in range(10, 20)]


def test_samples_leave_out_what_was_not_good_or_was_doubted(samples, path):
    kinds = [
        Reading("n1", Millis(0), 20_000),
        Reading("n1", Millis(0), 21_000, Quality.UNCERTAIN, "retained"),
        Reading("n1", Millis(0), None, Quality.BAD, "no number"),
        Reading("n1", Millis(0), 85_000),
        Reading("room", Millis(0), 15_000),
    ]
    taken = [samples.taken(n, readings=(kind,)) for n, kind in enumerate(kinds, 1)]
    doubt = Doubt("n1", Millis(0), MilliC(84_875), Quality.BAD, Doubted.POWER_UP)
    scan, decisions, state = taken[3]
    taken[3] = (scan, replace(decisions, doubts=(doubt,)), state)
    reader = write(path, samples.header(), taken)
    assert list(reader.samples("n1", 0, 2**60).temp_mc) == [19_875]
    every = reader.samples("n1", 0, 2**60, untaken=True)
    assert list(every.temp_mc) == [19_875, UNTAKEN_MC, UNTAKEN_MC, UNTAKEN_MC]
    assert list(reader.samples("room", 0, 2**60).temp_mc) == [15_000]
    assert list(reader.samples("nobody", 0, 2**60).temp_mc) == []


def test_each_runs_samples_have_the_offset_of_its_own_plan(samples, path):
    write(path, samples.header("a"), samples.many(1, 2))
    bare = Plan(bench="lean-to")
    header = samples.header("b", plan=bare, state=fresh_state(bare))
    reader = write(path, header, samples.many(1, 2))
    found = list(reader.samples("n1", 0, 2**60).temp_mc)
    assert found == [19_876, 19_877, 20_001, 20_002]


def test_samples_are_found_when_the_wall_clock_was_set_back(samples, path):
    """In order of arrival, each with the time that the wall clock showed."""
    set_back = [
        samples.taken(seq, utc_ms=(1_000_000 if seq <= 3 else 500_000) + seq * 5_000)
        for seq in range(1, 7)
    ]
    reader = write(path, samples.header(), set_back)
    columns = reader.samples("n1", 0, 2**60)
    came = [1_005_000, 1_010_000, 1_015_000, 520_000, 525_000, 530_000]
    assert list(columns.utc_ms) == [at_ms - 1_234 for at_ms in came]
    assert list(columns.order) == sorted(columns.order)
    assert list(reader.samples("n1", 518_766, 1_003_766).temp_mc) == [
        19_879,
        19_880,
        19_881,
    ]


# ---------------------------------------------------------------------- journal


def test_the_journal_tells_in_order_what_came_in_and_what_was_decided(samples, path):
    reader = write(path, samples.header(), [samples.taken(1), eventful(samples)])
    entries = reader.journal(0, 100)
    assert [(entry.kind, entry.subject, entry.body) for entry in entries] == [
        (
            "run",
            "",
            {
                "run": "run-1",
                "origin": "live",
                "timezone": "Europe/Paris",
                "decisions_version": 1,
            },
        ),
        (
            "command",
            "north",
            {"energised": False, "cause": "above-band", "numbers": {"root_mc": 20_001}},
        ),
        ("refusal", "n1", {"reason": "found 'abc', no number", "raw": "abc"}),
        (
            "relay",
            "north",
            {"energised": False, "seq": None, "reason": "lease", "retained": True},
        ),
        (
            "request",
            "",
            {
                "request_id": 7,
                "who": "Ann",
                "wish": {"mat": "north", "for_ms": 60_000, "kind": "hold"},
            },
        ),
        (
            "doubt",
            "n1",
            {"temp_mc": 19_877, "quality": "bad", "why": "out-of-range"},
        ),
        (
            "alarm",
            "north",
            {
                "alarm": "trip",
                "turn": "raised",
                "numbers": {"root_mc": 33_000.5},
                "who": "",
            },
        ),
        (
            "answer",
            "",
            {"request_id": 7, "accepted": True, "sentence": "held for 1 min"},
        ),
    ]
    assert entries[0].utc_ms == samples.header().started_utc_ms
    assert {entry.utc_ms for entry in entries[2:]} == {samples.taken(2)[0].utc_ms}


@pytest.mark.parametrize("limit", [1, 2, 3, 100])
def test_the_journal_read_page_by_page_is_the_whole_journal(samples, path, limit):
    write(path, samples.header("a"), [samples.taken(1), eventful(samples)])
    switching = [samples.taken(n, energised=n % 2 == 0) for n in range(3, 9)]
    reader = write(path, samples.header("b"), [eventful(samples), *switching])
    whole = reader.journal(0, 1_000)
    pages, after = [], 0
    while page := reader.journal(after, limit):
        assert len(page) <= limit
        pages += page
        after = page[-1].id
    assert pages == whole
    ids = [entry.id for entry in whole]
    assert ids == sorted(set(ids))
    assert max(ids) < 2**53, "every JSON reader takes it"


@pytest.mark.parametrize(("after", "limit"), [(0, 0), (0, -1), (2**52, 10)])
def test_a_journal_of_nothing_is_empty(samples, path, after, limit):
    reader = write(path, samples.header(), samples.many(1, 2))
    assert list(reader.journal(after, limit)) == []


def test_a_negative_place_in_the_journal_is_its_beginning(samples, path):
    reader = write(path, samples.header(), samples.many(1, 2))
    assert list(reader.journal(-5, 10)) == list(reader.journal(0, 10))


# ----------------------------------------------------------------------- states


def test_the_last_state_is_the_one_at_the_end_of_a_finished_run(samples, path):
    reader = write(path, samples.header(), samples.many(1, 30))
    assert reader.last_state("run-1") == (30, samples.taken(30)[2])


def test_the_last_state_of_a_run_without_scans_is_its_first(samples, path):
    write(path, samples.header("a"), samples.many(1, 3))
    reader = write(path, samples.header("b"), [])
    assert reader.last_state("b") == (0, samples.header().state)


def test_a_state_is_kept_once_an_hour(samples, path):
    """Scans come every 5 s: 720 of them to the hour."""
    log = SeasonLogWriter(path)
    log.begin(samples.header())
    reader, found = SeasonLogReader(path), []
    for seq in range(1, 1_801):
        log.append(*samples.taken(seq, flush=seq % 360 == 0))
        if seq % 360 == 0:
            assert log.settle()
            found.append(reader.last_state("run-1")[0])
    assert found == [1, 1, 721, 721, 1_441]
    log.close()
    assert reader.last_state("run-1")[0] == 1_800


# ------------------------------------------------------------ beside the writer


async def test_a_reader_sees_what_is_committed_while_the_writer_goes_on(samples, path):
    log = SeasonLogWriter(path)
    log.begin(samples.header())
    log.append(*samples.taken(1, flush=True))
    assert await log.committed(1)
    reader = SeasonLogReader(path)
    reading = reader.scans("run-1")
    assert next(reading).scan.seq == 1
    log.append(*samples.taken(2, flush=True))
    assert await log.committed(2)
    assert list(reading) == [], "a reading ends where the log ended at its start"
    assert [one.scan.seq for one in reader.scans("run-1")] == [1, 2]
    log.close()


def test_a_reader_may_be_used_from_any_thread(samples, path):
    reader = write(path, samples.header(), samples.many(1, 5))
    found = []
    thread = threading.Thread(target=lambda: found.extend(reader.journal(0, 10)))
    thread.start()
    thread.join()
    assert found == list(reader.journal(0, 10))


def test_a_finished_log_can_be_read_where_nothing_can_be_written(
    samples, path, monkeypatch
):
    """Root may write anywhere, so the answer to "may I?" is given by hand."""
    reader = write(path, samples.header(), samples.many(1, 5))
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert len(list(reader.scans("run-1"))) == 5
    names = {one.name for one in path.parent.iterdir()}
    assert names == {"season.db", "season.db.lock"}


def test_reading_changes_nothing(samples, path):
    reader = write(path, samples.header(), samples.many(1, 5))
    before = path.read_bytes()
    list(reader.scans("run-1"))
    reader.journal(0, 10)
    assert path.read_bytes() == before
