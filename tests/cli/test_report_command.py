"""`bottomheat report`: from a log to a file, and what is refused."""

import json
import os
import shlex
import subprocess
import sys
from argparse import Namespace
from dataclasses import replace
from pathlib import Path

import pytest

from controller import cli
from controller.adapters.season_log import DirectSeasonLog
from controller.cli.asking import ask
from controller.cli.paths import config_dir
from controller.core.alarm_rules import AlarmKind
from controller.core.decisions import AlarmChange, AlarmTurn
from tests.api.test_trial_routes import PLAN
from tests.log.conftest import SCAN_MS, UTC_MS, Samples

SCANS = 720  # an hour


@pytest.fixture
def log(tmp_path) -> Path:
    """An hour of a mat that is on in every second quarter, and one alarm."""
    path = tmp_path / "season.db"
    samples = Samples()
    writer = DirectSeasonLog(path)
    writer.begin(samples.header(timezone="UTC"))
    for seq in range(1, SCANS + 1):
        on = (seq - 1) // 180 % 2 == 1
        scan, decisions, state = samples.taken(seq, energised=on)
        command = decisions.commands[0]
        numbers = (*command.numbers, ("setpoint_mc", 21_000.0))
        changes = ()
        if seq in (100, 220):
            turn = AlarmTurn.RAISED if seq == 100 else AlarmTurn.CLEARED
            changes = (AlarmChange(AlarmKind.LINK_DOWN, "", turn),)
        told = replace(
            decisions,
            commands=(replace(command, numbers=numbers),),
            alarm_changes=changes,
        )
        writer.append(scan, told, state)
    writer.close()
    return path


def typed(*words: object) -> int:
    return cli.main(["report", *map(str, words)])


WITHOUT_EXTRAS = """
import sys
for name in ("numpy", "scipy", "numba", "matplotlib", "pyarrow", "reportlab", "amqtt"):
    sys.modules[name] = None
from controller.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("report season.db -o r.html --price '1 per kWh'", 0, ""),
        (
            "simulate BENCH --days 1 --out new.db",
            2,
            "simulate: a simulated bench needs",
        ),
        ("fit season.db", 2, "fit: fitting needs numpy"),
        ("whatif season.db --mat north --set setpoint=22°C", 2, "whatif: a thermal"),
        ("tune season.db --mat north", 2, "tune: a thermal model needs numpy"),
        ("sweep .", 2, "sweep: a thermal model needs numpy"),
        ("export season.db -o s.parquet", 2, "export: Parquet needs pyarrow"),
        ("labels --blank 1 -o l.pdf --log season.db", 2, "labels: a PDF needs"),
        ("demo --once 1", 2, "sudo ./dev install --extras board,notify,demo"),
    ],
)
def test_a_board_that_has_no_extras_does_it_or_says_what_is_missing(
    log, words, code, said
):
    """./dev install brings neither numpy nor what engineers draw pictures with."""
    words = words.replace("BENCH", str(config_dir() / "bench.toml"))
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_EXTRAS, *shlex.split(words)],
        cwd=log.parent,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, "Traceback" in done.stderr) == (code, False), done.stderr
    assert said in done.stderr


def test_a_log_becomes_one_file_with_its_heat_and_alarms(log, tmp_path, capsys):
    out = tmp_path / "season.html"
    assert typed(log, "-o", out, "--price", "0.30 EUR per kWh", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    # 180 scans of 5 s, and again until the lease of 15 s after the last scan ends.
    on_h = (180 * SCAN_MS + 179 * SCAN_MS + 15_000) / 3_600_000
    assert found["energy_kwh"]["north"] == pytest.approx(0.1 * on_h, abs=5e-4)
    assert (found["scans"], found["runs"], found["alarms"]) == (SCANS, 1, 1)
    whole = out.read_text(encoding="utf-8")
    assert "link-down" in whole and "10 min" in whole
    assert "at 21 °C" in whole and "0.02 EUR" in whole
    assert "it went on 2 times" in whole
    assert "simulated" not in whole


def test_the_file_is_there_whole_or_not_at_all(log, tmp_path, capsys):
    out = tmp_path / "season.html"
    out.write_text("mine")
    assert typed(log, "-o", out) == 2
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"
    assert typed(log, "-o", out, "--overwrite", "--unit", "F") == 0
    assert "at 69.8 °F" in out.read_text(encoding="utf-8")
    assert sorted(path.name for path in tmp_path.iterdir() if "html" in path.name) == [
        "season.html"
    ]


def test_a_stretch_is_told_by_itself(log, tmp_path, capsys):
    out = tmp_path / "season.html"
    begin = "2025-10-09T08:58:25"  # a quarter after the first scan
    assert UTC_MS == 1_760_000_000_000  # 2025-10-09T08:53:20Z
    assert typed(log, "-o", out, "--from", begin, "--json") == 0
    assert json.loads(capsys.readouterr().out)["scans"] == SCANS - 60
    middle = "2025-10-09T09:18:25"  # ten minutes after it went on for the first time
    assert typed(log, "-o", out, "--overwrite", "--from", middle, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    left_h = (60 * SCAN_MS + 179 * SCAN_MS + 15_000) / 3_600_000
    assert found["energy_kwh"]["north"] == pytest.approx(0.1 * left_h, abs=5e-4)
    assert "it went on 1 times" in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--from", "2030-01-01"], "no scan in that time"),
        (["--from", "2026-01-02", "--to", "2026-01-01"], "--to must lie after"),
        (["--price", "0.3"], "what a kilowatt-hour costs"),
        (["--from", "soon"], "is no time"),
    ],
)
def test_what_cannot_be_told_is_refused(log, tmp_path, words, complaint, capsys):
    out = tmp_path / "season.html"
    assert typed(log, "-o", out, *words) == 2
    assert complaint in capsys.readouterr().err
    assert not out.exists()


def test_what_tune_printed_stands_beside_it_and_anything_else_is_refused(
    log, tmp_path, capsys
):
    out, tuned = tmp_path / "season.html", tmp_path / "tuned.json"
    tuned.write_text(json.dumps({"mat": "north", "ways": [{"name": "as now"}]}))
    assert typed(log, "-o", out, "--tuned", tuned) == 0
    assert "Another way of keeping north" in out.read_text(encoding="utf-8")
    tuned.write_text("{")
    capsys.readouterr()
    assert typed(log, "-o", out, "--overwrite", "--tuned", tuned) == 2
    assert "tuned.json" in capsys.readouterr().err
    assert typed(log, "-o", out, "--overwrite", "--tuned", tmp_path / "none") == 2
    assert "No such file" in capsys.readouterr().err


def test_a_log_of_another_recorder_only_has_no_season(tmp_path, capsys):
    path = tmp_path / "other.db"
    samples = Samples()
    writer = DirectSeasonLog(path)
    writer.begin(samples.header(origin="import"))
    writer.append(*samples.taken(1))
    writer.close()
    assert typed(path, "-o", tmp_path / "x.html") == 2
    assert "no run of a bench" in capsys.readouterr().err


def test_a_night_that_nobody_watched_is_told(tmp_path):
    path, out = tmp_path / "season.db", tmp_path / "season.html"
    samples = Samples()
    writer = DirectSeasonLog(path)
    writer.begin(samples.header())
    writer.append(*samples.taken(1))
    scan, decisions, state = samples.taken(2)
    late = replace(
        scan, run_ms=scan.run_ms + 36_000_000, utc_ms=scan.utc_ms + 36_000_000
    )
    writer.append(late, decisions, replace(state, run_ms=late.run_ms))
    writer.close()
    assert typed(path, "-o", out) == 0
    assert "For 10 hours in between" in out.read_text(encoding="utf-8")


def told(log: Path, *words: object) -> None:
    assert cli.main([*map(str, words), "--log", str(log)]) == 0


def test_batches_have_the_warmth_that_the_api_counts_and_the_looks_of_their_time(
    log, tmp_path, capsys
):
    add = ["batch", "add", "quince", "--kind", "hardwood", "--count", 9, "--tray", "N1"]
    told(log, *add, "--stuck", "2025-10-09T09:00Z", "--base", 7, "--cover", "closed")
    seen = ["--base", "roots=7", "callus=2", "--tops", "leafed=9"]
    look = ["batch", "look", "334X", "--how", "lifted", "--at-n", 9, *seen]
    told(log, *look, "--at", "2025-10-09T09:30Z")
    told(log, "batch", "move", "334X", "off", "--at", "2025-10-09T09:40Z")
    told(log, "batch", "close", "334X", "weaned", "--at", "2025-10-09T09:45Z")
    told(log, "batch", "plants", "334X", "potted", 7, "--at", "2025-10-09T09:46Z")
    told(log, "event", "watered", "N1", "--ml", 90, "--at", "2025-10-09T09:10Z")
    units = [{**PLAN["units"][0], "batch": "334X"}, PLAN["units"][1]]
    ask(Namespace(log=log), "POST", "/v1/trials", {**PLAN, "units": units})
    capsys.readouterr()
    told(log, "batch", "show", "334X", "--json")
    thermal = json.loads(capsys.readouterr().out)["thermal"]
    out = tmp_path / "season.html"
    assert typed(log, "-o", out) == 0
    whole = out.read_text(encoding="utf-8")
    assert thermal["degree_hours_k_h"] > 5
    assert f"{thermal['degree_hours_k_h']:,.0f} K·h" in whole
    for words in (
        "at least 7 of 9",
        "weaned",
        "closed cover",
        "0.1 l",
        ">7</td>",
        PLAN["title"],
    ):
        assert words in whole, words
    until = ["--to", "2025-10-09T09:20Z", "--overwrite"]
    assert typed(log, "-o", out, *until) == 0
    whole = out.read_text(encoding="utf-8")
    assert "not looked" in whole and "goes on" in whole
    assert "weaned" not in whole


def test_a_batch_of_another_time_is_not_told(log, tmp_path):
    add = ["batch", "add", "quince", "--kind", "hardwood", "--count", 9, "--tray", "N1"]
    told(log, *add, "--stuck", "2025-10-09T09:30Z")
    out = tmp_path / "season.html"
    assert typed(log, "-o", out, "--to", "2025-10-09T09:20Z") == 0
    assert "No batch was told of" in out.read_text(encoding="utf-8")
