"""`bottomheat fit`: from a simulated log to words, a file and an exit status."""

import argparse
import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.cli import fit as command
from controller.cli import main
from controller.cli.beginning import run_header
from controller.cli.fit_words import in_words
from controller.cli.local_time import LocalTime
from controller.cli.virtual_time import simulated
from controller.core.plan import RelayKind
from controller.core.scan import Hold, Request, Reset, Scan
from controller.core.state import fresh_state
from controller.core.step import step
from controller.ports import IMPORTED
from controller.review.mat_history import mat_histories, mats_of
from controller.review.recounted import Span
from sim.fitting.gridded import record_of
from sim.fitting.model_file import read
from tests.sim.lean_to import DAY, PLAN, SOUTH, a_world

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
"""Four days are simulated first."""

UTC_MS = 1_801_472_400_000
"""2027-02-01 09:00 UTC."""


def one_mat():
    """A mat with two trays and no surface probe; scans every 30 s."""
    return replace(
        PLAN, scan_ms=30_000, mats=(replace(SOUTH, relay=RelayKind.LEASE, surface=()),)
    )


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Four days of an invented bench."""
    path = tmp_path_factory.mktemp("log") / "season.db"
    plan = one_mat()
    started = LocalTime("Europe/Paris").instant(0, UTC_MS)
    header = run_header("simulate", plan, fresh_state(plan), started, "Europe/Paris")
    writer = DirectSeasonLog(path)
    simulated(header, a_world(plan, seed=3, start_temp_c=16.0), writer, 4 * DAY)
    writer.close()
    return path


def run(*words):
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    args = parser.parse_args(["fit", *map(str, words)])
    return args.run(args)


def the_history(log, span=Span()):  # noqa: B008 - it never changes
    reader = SeasonLogReader(log)
    mats = mats_of(reader.runs())
    (found,) = mat_histories(reader, mats, span, lambda run: reader.scans(run.run))
    return found


def test_a_record_has_the_time_on_that_the_commands_say(log):
    """Counted once more, scan by scan: each holds until the next one."""
    reader = SeasonLogReader(log)
    (header,) = reader.runs()
    record = record_of(the_history(log))
    on_ms, on, last_ms = np.zeros(len(record)), False, None
    for recorded in reader.scans(header.run):
        now_ms = recorded.scan.run_ms
        step = int(((last_ms or 0) - record.start_run_ms) // 60_000)
        if on and step < len(record):
            on_ms[step] += now_ms - last_ms
        for told in recorded.commands:
            on = told.energised
        last_ms = now_ms
    # Scans stand every 30 s, so that none lies across an edge.
    assert record.start_run_ms % 30_000 == 0
    assert record.on_share == pytest.approx(on_ms / 60_000, abs=1e-9)
    assert 0.3 < record.on_share.mean() < 0.8
    assert record.start_utc_ms == UTC_MS + record.start_run_ms
    assert record.local_minute[0] == 10 * 60
    assert np.isfinite(record.temps_c[2:]).all()


def test_a_grower_and_an_engineer_read_what_was_found(log, capsys):
    assert run(log) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("Mat south: 2027-02-01 09:00Z to 2027-02-05 0")
    words = " ".join(out.split())
    assert "mat fully on warms it by" in words
    assert "± is one standard error, found by leaving out one day" in words
    row = next(line for line in out.splitlines() if line.startswith("S1"))
    gain_k, error_k = float(row.split()[1]), float(row.split()[3])
    assert gain_k == pytest.approx(25.2, abs=max(3 * error_k, 2.5))
    assert "The log cannot tell" not in out


def test_a_mat_that_leaks_is_told_of(log):
    (fit,) = command._fits([record_of(the_history(log))])
    assert "past the medium" not in "\n".join(in_words(fit))
    first, *others = fit.zones
    leaks = replace(first.zone, between_s=3_000.0, leak=0.2)
    leaking = replace(fit, zones=(replace(first, zone=leaks), *others))
    said = " ".join("\n".join(in_words(leaking)).split())
    assert f"loses heat past the medium ({first.name})," in said


def test_the_file_holds_what_json_prints_and_can_be_read_back(log, tmp_path, capsys):
    out = tmp_path / "model.json"
    assert run(log, "--json", "--out", out) == 0
    text = capsys.readouterr().out
    assert out.read_text(encoding="utf-8") == text
    assert json.loads(text)["log"] == "season.db"
    (fit,) = read(text)
    assert [zone.name for zone in fit.model.zones] == ["S1", "S2"]
    assert run(log, "--out", out) == 2
    assert "is there already; name a new file" in capsys.readouterr().err


def test_a_watering_that_is_named_begins_a_window(log, capsys):
    assert run(log, "--watered", "2027-02-03T08:00") in {0, 1}
    assert "2027-02-03 07:00Z  watered" in capsys.readouterr().out


def test_a_watering_that_people_told_of_begins_a_window_of_its_tray(log, tmp_path):
    told = tmp_path / "told.db"
    shutil.copy(log, told)
    words = ["event", "watered", "S2", "--ml", "200", "--log", str(told)]
    assert main([*words, "--at", "2027-02-03T07:00:30Z"]) == 0
    windows = record_of(the_history(told)).windows
    watered = [one for one in windows if one.why == "watered"]
    minutes = 46 * 60  # from the first scan, half a minute after the beginning
    assert [(one.step, one.zone) for one in watered] == [(minutes, "S2")]


def test_too_little_is_a_finding(log, capsys):
    assert run(log, "--from", "2027-02-02", "--to", "2027-02-03") == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "The log cannot tell: S1: only 24 hours of readings" in out
    assert "not identifiable" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--mat", "X"], "--mat X: the log has no such mat; there are: south"),
        (["--from", "soon"], "--from 'soon' is no time; write 2027-02-01"),
        (["--watered", "soon"], "--watered 'soon' is no time"),
        (["--watered", "2026-01-01"], "season.db: watered at 2025-12-31T23:00Z: the"),
        (["--from", "2027-02-03", "--to", "2027-02-02"], "must lie before --to"),
        (["--from", "2028-02-03"], "nothing was controlled in that time"),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_place(log, capsys, words, said):
    assert run(log, *words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("bottomheat fit: ")
    assert said in err


def test_an_empty_log_and_one_without_control_say_so(tmp_path, capsys):
    DirectSeasonLog(tmp_path / "empty.db").close()
    assert run(tmp_path / "empty.db") == 2
    assert "no run of a controller with a mat is in it" in capsys.readouterr().err
    log = DirectSeasonLog(tmp_path / "imported.db")
    plan = one_mat()
    started = LocalTime("UTC").instant(0, UTC_MS)
    log.begin(run_header(IMPORTED, plan, fresh_state(plan), started, "UTC"))
    log.close()
    assert run(tmp_path / "imported.db") == 2


def test_without_scipy_it_says_what_to_install(log, capsys, monkeypatch):
    monkeypatch.setattr(command, "find_spec", lambda name: None)
    assert run(log) == 2
    assert 'pip install "bottomheat[analysis]"' in capsys.readouterr().err


def test_the_extra_that_is_named_has_what_is_needed():
    project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))
    extra = project["project"]["optional-dependencies"]["analysis"]
    assert {one.split(">")[0] for one in extra} >= set(command.NEEDS)


# ------------------------------------------------------------------ several runs


def begun(log, plan, run_ms, wishes=()):
    """Write a run of half an hour without readings; a wish is heard in scan 10."""
    state = fresh_state(plan, run_ms)
    started = LocalTime("UTC").instant(run_ms, UTC_MS + run_ms)
    log.begin(run_header("live", plan, state, started, "UTC"))
    for seq in range(1, 180):
        at_ms = run_ms + seq * 10_000
        asked = wishes if seq == 10 else ()
        scan = Scan(seq, at_ms, UTC_MS + at_ms, True, 20_850, 600, requests=asked)
        state, decisions = step(plan, state, scan)
        log.append(scan, decisions, state)


def test_runs_with_other_probes_are_left_out_and_holds_are_happenings(tmp_path):
    """Three short runs: one tray, then two of them, then another medium in both."""
    plan = one_mat()
    (mat,) = plan.mats
    one_tray = replace(plan, mats=(replace(mat, trays=mat.trays[:1]),))
    dry = tuple(replace(tray, medium="coir-perlite") for tray in mat.trays)
    other_medium = replace(plan, mats=(replace(mat, trays=dry),))
    hold = Request(1, "A", Hold("south", 600_000))
    end = Request(2, "A", Hold("south", 0))
    elsewhere = Request(3, "A", Hold("north", 600_000))
    log = DirectSeasonLog(tmp_path / "season.db")
    begun(log, one_tray, 0, (hold,))
    begun(log, plan, 2_000_000, (hold, end, elsewhere, Request(4, "A", Reset("south"))))
    begun(log, other_medium, 4_000_000)
    log.close()
    found = the_history(tmp_path / "season.db")
    assert found.from_run_ms == 2_010_000
    assert [(one.run_ms, one.why) for one in found.happenings] == [
        (2_100_000, "hands on the bench (a hold)"),
        (2_700_000, "the end of a hold"),
        (4_000_000, "a new plan has something else in the trays"),
    ]
    assert [name for name, _ in found.trays] == ["S1", "S2"]
    assert not found.switchings
