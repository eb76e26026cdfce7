"""Whatever a scan holds comes back from the file exactly."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    LogFile,
    SeasonLogReader,
)
from controller.adapters.season_log.rows import header_row
from controller.core.decisions import (
    AlarmChange,
    Answer,
    Cause,
    Command,
    Decisions,
    Doubt,
    Doubted,
)
from controller.core.plan import Plan
from controller.core.scan import (
    Quality,
    Reading,
    Refusal,
    RelayReport,
    Request,
    Scan,
    Wish,
)
from controller.core.state import fresh_state
from controller.core.units import MilliC, Millis
from controller.ports import RunHeader
from controller.wire import take_news

pytestmark = pytest.mark.timeout(120)
"""Many logs are written, each to the disk, which may be busy."""

# Any time that a clock may show, and any number that 64 bits hold.
TIMES = st.integers(-(2**53), 2**53)
WHOLE = st.integers(-(2**63), 2**63 - 1)
FEW = 3


def some(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.lists(strategy, max_size=FEW).map(tuple)


WISHES = st.one_of(*map(st.from_type, get_args(Wish)))
SCANS = st.builds(
    Scan,
    run_ms=TIMES,
    utc_ms=TIMES,
    local_day=st.integers(-(10**6), 10**6),
    local_minute=st.integers(0, 1439),
    readings=some(st.builds(Reading, at_ms=TIMES, milli=st.none() | WHOLE)),
    refusals=some(st.builds(Refusal, at_ms=TIMES)),
    relay_reports=some(
        st.builds(
            RelayReport,
            at_ms=TIMES,
            seq=st.none() | WHOLE,
            reason=st.sampled_from(["", "command", "lease"]) | st.text(),
        )
    ),
    requests=some(st.builds(Request, id=WHOLE, wish=WISHES)),
)
DECISIONS = st.builds(
    Decisions,
    commands=some(st.builds(Command, mat=st.sampled_from(["north", "south"]))),
    doubts=some(st.builds(Doubt, at_ms=TIMES, temp_mc=st.none() | WHOLE)),
    alarm_changes=some(st.from_type(AlarmChange)),
    answers=some(st.builds(Answer, request_id=WHOLE)),
    flush=st.booleans(),
)


def header_of(plan: Plan) -> RunHeader:
    return RunHeader(
        run="run-1",
        origin="simulate",
        started_run_ms=0,
        started_utc_ms=0,
        plan=plan,
        state=fresh_state(plan),
        timezone="Europe/Paris",
        decisions_version=1,
        versions={},
    )


@settings(max_examples=60, deadline=None)
@given(
    plan=st.builds(Plan, scan_ms=st.integers(1, 30_000), mats=st.just(())),
    made=st.lists(st.tuples(SCANS, DECISIONS, st.integers(1, 3)), max_size=6),
)
def test_any_scans_and_decisions_come_back_from_the_file_exactly(plan, made):
    """Clocks may jump, and numbers may be missing; repr compares exactly."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        log = DirectSeasonLog(path)
        log.begin(header_of(plan))
        seq, wrote, said = 0, [], {}
        for scan, decisions, apart in made:
            seq += apart
            numbered = replace(scan, seq=seq)
            log.append(numbered, decisions, fresh_state(plan))
            news = tuple(take_news(said, decisions.commands))
            others = replace(decisions, commands=(), flush=False)
            wrote.append((numbered, news, others))
        log.close()
        assert repr(read_back(path)) == repr(wrote)
        before = everything(path)
        assert fold_all(path) == (len(wrote) > 0)
        assert repr(read_back(path)) == repr(wrote)
        assert repr(everything(path)) == repr(before)
        SeasonLogReader(path).check()


def read_back(path):
    return [
        (recorded.scan, recorded.commands, recorded.decisions)
        for recorded in SeasonLogReader(path).scans("run-1")
    ]


def everything(path):
    reader = SeasonLogReader(path)
    with closing(sqlite3.connect(path)) as db:
        probes = [name for (name,) in db.execute("SELECT name FROM name")]
    columns = [reader.samples(probe, -(2**62), 2**62, untaken=True) for probe in probes]
    lines = [line for line in reader.journal(0, 1_000) if line.kind != "run"]
    return columns, lines, reader.last_state("run-1")


def fold_all(path):
    """Fold a run that another one follows; return whether there was anything."""
    log = LogFile(path)
    log.begin(header_row(replace(header_of(Plan(bench="lean-to")), run="run-2")))
    log.commit()
    folded = 0
    while log.fold_some(0, 2**62):
        folded += 1
    log.abandon()
    return folded > 0


@settings(max_examples=15, deadline=None)
@given(plan=st.from_type(Plan), timezone=st.text(), origin=st.text())
def test_any_header_comes_back_from_the_file_exactly(plan, timezone, origin):
    header = replace(header_of(plan), timezone=timezone, origin=origin)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        log = DirectSeasonLog(path)
        log.begin(header)
        log.close()
        assert repr(SeasonLogReader(path).runs()) == repr([header])


def test_a_long_run_is_read_in_several_parts_without_a_seam(samples, path):
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for taken in samples.many(1, 4_100):
        log.append(*taken)
    log.close()
    reader = SeasonLogReader(path)
    read = [recorded.scan for recorded in reader.scans("run-1")]
    assert read == [taken[0] for taken in samples.many(1, 4_100)]
    later = [recorded.scan.seq for recorded in reader.scans("run-1", after_seq=4_098)]
    assert later == [4_099, 4_100]
    assert reader.last_seq("run-1") == 4_100


def test_runs_are_kept_apart_and_in_order(samples, path, on_disk):
    for run, last in [("b", 3), ("empty", 0), ("a", 2)]:
        log = DirectSeasonLog(path)
        log.begin(samples.header(run, started_run_ms=last))
        for taken in samples.many(1, last):
            log.append(*taken)
        log.close()
    reader = SeasonLogReader(path)
    assert [header.run for header in reader.runs()] == ["b", "empty", "a"]
    assert [on_disk.seqs(run) for run in ("b", "empty", "a")] == [[1, 2, 3], [], [1, 2]]
    assert [reader.last_seq(run) for run in ("b", "empty", "a")] == [3, 0, 2]
    of_b, of_empty, of_a = ["run", "command"], ["run"], ["run", "command"]
    assert on_disk.kinds() == [*of_b, "ending", *of_empty, "ending", *of_a]


def test_each_run_tells_every_mats_first_command(samples, path):
    log = DirectSeasonLog(path)
    for run in ("a", "b"):
        log.begin(samples.header(run))
        for taken in samples.many(1, 3):
            log.append(*taken)
    log.close()
    reader = SeasonLogReader(path)
    for run in ("a", "b"):
        told = [len(recorded.commands) for recorded in reader.scans(run)]
        assert told == [1, 0, 0]


def test_half_a_character_is_spelled_out_rather_than_lost(samples, path):
    refusal = Refusal("n1", Millis(0), "no number", raw="\udcff°")
    scan, decisions, state = samples.taken(1, refusals=(refusal,))
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    log.append(scan, decisions, state)
    log.close()
    (read,) = SeasonLogReader(path).scans("run-1")
    assert read.scan.refusals[0].raw == "\\udcff°"


def test_bytes_per_sample_stay_below_25(samples, path):
    """Eight probes every 10 s and a scan every 5 s, jittery clocks, all in."""
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    readings = 0
    for seq in range(1, 10_001):
        run_ms = seq * 5_000 + seq * 7 % 23
        some_readings = tuple(
            Reading(f"p{n}", Millis(run_ms - 37 * n), 21_000 + (seq + n) * 125 % 3_000)
            for n in range(seq % 2, 8, 2)
        )
        readings += len(some_readings)
        log.append(
            *samples.taken(
                seq,
                run_ms=run_ms,
                readings=some_readings,
                energised=seq % 60 < 20,
            )
        )
    log.close()
    assert path.stat().st_size / readings < 25


def test_direct_writing_costs_one_row_per_scan_and_reading(samples, path):
    """No row is written for what did not change."""
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for taken in samples.many(1, 100):
        log.append(*taken)
    log.close()
    with sqlite3.connect(path) as db:
        tables = ["scan", "reading", "command", "clock", "remark", "doubt", "snapshot"]
        counts = [
            db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608
            for table in tables
        ]
    db.close()
    assert counts == [100, 100, 1, 1, 0, 0, 2]


def test_a_direct_log_says_at_once_that_the_disk_refuses(samples, tmp_path):
    path = tmp_path / "season.db"
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    log.append(*samples.taken(1, readings=(Reading("n1", Millis(0), 2**70),)))
    with pytest.raises(LogError, match=r"season\.db cannot be written"):
        log.close()
    log.close()
    DirectSeasonLog(path).close()  # the file is free again


def test_a_direct_log_refuses_a_number_that_does_not_grow(samples, path):
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    log.append(*samples.taken(2))
    with pytest.raises(ValueError, match="scan 2 comes after scan 2"):
        log.append(*samples.taken(2))
    log.close()


def test_a_run_is_begun_once_only(samples, path):
    log = DirectSeasonLog(path)
    log.begin(samples.header("same"))
    with pytest.raises(LogError, match="has a run same already"):
        log.begin(samples.header("same"))


async def test_a_direct_log_commits_when_it_is_asked(samples, path, on_disk):
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    log.append(*samples.taken(1))
    assert on_disk.seqs() == []
    assert await log.committed(1)
    assert on_disk.seqs() == [1]
    assert not await log.committed(2)
    log.close()


def test_a_direct_log_commits_by_count(samples, path, on_disk):
    log = DirectSeasonLog(path, commit_every_scans=1_000)
    log.begin(samples.header())
    for taken in samples.many(1, 1_200):
        log.append(*taken)
    assert len(on_disk.seqs()) == 1_000
    log.close()
    assert len(on_disk.seqs()) == 1_200


def test_a_direct_log_takes_scans_from_begin_to_close_only(samples, path):
    log = DirectSeasonLog(path)
    log.append(*samples.taken(1))
    with pytest.raises(LogError, match="no run has begun"):
        log.close()
    with pytest.raises(LogError, match="is closed"):
        log.begin(samples.header())


def test_a_doubt_is_tied_to_the_later_of_two_readings_alike(samples, path):
    """The first of them was taken, and stays among the samples."""
    same = Reading("n1", Millis(4_000), 20_125)
    twice = (same, same, replace(same, milli=85_000))
    doubts = (
        Doubt(
            "n1", Millis(4_000), MilliC(20_000), Quality.UNCERTAIN, Doubted.OUT_OF_ORDER
        ),
        Doubt("n1", Millis(4_000), MilliC(84_875), Quality.BAD, Doubted.POWER_UP),
    )
    scan, decisions, state = samples.taken(1, readings=twice)
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    log.append(scan, replace(decisions, doubts=doubts), state)
    log.close()
    columns = SeasonLogReader(path).samples("n1", 0, 2**60)
    assert list(columns.temp_mc) == [20_000]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT reading FROM doubt").fetchall() == [(1,), (2,)]
    db.close()
    (read,) = SeasonLogReader(path).scans("run-1")
    assert read.decisions.doubts == doubts


def test_a_command_is_recorded_again_when_its_cause_changes(samples, path):
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    causes = [Cause.BELOW_BAND, Cause.BELOW_BAND, Cause.MIN_ON, Cause.BELOW_BAND]
    for seq, cause in enumerate(causes, 1):
        scan, decisions, state = samples.taken(seq)
        command = Command("north", True, cause, (("root_mc", seq / 3),))
        log.append(scan, replace(decisions, commands=(command,)), state)
    log.close()
    told = [recorded.commands for recorded in SeasonLogReader(path).scans("run-1")]
    assert [[command.cause for command in commands] for commands in told] == [
        [Cause.BELOW_BAND],
        [],
        [Cause.MIN_ON],
        [Cause.BELOW_BAND],
    ]
    assert told[2][0].numbers == (("root_mc", 1.0),)
