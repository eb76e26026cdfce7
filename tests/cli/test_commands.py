"""The commands as a person runs them: whole processes, real files."""

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import urllib.request
from contextlib import closing
from pathlib import Path

import pytest

from controller.adapters.season_log import SeasonLogReader
from controller.cli import main
from controller.cli.paths import config_dir
from controller.records.codes import code_of

BENCH = str(config_dir() / "bench.toml")
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def simulated(tmp_path_factory) -> Path:
    """Six simulated hours of the demo bench."""
    out = tmp_path_factory.mktemp("simulated") / "season.db"
    assert main(["simulate", BENCH, "--days", "0.25", "--out", str(out)]) == 0
    return out


def bottomheat(*words: str, **more) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "controller", *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        **more,
    )


def test_a_simulated_season_is_decided_alike_again(simulated, capsys):
    assert main(["audit", str(simulated), "--json"]) == 0
    assert "4320" in capsys.readouterr().out.replace(",", "")


def test_one_decision_changed_by_hand_is_found_and_no_other(
    simulated, tmp_path, capsys
):
    changed = tmp_path / "changed.db"
    changed.write_bytes(simulated.read_bytes())
    with closing(sqlite3.connect(changed)) as db, db:
        newest = db.execute(
            "SELECT scan, mat FROM command ORDER BY scan DESC"
        ).fetchone()
        flip = "UPDATE command SET energised = 1 - energised WHERE scan = ? AND mat = ?"
        assert db.execute(flip, newest).rowcount == 1
    assert main(["audit", str(changed)]) == 1
    assert "1 mismatch" in capsys.readouterr().out


def test_simulate_says_how_each_mat_was_kept(tmp_path, capsys):
    out = tmp_path / "s.db"
    words = ["simulate", BENCH, "--days", "0.2", "--out", str(out), "--json"]
    assert main([*words, "--beside-thermostat"]) == 0
    kept = json.loads(capsys.readouterr().out)
    assert set(kept) == {"bottomheat", "thermostat"}
    assert kept["bottomheat"]["north"]["overshoot_k"] < 0.6
    assert kept["bottomheat"]["south"]["overshoot_k"] < 0.6
    assert kept["thermostat"]["north"]["policy"] == "on-off"
    assert len(SeasonLogReader(out).runs()) == 1
    assert out.with_name("s.thermostat.db").exists()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--days", "0"], "--days 0: must be above 0"),
        (["--days", "nan"], "--days nan: must be above 0"),
        (["--days", "0.00005"], "--days 5e-05: must be at least a scan, 5 s"),
        (["--days", "1", "--seed", "-1"], "--seed -1: must be 0 or more"),
        (["--days", "1", "--room", "no.csv"], "no.csv"),
    ],
)
def test_simulate_refuses_what_makes_no_sense(more, says, tmp_path, capsys):
    out = str(tmp_path / "s.db")
    assert main(["simulate", BENCH, "--out", out, *more]) == 2
    assert says in capsys.readouterr().err
    assert not Path(out).exists()


def test_simulate_overwrites_nothing(simulated, capsys):
    before = simulated.read_bytes()
    assert main(["simulate", BENCH, "--days", "1", "--out", str(simulated)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert simulated.read_bytes() == before


def test_simulate_names_the_bad_line_of_a_room(tmp_path, capsys):
    room, out = tmp_path / "room.csv", tmp_path / "s.db"
    room.write_text("time,temp_c\n0,warm\n", encoding="utf-8")
    words = ["simulate", BENCH, "--days", "1", "--out", str(out), "--room", str(room)]
    assert main(words) == 2
    assert f"{room}: line 2: 'warm'" in capsys.readouterr().err
    assert not out.exists()


def test_the_demo_warms_five_trays_and_ends_with_every_relay_off():
    process = bottomheat("demo", "--once", "3", "--speed", "100", "--port", "0")
    said, _ = process.communicate(timeout=25)
    assert process.returncode == 0, said
    summary = said[said.index("every relay is off") :]
    heat = re.findall(r"^  [NS]\d +[\d.]+ °C of .* ([\d.]+) K·h", summary, re.MULTILINE)
    assert len(heat) == 5
    assert all(float(kelvin_hours) > 0 for kelvin_hours in heat)
    assert "Alarms: none" in summary


def test_the_demo_answers_over_http_and_ends_cleanly_on_ctrl_c():
    process = bottomheat("demo", "--port", "0")
    assert process.stdout is not None
    try:
        for line in process.stdout:
            found = re.search(r"(http://127\.0\.0\.1:\d+)/ ", line)
            if found:
                break
        address = f"{found[1]}/v1/health/live"  # also before the first scan
        with urllib.request.urlopen(address, timeout=10) as answer:  # noqa: S310
            assert answer.headers["Content-Type"] == "application/json"
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 0, rest
    assert "every relay is off" in rest


@pytest.mark.parametrize(
    "words", [["--speed", "101"], ["--once", "0"], ["--port", "x"]]
)
def test_the_demo_refuses_impossible_numbers(words, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["demo", *words])
    assert ended.value.code == 2
    assert "must be" in capsys.readouterr().err


def configured(folder: Path, broker: str) -> list[str]:
    """Return the words that run the demo bench on another broker."""
    text = Path(BENCH).read_text(encoding="utf-8")
    text = text.replace('url = "mqtt://127.0.0.1:1883"', broker)
    text = text.replace('"season.db"', f'"{folder / "season.db"}"')
    config = folder / "bench.toml"
    config.write_text(text.replace("port = 8000", "port = 0"), encoding="utf-8")
    return ["run", "--config", str(config)]


def test_run_brings_a_broker_of_its_own_if_told_to(tmp_path):
    process = bottomheat(*configured(tmp_path, 'url = "embedded"'))
    assert process.stdout is not None
    try:
        said = ""
        while "/v1/bench" not in said:
            line = process.stdout.readline()
            assert line, said
            said += line
        address = re.search(r"mqtt://127\.0\.0\.1:\d+", said)
        process.send_signal(signal.SIGTERM)
        rest, _ = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 0, rest
    assert address is not None, said


def test_run_names_a_password_file_that_is_not_there(tmp_path, capsys):
    secret = tmp_path / "secret"
    broker = (
        f'url = "mqtt://127.0.0.1:1"\nusername = "bench"\npassword_file = "{secret}"'
    )
    assert main(configured(tmp_path, broker)) == 2
    assert f"broker password_file {secret}: cannot be read" in capsys.readouterr().err


def test_what_was_told_to_a_daemon_is_there_after_it_was_killed(tmp_path, capsys):
    """A whole process with its API; SIGKILL comes right after the answer."""
    process = bottomheat(*configured(tmp_path, 'url = "embedded"'))
    assert process.stdout is not None
    try:
        for line in process.stdout:
            found = re.search(r"(http://127\.0\.0\.1:\d+)/ ", line)
            if found:
                break
        url = ["--url", found[1]]
        words = ["event", "watered", "N1", "--ml", "200", "--at", "2026-02-03T08:00"]
        told = 2
        for _ in range(200):  # until its first scan is finished it says 503
            told = main([*words, *url])
            if told == 0:
                break
            threading.Event().wait(0.1)
        assert told == 0, capsys.readouterr().err
        add = ["batch", "add", "quince", "--kind", "hardwood", "--tray", "N1"]
        add += ["--stuck", "2026-02-01", "--count", "9"]
        assert main([*add, *url]) == 0
        assert (
            main(["event", "turned", "N1", "--log", str(tmp_path / "season.db")]) == 2
        )
        assert "one writer" in capsys.readouterr().err
        assert main(["batch", "show", code_of(1), *url]) == 0
        assert "K·h above" in capsys.readouterr().out
    finally:
        process.kill()
        process.communicate(timeout=20)
    kept = SeasonLogReader(tmp_path / "season.db").changes()
    assert [change.kind.value for change in kept] == ["event", "batch"]
    assert main(["batch", "list", "--log", str(tmp_path / "season.db")]) == 0
    assert "quince" in capsys.readouterr().out
