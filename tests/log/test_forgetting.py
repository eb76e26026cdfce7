"""What goes from a log, what stays, and that what stays can still be audited."""

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller import cli
from controller.adapters.season_log import (
    DirectSeasonLog,
    LogFile,
    LogLock,
    SeasonLogReader,
    TripFile,
    forgetting,
    trips_beside,
)
from controller.adapters.season_log.forgetting import delete_run, forget_runs
from controller.adapters.season_log.schema import LogError
from controller.core.decisions import Cause
from controller.core.scan import Reading
from controller.core.state import Trip, fresh_state, resumed_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import DAY_MS
from controller.ports import Instant
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, fold
from controller.records.changes import Change
from controller.records.codes import code_of
from controller.records.places import Move
from controller.review.retention import (
    Need,
    Span,
    batches_need,
    choose,
    counters_need,
    missed,
)
from tests.log.conftest import Samples

# The bench's clock begins on 2025-10-09 at 08:53:20 UTC; a run is two hours long.
SCANS = 1_440
EARLIER = ["--before", "2025-10-11"]


def season(path: Path, samples, runs: int = 4) -> Path:
    """Write one run a day, each going on from the one before, as a bench does."""
    plan = samples.plan
    state = fresh_state(plan)
    log = DirectSeasonLog(path)
    for day in range(runs):
        ahead_ms = day * DAY_MS
        if day:
            state = resumed_state(plan, state, ahead_ms, outage_known=True)
        begun = samples.header(
            f"run-{day}",
            started_run_ms=ahead_ms,
            started_utc_ms=samples.header().started_utc_ms + ahead_ms,
            state=state,
            decisions_version=DECISIONS_VERSION,
        )
        log.begin(begun)
        for seq in range(1, SCANS + 1):
            scan, _, _ = samples.taken(seq)
            now_ms = scan.run_ms + ahead_ms
            reading = Reading("n1", now_ms, 21_500 + seq % 40)
            scan = replace(
                scan,
                run_ms=now_ms,
                utc_ms=scan.utc_ms + ahead_ms,
                readings=(reading,) if seq % 6 == 0 else (),
            )
            state, decisions = step(plan, state, scan)
            log.append(scan, decisions, state)
        log.end(Instant(now_ms, scan.utc_ms, True, 0, 0), "stopped")
    log.close()
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    return season(tmp_path_factory.mktemp("made") / "season.db", Samples())


@pytest.fixture
def log(made, path) -> Path:
    shutil.copy(made, path)
    return path


def typed(*words: object) -> int:
    return cli.main(["forget", *map(str, words)])


def runs_in(path: Path) -> list[str]:
    return [header.run for header in SeasonLogReader(path).runs()]


def test_without_yes_it_only_tells(log, capsys):
    before = log.read_bytes()
    assert typed(log, *EARLIER) == 1
    said = capsys.readouterr().out
    assert "run run-0 (live), 0.1 days from 2025-10-09T08:53:25.000Z to" in said
    assert "  480 readings of tray N1" in said  # 2 runs of 1440 scans, every sixth
    assert "still needed by the degree-hours of tray N1" in said
    assert "2 runs, about" in said and "nothing was deleted" in said
    assert log.read_bytes() == before


def test_what_is_needed_goes_only_when_it_is_said_so(log, capsys):
    before = log.read_bytes()
    assert typed(log, *EARLIER, "--yes") == 1
    assert "say --even-if-needed" in capsys.readouterr().err
    assert log.read_bytes() == before
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 0
    assert runs_in(log) == ["run-2", "run-3"]
    assert log.stat().st_size < len(before)


def test_what_stays_is_audited_without_a_mismatch_and_reads_as_before(log, capsys):
    before = SeasonLogReader(log)
    kept = [list(before.scans(run)) for run in ("run-2", "run-3")]
    begins = kept[0][0].scan.utc_ms
    samples = before.samples("n1", begins, 2**60)
    journal = [one for one in before.journal(0, 9_999) if one.utc_ms >= begins]
    typed(log, *EARLIER, "--yes", "--even-if-needed")
    after = SeasonLogReader(log)
    assert [list(after.scans(run)) for run in ("run-2", "run-3")] == kept
    again = after.samples("n1", 0, 2**60)
    assert list(again.temp_mc) == list(samples.temp_mc)
    assert list(again.utc_ms) == list(samples.utc_ms)
    found = after.journal(0, 9_999)
    assert [one for one in found if one.utc_ms >= begins] == journal
    assert len(found) - len(journal) == 1  # the run's own line, a scan earlier
    assert after.ending("run-2") == before.ending("run-2")
    assert cli.main(["audit", str(log)]) == 0
    assert cli.main(["backup", "--check", str(log)]) == 0


def test_no_row_of_a_run_is_left_in_any_table(log):
    """Every table but those of names and of the file itself."""

    def counts() -> dict[str, int]:
        with closing(sqlite3.connect(log)) as db:
            tables = db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
            return {
                name: db.execute(f"SELECT count(*) FROM {name}").fetchone()[0]  # noqa: S608
                for (name,) in tables.fetchall()
            }

    fold_what_is_old(log)
    before = counts()
    with closing(sqlite3.connect(log, isolation_level=None)) as db:
        db.execute("BEGIN")
        delete_run(db, 1, 4 * (SCANS + 1))
        db.execute("COMMIT")
    left = {name for name, count in counts().items() if count}
    assert {"run", "block", "folded", "series", "snapshot"} <= {
        name for name, count in before.items() if count
    }
    assert left <= {"meta", "name", "forgotten"}


def fold_what_is_old(log):
    file = LogFile(log, run=runs_in(log)[-1])
    while file.fold_some(0, 2**62):
        pass
    file.close()


def test_folded_runs_are_forgotten_like_others(log, capsys):
    fold_what_is_old(log)
    reader = SeasonLogReader(log)
    kept = [list(reader.scans(run)) for run in ("run-2", "run-3")]
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 0
    after = SeasonLogReader(log)
    after.check()
    assert [list(after.scans(run)) for run in ("run-2", "run-3")] == kept


def test_nothing_that_is_needed_by_a_person_goes(log, capsys):
    words = [log, *EARLIER, "--yes", "--json"]
    assert typed(*words, "--keep", "N1=2025-10-10") == 1
    told = json.loads(capsys.readouterr().out)
    assert [(one["what"], one["run"]) for one in told["needed"]] == [
        ("the degree-hours of tray N1, to be counted again", "run-0"),
        ("you, with --keep N1=2025-10-10", "run-1"),
    ]
    assert told["deleted"] is False
    assert len(runs_in(log)) == 4


def test_a_log_that_is_being_written_is_left_alone(log, capsys):
    lock = LogLock(log)
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 2
    lock.release()
    assert "one writer" in capsys.readouterr().err
    assert len(runs_in(log)) == 4
    assert typed(log, *EARLIER) == 1  # to tell what would go needs no lock


def test_the_newest_run_never_goes(log, capsys):
    assert typed(log, "--before", "2030-01-01", "--yes", "--even-if-needed") == 0
    assert "run run-3 stays: it is the newest one" in capsys.readouterr().out
    assert runs_in(log) == ["run-3"]
    assert typed(log, "--before", "2030-01-01", "--yes") == 0
    assert "no run that may go" in capsys.readouterr().out


def test_a_run_in_which_a_mat_tripped_that_is_still_locked_off_stays(log, capsys):
    at_ms = SeasonLogReader(log).runs()[1].started_utc_ms + 60_000
    trip = Trip(Cause.OVER_CUTOUT, "n1", 33_200, 33_000, 5_000, at_ms)
    TripFile(trips_beside(log)).save({"north": trip})
    beside = trips_beside(log).read_bytes()
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 0
    assert "run run-1 stays: a mat tripped in it" in capsys.readouterr().out
    assert runs_in(log) == ["run-1", "run-2", "run-3"]
    assert trips_beside(log).read_bytes() == beside


def test_without_room_to_make_the_file_smaller_it_says_so(log, capsys, monkeypatch):
    usage = shutil.disk_usage(log.parent)._replace(free=1_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    before = log.stat().st_size
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 0
    said = capsys.readouterr().out
    assert "the file was not made smaller: that takes" in said
    assert runs_in(log) == ["run-2", "run-3"]
    assert log.stat().st_size == before
    assert cli.main(["backup", "--check", str(log)]) == 0


def test_all_runs_go_or_none(log):
    with pytest.raises(LogError, match="run run-3 is not there, or is the newest"):
        forget_runs(log, ["run-0", "run-3"])
    assert len(runs_in(log)) == 4


def test_a_disk_that_refuses_leaves_all_there(log, monkeypatch):
    def full(path):
        db = sqlite3.connect(path, isolation_level=None)
        db.execute("PRAGMA query_only = 1")  # sqlite.org, "PRAGMA query_only"
        return db

    monkeypatch.setattr(forgetting, "connect", full)
    with pytest.raises(LogError, match="cannot be written"):
        forget_runs(log, ["run-0"])
    assert len(runs_in(log)) == 4


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--before", "soon"], "--before 'soon' is no time; write 2027-02-01"),
        ([*EARLIER, "--keep", "N9=2025-01-01"], "the log has no tray N9; it has N1"),
        ([*EARLIER, "--keep", "N1=ever"], "--keep 'ever' is no time"),
    ],
)
def test_what_cannot_be_understood_is_told_with_exit_2(log, capsys, words, told):
    assert typed(log, *words) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("junk", [b"", b"no log"])
def test_what_is_no_log_is_left_alone(path, capsys, junk):
    path.write_bytes(junk)
    assert typed(path, *EARLIER, "--yes") == 2
    assert str(path) in capsys.readouterr().err
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_help_says_that_the_daemon_deletes_nothing(capsys):
    with pytest.raises(SystemExit):
        typed("--help")
    assert "The daemon deletes nothing, ever" in capsys.readouterr().out


def test_a_log_without_a_run_has_nothing_to_forget(path, capsys):
    DirectSeasonLog(path).close()
    assert typed(path, *EARLIER) == 2
    assert "has no run" in capsys.readouterr().err


def test_a_run_without_a_scan_is_of_the_time_at_which_it_began(path, samples):
    log = DirectSeasonLog(path)
    log.begin(samples.header("empty"))
    log.begin(samples.header("newest", started_utc_ms=2**41))
    log.close()
    assert typed(path, "--before", "2025-10-10", "--yes", "--even-if-needed") == 0
    assert runs_in(path) == ["newest"]


def test_a_damaged_file_of_trips_stops_it(log, capsys):
    trips_beside(log).write_text("{")
    assert typed(log, *EARLIER, "--yes", "--even-if-needed") == 2
    assert "is damaged" in capsys.readouterr().err
    assert len(runs_in(log)) == 4


# ------------------------------------------------------------------ what is chosen


def span(samples, run: str, first_ms: int, last_ms: int, **changes: object) -> Span:
    origin = changes.pop("origin", "live")
    header = samples.header(run, origin=origin, started_utc_ms=first_ms, **changes)
    return Span(header, first_ms, last_ms, 10, clock_ok=True)


def test_only_whole_runs_go_and_of_known_times(samples):
    spans = [
        span(samples, "old", 0, 90),
        replace(span(samples, "unknown", 10, 20), clock_ok=False),
        span(samples, "imported", 20, 80, origin="import"),
        span(samples, "across", 90, 110),
        span(samples, "live", 120, 130),
        span(samples, "simulated", 0, 50, origin="simulate"),
    ]
    choice = choose(spans, 100, [])
    assert [one.header.run for one in choice.go] == ["old", "imported"]
    assert {stays.span.header.run: stays.why for stays in choice.stay} == {
        "unknown": "its clock was not known to be right: when it was, nobody knows",
        "across": "it ended after that, and only whole runs go",
        "simulated": "it is the newest one",
    }
    assert choose(spans, 0, []).go == ()


def test_a_run_that_ended_at_the_very_moment_stays(samples):
    spans = [span(samples, "old", 0, 100), span(samples, "new", 200, 300)]
    assert choose(spans, 100, []).go == ()
    assert choose(spans, 101, []).go == (spans[0],)


def test_a_counter_needs_the_run_in_which_it_began(samples):
    fresh = samples.header("run-1", started_utc_ms=1_000)
    account = replace(fresh.state.accounts["N1"], last_ms=5, measured_ms=7)
    carried = replace(fresh.state, accounts={"N1": account})
    later = samples.header("run-2", started_utc_ms=2_000, state=carried)
    (need,) = counters_need([fresh, later])
    assert (need.tray, need.from_utc_ms) == ("N1", 1_000)
    # The run in which it began is gone already: nothing is left to keep for it.
    assert counters_need([later]) == []
    # Begun anew with another base: what was before it is not needed.
    other = replace(account, base_mc=5_000)
    based = replace(fresh.state, accounts={"N1": other})
    assert counters_need([samples.header(state=based), later]) == []
    assert counters_need([replace(later, origin="simulate")]) == []


def test_needs_miss_only_runs_that_reach_into_them(samples):
    spans = [span(samples, "one", 0, 90), span(samples, "two", 100, 190)]
    later, any_tray, other = (
        Need("a", "N1", 95),
        Need("b", "", 90),
        Need("c", "N7", 0),
    )
    found = missed([later, any_tray, other], spans)
    assert [(one.need.what, one.run) for one in found] == [("a", "two"), ("b", "one")]


# ---------------------------------------------------------------- what batches need


def told(log: Path, *words: object) -> None:
    assert cli.main(["batch", *map(str, words), "--log", str(log)]) == 0


def test_an_open_batch_needs_the_readings_of_where_it_stood(log, capsys):
    stuck = ["--stuck", "2025-10-10T00:00Z", "--count", 9, "--tray", "N1"]
    told(log, "add", "quince", "--kind", "hardwood", *stuck)
    words = [log, *EARLIER, "--yes"]
    assert typed(*words) == 1
    said = capsys.readouterr().out
    code = code_of(1)
    assert f"still needed by batch {code} (quince), its degree-hours: run run-1" in said
    told(log, "close", code, "failed", "--at", "2025-10-10T20:00Z")
    capsys.readouterr()
    assert typed(*words) == 1
    assert "by batch" not in capsys.readouterr().out
    assert typed(*words, "--even-if-needed") == 0
    assert len(SeasonLogReader(log).changes()) == 2


def test_a_batch_needs_each_tray_only_from_when_it_stood_there():
    batch = Batch(
        crop="quince", kind=BatchKind.HARDWOOD, count=9, tray="N1", stuck_utc_ms=10**12
    )
    code = code_of(1)
    moved = Move(batch=code, utc_ms=10**12 + 5, tray="")
    again = Move(batch=code, utc_ms=10**12 + 9, tray="N2")
    book = fold(
        Book(),
        [
            Change(1, 0, "", code, batch),
            Change(2, 0, "", "2", moved),
            Change(3, 0, "", "3", again),
        ],
    )
    assert [(need.tray, need.from_utc_ms) for need in batches_need(book)] == [
        ("N1", 10**12),
        ("N2", 10**12 + 9),
    ]
