"""Times come back to the millisecond, whatever the clocks do."""

import sqlite3
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.core.scan import LogHealth


def write(samples, path, scans) -> None:
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for seq, changes in enumerate(scans, 1):
        log.append(*samples.taken(seq, **changes))
    log.close()


def stretches(path) -> int:
    db = sqlite3.connect(path)
    (count,) = db.execute("SELECT count(*) FROM clock").fetchone()
    db.close()
    return count


def local(utc_ms: int, zone: str) -> tuple[int, int]:
    """Return the local day and minute as the standard library has them."""
    here = datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(ZoneInfo(zone))
    day = here.date().toordinal() - datetime(1970, 1, 1, tzinfo=UTC).toordinal()
    return day, here.hour * 60 + here.minute


@pytest.mark.parametrize(
    ("zone", "change"),
    [
        ("Europe/Paris", "2026-03-29T01:00:00+00:00"),
        ("Europe/Paris", "2026-10-25T01:00:00+00:00"),
        ("America/St_Johns", "2026-03-08T05:30:00+00:00"),
        ("Australia/Lord_Howe", "2026-04-04T15:00:00+00:00"),  # half an hour
    ],
)
def test_local_time_is_exact_across_a_change_of_the_clocks(samples, path, zone, change):
    start_ms = int(datetime.fromisoformat(change).timestamp() * 1000) - 600_000
    wanted = []
    for seq in range(1, 241):  # ten minutes before, ten minutes after
        utc_ms = start_ms + seq * 5_000 + seq % 7
        day, minute = local(utc_ms, zone)
        wanted.append({"utc_ms": utc_ms, "local_day": day, "local_minute": minute})
    write(samples, path, wanted)
    read = [
        {
            "utc_ms": one.utc_ms,
            "local_day": one.local_day,
            "local_minute": one.local_minute,
        }
        for one in (recorded.scan for recorded in SeasonLogReader(path).scans("run-1"))
    ]
    assert read == wanted
    assert (
        len({one["local_minute"] - one["utc_ms"] // 60_000 % 1440 for one in read}) > 1
    )
    assert stretches(path) == 2


def test_a_local_time_that_fits_no_zone_is_kept_as_it_is(samples, path):
    """A board without a clock chip may say anything."""
    odd = [{"local_day": day, "local_minute": 1_439} for day in (5, -3, 20_000)]
    write(samples, path, odd)
    read = [recorded.scan for recorded in SeasonLogReader(path).scans("run-1")]
    assert [(one.local_day, one.local_minute) for one in read] == [
        (5, 1_439),
        (-3, 1_439),
        (20_000, 1_439),
    ]


def test_small_jitter_and_drift_need_no_new_stretch(samples, path):
    jitter = [{"run_ms": 5_000 * seq + seq * 13 % 40} for seq in range(1, 101)]
    write(samples, path, jitter)
    read = [recorded.scan.run_ms for recorded in SeasonLogReader(path).scans("run-1")]
    assert read == [one["run_ms"] for one in jitter]
    assert stretches(path) == 1


@pytest.mark.parametrize(("step_ms", "count"), [(2_000, 1), (2_001, 2), (-2_001, 2)])
def test_a_clock_that_is_set_begins_a_new_stretch(samples, path, step_ms, count):
    """By more than two seconds; the local time goes with it."""
    wanted = []
    for seq in range(1, 21):
        utc_ms = samples.taken(seq)[0].utc_ms + (step_ms if seq > 10 else 0)
        day, minute = divmod(utc_ms // 60_000 + 120, 1_440)
        wanted.append({"utc_ms": utc_ms, "local_day": day, "local_minute": minute})
    write(samples, path, wanted)
    read = [recorded.scan.utc_ms for recorded in SeasonLogReader(path).scans("run-1")]
    assert read == [one["utc_ms"] for one in wanted]
    assert stretches(path) == count


@pytest.mark.parametrize(
    ("flag", "usual", "rare"),
    [
        ("link_up", True, False),
        ("clock_ok", True, False),
        ("log_health", LogHealth.OK, LogHealth.FAILED),
    ],
)
def test_a_flag_that_comes_and_goes_is_kept(samples, path, flag, usual, rare):
    values = [usual, rare, rare, usual]
    write(samples, path, [{flag: value} for value in values])
    read = SeasonLogReader(path).scans("run-1")
    assert [getattr(recorded.scan, flag) for recorded in read] == values


def test_plain_times_can_be_read_with_any_sqlite_shell(samples, path):
    write(samples, path, [{}, {"run_ms": 10_017}, {}])
    db = sqlite3.connect(path)
    rows = db.execute(
        "SELECT run, seq, run_ms, utc_ms FROM scan_time ORDER BY scan"
    ).fetchall()
    sample = db.execute(
        "SELECT probe, at_ms, milli FROM sample WHERE scan = 3"
    ).fetchone()
    switched = db.execute("SELECT mat, energised, cause FROM switching").fetchall()
    db.close()
    scans = [recorded.scan for recorded in SeasonLogReader(path).scans("run-1")]
    assert rows == [("run-1", one.seq, one.run_ms, one.utc_ms) for one in scans]
    assert sample == ("n1", 8_766, 20_002)
    assert switched == [("north", 0, "above-band")]
