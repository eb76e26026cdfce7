"""`bottomheat forecast`: of a bench that runs, and worked out from a log."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from api.app import create_app
from api.context import Beside
from api.record_book import Records
from api.server import Listen, serve
from controller import cli
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.season_log import DirectSeasonLog
from controller.cli import forecast_job, tune
from controller.core.scan import Reading
from controller.core.units import Millis
from controller.ports import ForecastKept
from controller.records.codes import code_of
from sim.tuning.wishes import WishError
from tests.api.conftest import WARM, FakeBench
from tests.api.test_forecast_route import BATCH, RESULT
from tests.api.test_trays_command import in_a_thread
from tests.log.conftest import UTC_MS, Samples

ROOT = Path(__file__).parents[2]
ONE, TWO = code_of(1), code_of(2)
STUCK = "2025-10-09T09:00Z"  # soon after the log begins
LATER = "2025-10-10T09:00Z"


@pytest.fixture(scope="module")
def season(tmp_path_factory) -> Path:
    """A log of a day in tray N1 at 21 °C, with two batches."""
    path = tmp_path_factory.mktemp("forecast") / "season.db"
    samples = Samples()
    writer = DirectSeasonLog(path)
    writer.begin(samples.header())
    for seq in range(1, 24 * 60):
        run_ms = Millis(seq * 60_000)
        reading = Reading("n1", run_ms, 21_125)
        scan = {"run_ms": run_ms, "utc_ms": UTC_MS + run_ms, "readings": (reading,)}
        writer.append(*samples.taken(seq, **scan))
    writer.close()
    log = ["--log", str(path), "--stuck", STUCK, "--tray", "N1", "--count", "20"]
    assert cli.main(["batch", "add", "gooseberry", "--kind", "hardwood", *log]) == 0
    assert cli.main(["batch", "add", "kiwi", "--kind", "hardwood", *log]) == 0
    return path


@pytest.fixture
def url():
    bench, kept = FakeBench().scan(WARM), MemoryRecords()
    records = Records(kept, lambda: kept)
    forecast = ForecastKept(RESULT, 1_771_059_600_000, "no memory\x1b")
    app = create_app(bench, None, bench, records, beside=Beside(lambda: forecast))
    with in_a_thread(lambda tell: serve(app, Listen("127.0.0.1", 0), tell)) as port:
        yield f"http://127.0.0.1:{port}"


def typed(*words: object) -> int:
    return cli.main(["forecast", *map(str, words)])


def test_a_bench_that_runs_tells_what_it_last_worked_out(url, capsys):
    assert typed("--url", url) == 0
    said = capsys.readouterr().out
    assert said.startswith("Worked out 2026-02-14 04:00 UTC.\n")
    assert "The last attempt failed, 2026-02-14 09:00 UTC: no memory" in said
    assert "\x1b" not in said
    assert "3334  gooseberry Hollow Lane\n" in said


def test_json_is_that_of_the_api(url, capsys):
    assert typed("--url", url, "--json") == 0
    assert json.loads(capsys.readouterr().out)["batches"] == [BATCH]


def test_without_a_daemon_it_says_whom_it_asked(capsys):
    assert typed("--url", "http://127.0.0.1:9") == 2
    assert "is the daemon running there?" in capsys.readouterr().err


def test_it_is_worked_out_from_a_log(season, capsys):
    assert typed("--log", season, "--at", LATER) == 0
    said = capsys.readouterr().out
    assert f"{ONE}  gooseberry\n  Half of those that will root have rooted by" in said
    assert "none yet from your own looks" in said
    assert f"{TWO}  kiwi\n  No date yet: no source and no own batches.\n" in said
    assert "No earlier forecast has come to pass yet." in said
    assert not forecast_job.forecast_beside(season).exists()


def test_else_it_is_as_when_the_log_ended(season, capsys):
    assert typed("--log", season) == 0
    assert capsys.readouterr().out.startswith("Worked out 2025-10-10 08:")


def test_one_batch_may_be_asked_for_carelessly(season, capsys):
    assert typed(ONE.lower(), "--log", season, "--at", LATER, "--json") == 0
    (one,) = json.loads(capsys.readouterr().out)["batches"]
    assert one["code"] == ONE
    assert one["degree_hours_k_h"] == pytest.approx(16 * 23.9, abs=10)


def test_no_date_at_all_is_a_finding(season):
    assert typed(TWO, "--log", season, "--at", LATER) == 1


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["334Z"], "334Z"),
        ([code_of(99)], "nothing is foretold of it"),
    ],
)
def test_a_batch_that_is_none_is_told(season, words, complaint, capsys):
    assert typed(*words, "--log", season, "--at", LATER) == 2
    assert complaint in capsys.readouterr().err


def test_crops_of_one_s_own_go_with_a_log(season, tmp_path, capsys, url):
    own = tmp_path / "mine.toml"
    assert typed("--crops", own, "--url", url) == 2
    assert "--crops and --at go with --log" in capsys.readouterr().err
    own.write_text("[[crop]]\nname = 3\n", encoding="utf-8")
    assert typed("--crops", own, "--log", season) == 2
    assert "crop number 1: name = 3: give it a name" in capsys.readouterr().err


def test_the_job_writes_a_result_whole_and_its_history_goes_on(
    season, tmp_path, monkeypatch
):
    monkeypatch.setattr(forecast_job, "give_way", lambda *_: None)  # of this process
    result = tmp_path / "r.json"
    for day in (10, 18):
        at = str(UTC_MS + day * 86_400_000)
        assert forecast_job.main([str(season), str(result), "--at", at]) == 0
    kept = json.loads(result.read_text())
    assert [one["at_utc_ms"] for one in kept["history"]] == [
        UTC_MS + day * 86_400_000 for day in (10, 18)
    ]
    assert kept["newest"] == 2
    assert [path.name for path in tmp_path.iterdir()] == ["r.json"]
    result.write_text("{", encoding="utf-8")
    assert forecast_job.main([str(season), str(result), "--at", at]) == 0
    assert (tmp_path / "r.json.damaged").read_text() == "{"
    assert len(json.loads(result.read_text())["history"]) == 1


def test_the_job_gives_way_and_bears_its_limits(tmp_path):
    code = (
        "import os, resource\n"
        "from controller.cli import forecast_job as job\n"
        "job.give_way(job.MEMORY_BYTES, job.CPU_S)\n"
        "print(os.nice(0), *resource.getrlimit(resource.RLIMIT_AS),"
        " resource.getrlimit(resource.RLIMIT_CPU)[0])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    nice, soft, _, cpu_s = map(int, done.stdout.split())
    assert nice == min(19, os.nice(0) + 19)
    assert (soft, cpu_s) == (forecast_job.MEMORY_BYTES, forecast_job.CPU_S)


@pytest.mark.parametrize("log", ["absent", "rubbish"])
def test_the_job_says_why_it_cannot_be(tmp_path, log, monkeypatch, capsys):
    monkeypatch.setattr(forecast_job, "give_way", lambda *_: None)  # of this process
    path = tmp_path / "season.db"
    if log == "rubbish":
        path.write_bytes(b"not a log" * 1000)
    assert forecast_job.main([str(path), str(tmp_path / "r.json")]) == 2
    assert "season.db" in capsys.readouterr().err
    assert not (tmp_path / "r.json").exists()


# ------------------------------------------------------------- what tune makes of it


def asked_of_tune(*words: object):
    parser = cli.build_parser()
    return tune._asked(parser.parse_args(["tune", *map(str, words)]))


def test_tune_takes_what_stands_for_rooted_from_the_forecast(season):
    wish = "least energy, rooted by 2025-12-20"
    for words in (["--wish", wish], ["--rooting", "forecast"]):
        found = asked_of_tune(season, "--mat", "north", *words)
        assert found.rooting is not None
        assert found.rooting.base_mc == 5_000
        assert found.rooting.heat_k_h == pytest.approx(9_878, rel=0.02)
        (note,) = found.notes
        assert note.startswith(f"rooted is what is foretold of batch {ONE}, gooseberry")
        assert note.endswith("--rooting says another")


def test_what_is_said_to_tune_goes_before_the_forecast(season):
    found = asked_of_tune(season, "--rooting", "3200 K·h above 10 °C")
    assert (found.rooting.heat_k_h, found.notes) == (3_200, ())
    assert asked_of_tune(season, "--wish", "least energy").rooting is None


def test_tune_says_that_there_is_no_forecast_to_take(season):
    with pytest.raises(WishError, match="no open batch on the mat has a forecast"):
        asked_of_tune(season, "--mat", "south", "--rooting", "forecast")
