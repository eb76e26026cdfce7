"""A short season of the campaign that ill-treats season logs, and its own gates."""

import sqlite3
from contextlib import closing

import pytest

from controller.adapters.season_log import (
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
    inspect_log,
)
from controller.adapters.season_log.schema import PAGE_BYTES
from controller.adapters.season_log.tables import EVENTS
from tests.campaigns import log_faults
from tests.campaigns.logs import damaging, filling, killing
from tests.campaigns.logs.asking import asked, truth
from tests.campaigns.logs.going_on import lay
from tests.campaigns.logs.season import Season, written

pytestmark = pytest.mark.timeout(120)
"""Disks are filled and writers killed: on a busy machine that takes its time."""

HOURS = 10.0
RUNS = ("run-1", "run-2", "run-3")


@pytest.fixture(scope="module")
def season() -> Season:
    return damaging.ground(HOURS).season


@pytest.fixture
def log(season, tmp_path):
    return lay(tmp_path / "log", season.files["closed"])


def without(path, scan: int):
    """Take away all that is told about a scan."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("DELETE FROM scan WHERE id = ?", (scan,))
        db.execute("DELETE FROM reading WHERE id / 4096 = ?", (scan,))
        db.execute("DELETE FROM remark WHERE reading / 4096 = ?", (scan,))
        for table in EVENTS:
            db.execute(f"DELETE FROM {table} WHERE scan = ?", (scan,))  # noqa: S608


def altered(path, *statements):
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for statement in statements:
            db.execute(statement)


def test_a_season_is_the_same_each_time(season):
    """But for the "-wal", in which SQLite puts random numbers."""
    one, other = (written(2.0, 1_800_000).files for _ in range(2))
    assert [files[""] for files in one.values()] == [f[""] for f in other.values()]


def test_damaged_logs_are_detected_or_harmless():
    found = list(damaging.cases(1, 6, 1, hours=HOURS))
    assert damaging.failures(found) == []
    assert {case.asked.outcome for case in found} >= {"detected", "harmless"}
    assert "all " in damaging.table(found)


def test_wrong_data_is_called_wrong(season, log, monkeypatch):
    known = truth(log, season)
    with monkeypatch.context() as blind:
        # As if nobody looked at check numbers: then the alteration is served.
        blind.setattr("controller.adapters.season_log.segments.row_sum", lambda _: 0)
        altered(log, "UPDATE note SET sentence = 'another', sum = 0 WHERE scan = 1")
        altered(log, *(f"UPDATE {t} SET sum = 0" for t in _SUMMED))  # noqa: S608
        assert asked(log, known, tail=False).outcome == "WRONG"


_SUMMED = (
    *("name", "run", "note", "ending", "clock", "lost", "forgotten", "snapshot"),
    *("block", "folded", "series"),
)


def test_a_writer_is_killed_and_the_next_goes_on():
    found = list(killing.kills(1, 3, 1, per_file=3))
    assert killing.failures(found, 3) == []
    assert len(found) == 3


def test_a_full_disk_costs_nothing():
    found = list(filling.fulls(3, 2))
    assert filling.failures(found) == []


def test_a_gate_that_does_not_hold_is_exit_1(monkeypatch, capsys):
    lost = killing.Kill(0, told=5, found=4, wrong=["scan 5 was committed"])
    monkeypatch.setattr(killing, "kills", lambda *_: [lost])
    assert log_faults.main(["--only", "kill", "--kills", "1"]) == 1
    out = capsys.readouterr().out
    assert "FAILED: kill 0: scan 5 was committed" in out
    assert "committed scans lost" in out


# ---------------------------------------------------------- what the campaign found


def test_a_row_that_is_gone_is_noticed_in_every_small_table(log):
    """One cell less in the head of a page: no check number tells of it."""
    whole = log.read_bytes()
    small = ("name", "run", "note", "ending", "clock", "block", "snapshot")
    for table in small:
        root = _root(log, table)
        at = (root - 1) * PAGE_BYTES + 3
        count = int.from_bytes(whole[at : at + 2], "big")
        assert count > 0
        log.write_bytes(whole[:at] + (count - 1).to_bytes(2, "big") + whole[at + 2 :])
        with pytest.raises(LogError, match="is damaged"):
            SeasonLogReader(log).last_state("run-3")
        log.write_bytes(whole)


def test_a_record_that_is_gone_is_noticed(log):
    whole = log.read_bytes()
    at = (_root(log, "record") - 1) * PAGE_BYTES + 3
    count = int.from_bytes(whole[at : at + 2], "big")
    log.write_bytes(whole[:at] + (count - 1).to_bytes(2, "big") + whole[at + 2 :])
    with pytest.raises(LogError, match="is damaged"):
        SeasonLogReader(log).changes()


def _root(path, table: str) -> int:
    with closing(sqlite3.connect(path)) as db:
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    return int(root)


def test_a_view_that_was_altered_is_noticed(log):
    whole = log.read_bytes()
    was, becomes = b"+ s.late_ms + s.skew_ms", b"- s.late_ms - s.skew_ms"
    assert was in whole
    log.write_bytes(whole.replace(was, becomes))
    with pytest.raises(LogError, match=r"with another .*scan_time"):
        SeasonLogReader(log)


def test_a_scan_that_follows_a_missing_one_is_not_sound(log):
    reader = SeasonLogReader(log)
    last = reader.last_seq("run-3")
    assert all(one.sound for one in reader.scans("run-3"))
    with closing(sqlite3.connect(log)) as db:
        (run,) = db.execute("SELECT id FROM run WHERE run = 'run-3'").fetchone()
    without(log, run + last - 5)
    found = [one.scan.seq for one in reader.scans("run-3") if not one.sound]
    assert found == [last - 4]


def test_an_entry_of_the_journal_that_is_gone_is_noticed(log):
    reader = SeasonLogReader(log)
    assert reader.journal(0, 10_000)
    altered(
        log,
        "DELETE FROM alarm_change WHERE (scan, n) ="
        " (SELECT scan, n FROM alarm_change ORDER BY scan LIMIT 1)",
    )
    with pytest.raises(LogError, match="is damaged"):
        SeasonLogReader(log).journal(0, 10_000)


def test_what_comes_after_the_last_scan_is_missed(log):
    altered(
        log,
        "DELETE FROM scan WHERE id = (SELECT max(id) FROM scan)",
        "DELETE FROM ending",
    )
    for ask in (
        lambda reader: reader.last_seq("run-3"),
        lambda reader: reader.samples("n1", 0, 2**60),
        lambda reader: reader.journal(0, 10_000),
    ):
        with pytest.raises(LogError, match="which is missing"):
            ask(SeasonLogReader(log))


def test_samples_that_begin_among_lost_scans_are_no_missing_ones(season, log):
    taken = season.taken["run-3"]
    at = next(n for n, (scan, _, _) in enumerate(taken) if scan.seq != n + 1)
    after_ms = taken[at][0].utc_ms  # seven scans of 20 s were lost before it
    read = [
        SeasonLogReader(log).samples("n1", after_ms + 5_000 * n, 2**60, untaken=True)
        for n in range(-40, 20, 2)
    ]
    kept = [len(columns.order) for columns in read]
    assert kept == sorted(kept, reverse=True)
    assert kept[0] > kept[-1] > 0


def test_a_text_that_is_none_is_damage_and_not_a_disk_that_refuses(log):
    altered(
        log,
        "UPDATE alarm_change SET who = CAST(x'ff' AS TEXT)"
        " WHERE scan > (SELECT max(last) FROM block)",
    )
    with pytest.raises(LogError, match="is damaged"):
        inspect_log(log)
    with pytest.raises(LogError, match="is damaged") as caught:
        list(SeasonLogReader(log).scans("run-3"))
    assert "cannot be read now" not in str(caught.value)


def test_an_index_that_tells_something_else_is_noticed_at_the_start(log):
    altered(
        log,
        "PRAGMA writable_schema = 1",
        "UPDATE sqlite_schema SET sql = NULL WHERE name = 'none'",
        "PRAGMA writable_schema = 0",
    )
    inspect_log(log)
    whole = log.read_bytes()
    root = _root(log, "sqlite_autoindex_name_1")
    start = (root - 1) * PAGE_BYTES
    page = whole[start : start + PAGE_BYTES].replace(b"n3", b"n4", 1)
    log.write_bytes(whole[:start] + page + whole[start + PAGE_BYTES :])
    with pytest.raises(LogError, match="is damaged"):
        inspect_log(log)
    assert SeasonLogReader(log).samples("n3", 0, 2**60).order


def test_folding_that_finds_no_room_is_told_and_waits(samples, path, monkeypatch):
    """Or the log would be ill and well again at every scan, and nobody told."""
    tried = []

    def no_room(_file, _after_ms, now_ms):
        tried.append(now_ms)
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(
        "controller.adapters.season_log.logfile.LogFile.fold_some", no_room
    )
    told: list[str] = []
    log = SeasonLogWriter(path, fold_after_ms=60_000, retry_s=60, tell=told.append)
    log.begin(samples.header())
    for seq in range(1, 242):  # twenty minutes
        log.append(*samples.taken(seq, flush=True))
        assert log.settle()
    log.close()
    assert [at_ms // 600_000 for at_ms in tried] == [0, 1, 2]
    assert [("cannot be written" in words) for words in told] == [True, False] * 3
    assert SeasonLogReader(path).last_seq("run-1") == 241


def test_scans_out_of_order_end_in_an_error_and_not_never(log):
    """Rows of a page that belongs elsewhere: the same ones came again and again."""
    roots = [_root(log, table) for table in ("scan", "reading")]
    whole = bytearray(log.read_bytes())
    one, other = ((root - 1) * PAGE_BYTES for root in roots)
    whole[one : one + PAGE_BYTES], whole[other : other + PAGE_BYTES] = (
        whole[other : other + PAGE_BYTES],
        whole[one : one + PAGE_BYTES],
    )
    log.write_bytes(whole)
    for run in RUNS:
        with pytest.raises(LogError):
            list(SeasonLogReader(log).scans(run))
