"""`bottomheat audit LOG`: exit status, words and JSON."""

import argparse
import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.season_log import DirectSeasonLog
from controller.cli import audit as command
from controller.core.step import DECISIONS_VERSION


@pytest.fixture
def log(season, tmp_path: Path) -> Path:
    return written(season, tmp_path / "season.db")


def written(season, path: Path, **header: object) -> Path:
    log = DirectSeasonLog(path)
    log.begin(replace(season.header, **header))
    for taken in season.taken:
        log.append(*taken)
    log.close()
    return path


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    args = parser.parse_args(["audit", *words])
    return args.run(args)


def altered(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        assert db.execute(statement).rowcount == 1


def test_a_true_log_is_said_to_be_true_with_exit_0(log, capsys):
    assert run(str(log)) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == [
        "run run-1: 600 scans, 0 mismatches",
        f"{log}: 1 run, 600 scans decided again, 0 mismatches",
    ]
    assert err == ""


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE command SET energised = 1 - energised WHERE scan = (SELECT"
            " max(scan) FROM command) AND n = 0",
            ", command: recorded ",
        ),
        (
            "DELETE FROM doubt WHERE n = 1",
            "scan 200, doubt: recorded nothing; decided again south-1 85.0 °C",
        ),
        (
            "UPDATE alarm_change SET turn = 'cleared' WHERE scan = (SELECT"
            " min(scan) FROM alarm_change) AND n = 0",
            "scan 200, alarm: recorded no-driving-reading north cleared",
        ),
        (
            "UPDATE answer SET accepted = 0 WHERE request = 1",
            "scan 450, answer: recorded request 1 refused",
        ),
        (
            "DELETE FROM scan WHERE id = (SELECT max(id) FROM scan) - 10",
            "scan 590 missing in the log",
        ),
    ],
    ids=["command", "doubt", "alarm", "answer", "scan"],
)
def test_one_row_altered_by_hand_is_found_and_no_other(log, capsys, statement, words):
    altered(log, statement)
    assert run(str(log)) == 1
    out = capsys.readouterr().out
    assert words in out
    assert out.splitlines()[-1].endswith("decided again, 1 mismatch")


def test_many_differences_are_cut_short_in_words_but_counted(log, capsys):
    with closing(sqlite3.connect(log)) as db, db:
        gone = db.execute("DELETE FROM command").rowcount
    assert gone > 20
    assert run(str(log)) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"run run-1: 600 scans, {gone} mismatches"
    assert len(lines) == 1 + 20 + 1 + 1
    assert lines[21] == f"  … and {gone - 20} more"


def test_json_holds_the_same(log, capsys):
    altered(log, "DELETE FROM doubt WHERE n = 1")
    assert run(str(log), "--json") == 1
    found = json.loads(capsys.readouterr().out)
    (audited,) = found.pop("runs")
    assert found == {
        "log": str(log),
        "decisions_version": DECISIONS_VERSION,
        "scans": 600,
        "imported_scans": 0,
        "mismatches": 1,
        "mismatches_of_other_versions": 0,
    }
    assert (audited["run"], audited["scans"], audited["counts"]) == (
        "run-1",
        600,
        {"doubt": 1},
    )
    assert [(one["seq"], one["what"]) for one in audited["differences"]] == [
        (200, "doubt")
    ]


def test_runs_of_another_decisions_version_are_counted_apart(season, log, capsys):
    written(season, log, run="old", decisions_version=DECISIONS_VERSION + 1)
    assert run(str(log)) == 0
    out = capsys.readouterr().out
    assert f"run old, recorded with decisions version {DECISIONS_VERSION + 1}:" in out
    assert out.splitlines()[-2].endswith(
        "2 runs, 1,200 scans decided again, 0 mismatches"
    )
    assert out.splitlines()[-1].startswith(
        "and 0 mismatches in runs of other decisions"
    )
    altered(log, "DELETE FROM doubt WHERE n = 1 AND scan > 700")
    assert run(str(log)) == 1
    out = capsys.readouterr().out
    assert out.splitlines()[-2].endswith("0 mismatches")
    assert out.splitlines()[-1].startswith("and 1 mismatch in runs of other decisions")


def test_a_log_without_runs_has_no_mismatch(tmp_path, capsys):
    path = tmp_path / "season.db"
    DirectSeasonLog(path).close()
    assert run(str(path)) == 0
    assert "0 runs, 0 scans" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "complaint"),
    [(None, "does not exist"), (b"", "is empty"), (b"plain text", "no SQLite file")],
)
def test_an_unreadable_log_is_named_with_exit_2(tmp_path, capsys, content, complaint):
    path = tmp_path / "season.db"
    if content is not None:
        path.write_bytes(content)
    assert run(str(path)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"bottomheat audit: {path}")
    assert complaint in err


def test_damage_in_the_middle_of_a_log_is_exit_2_too(log, capsys):
    altered(log, "UPDATE command SET cause = 'whim' WHERE scan = 2 AND n = 0")
    assert run(str(log)) == 2
    assert "is damaged" in capsys.readouterr().err


def test_long_work_shows_on_a_terminal_how_far_it_is(log, capsys, monkeypatch):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setattr(command, "_PROGRESS_EVERY", 150)
    assert run(str(log)) == 0
    out, err = capsys.readouterr()
    assert [f"{share}%" in err for share in (25, 50, 75, 100)] == [True] * 4
    assert err.endswith("\r\033[K")
    assert "%" not in out
