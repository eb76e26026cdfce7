"""`bottomheat sweep FOLDER` as a person runs it, on invented benches."""

import json
import os
import shutil

import pytest

from controller.cli import main
from controller.cli.paths import config_dir
from controller.cli.sweep_kept import Keeper

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]  # the first use compiles

WISH = "least energy, coolest tray never below 17 °C"


@pytest.fixture(scope="module")
def logs(tmp_path_factory):
    """Return a folder of two benches' logs, of four simulated days each."""
    folder = tmp_path_factory.mktemp("logs")
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    config = tmp_path_factory.mktemp("config") / "bench.toml"
    config.write_text(text.replace('scan = "5 s"', 'scan = "30 s"'))
    for seed in ("1", "2"):
        out = str(folder / f"bench-{seed}.db")
        words = ["--days", "4", "--seed", seed, "--out", out]
        assert main(["simulate", str(config), *words]) == 0
    return folder


def sweep(folder, *words):
    """Tune the south mats, the smaller ones."""
    asked = ["--mat", "south", "--wish", WISH, "--candidates", "16", "--json"]
    asked += ["--nice", "0"]  # there may be other work
    return main(["sweep", str(folder), *asked, *words])


@pytest.fixture(scope="module")
def alone(logs, tmp_path_factory):
    """Return the journal of a sweep without any process."""
    path = tmp_path_factory.mktemp("out") / "alone.jsonl"
    assert sweep(logs, "--workers", "0", "--out", str(path)) == 0
    return path


def rows_of(journal):
    """Return the rows of a journal, by the names of logs and mats."""
    lines = journal.read_text(encoding="utf-8").splitlines()[1:]
    rows = [json.loads(line) for line in lines]
    return {(row["log"], row["mat"]): row for row in rows}


@pytest.mark.parametrize(
    "words",
    [
        ("--workers", "2"),
        ("--workers", "1", "--scheduler", "local"),
        ("--scheduler", "there"),
    ],
    ids=" ".join,
)
def test_the_answers_are_the_same_to_the_last_bit(words, logs, alone, way, tmp_path):
    out = tmp_path / "out.jsonl"
    if "there" in words:
        words = ("--scheduler", way("dask")._client.scheduler.address)
    assert sweep(logs, *words, "--out", str(out)) == 0
    assert sorted(out.read_bytes().split(b"\n")) == sorted(
        alone.read_bytes().split(b"\n")
    )


def test_each_mat_is_told_of_with_its_recommendation(alone):
    rows = rows_of(alone)
    assert list(rows) == [("bench-1.db", "south"), ("bench-2.db", "south")]
    for row in rows.values():
        told = row["told"]
        assert row["why"] == ""
        assert told["bench"] == "lean-to"
        assert 95 < told["hours"] <= 96
        trays = [zone for zone in told["zones"] if not zone["at_mat"]]
        assert [zone["name"] for zone in trays] == ["S1", "S2"]
        assert all(zone["gain_k"]["value"] > 5 for zone in trays)
        now = told["answer"]["as_now"]["energy_kwh"]
        assert told["answer"]["recommended"]["energy_kwh"]["value"] <= now["value"]


def test_it_answers_as_tune_does_for_one(logs, alone, capsys):
    log = str(logs / "bench-1.db")
    words = ["--mat", "south", "--candidates", "16", "--json", "--wish", WISH]
    assert main(["tune", log, *words]) == 0
    tuned = json.loads(capsys.readouterr().out)
    (chosen,) = (way for way in tuned["ways"] if "recommended" in way["name"])
    swept = rows_of(alone)["bench-1.db", "south"]["told"]["answer"]["recommended"]
    assert swept["way"] == chosen["way"]
    assert swept["energy_kwh"] == chosen["energy_kwh"]
    assert swept["relay_operations"] == chosen["relay_operations"]


@pytest.mark.parametrize("words", [(), ("--scheduler", "local")], ids="".join)
def test_a_worker_killed_meanwhile_loses_nothing(
    words, logs, alone, begun_since, tmp_path, monkeypatch
):
    out, killed = tmp_path / "out.jsonl", []
    keep = Keeper.came

    def came(self, item, row):
        if not killed:
            killed.extend(begun_since())
            for one in killed:
                one.kill()
        keep(self, item, row)

    monkeypatch.setattr(Keeper, "came", came)
    assert sweep(logs, "--workers", "2", *words, "--out", str(out)) == 0
    assert len(killed) >= 2
    assert rows_of(out) == rows_of(alone)


def test_a_sweep_that_was_killed_goes_on_where_it_was(logs, alone, tmp_path, capsys):
    out = tmp_path / "out.jsonl"
    head, first, second = alone.read_text(encoding="utf-8").splitlines()
    kept = json.loads(first)
    kept["told"]["duty"] = 0.125  # to be told from one that was done again
    out.write_text(f"{head}\n{json.dumps(kept)}\n{second[:99]}", encoding="utf-8")
    assert sweep(logs, "--workers", "2", "--out", str(out), "--continue") == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert rows == list(({**rows_of(alone), (kept["log"], kept["mat"]): kept}).values())
    assert len(out.read_text(encoding="utf-8").splitlines()) == 3


def test_what_failed_and_what_changed_is_done_again(logs, alone, tmp_path, capsys):
    folder, out = tmp_path / "logs", tmp_path / "out.jsonl"
    shutil.copytree(logs, folder, ignore=shutil.ignore_patterns("*.lock"))
    (folder / "bench-2.db").write_text("rubbish")
    assert sweep(folder, "--workers", "0", "--out", str(out)) == 1
    capsys.readouterr()
    shutil.copy2(logs / "bench-2.db", folder)
    os.utime(folder / "bench-1.db", ns=(1, 1))
    words = ["--workers", "0", "--out", str(out), "--continue"]
    assert sweep(folder, *words) == 0
    one, two = json.loads(capsys.readouterr().out)["rows"]
    assert two == rows_of(alone)["bench-2.db", "south"]
    assert one["modified_ns"] == 1
    assert one["told"] == rows_of(alone)["bench-1.db", "south"]["told"]


def test_broken_logs_are_named_and_the_rest_goes_on(logs, tmp_path, capsys):
    shutil.copy2(logs / "bench-1.db", tmp_path / "good.db")
    whole = (logs / "bench-2.db").read_bytes()
    (tmp_path / "cut.db").write_bytes(whole[: len(whole) // 3])
    (tmp_path / "empty.db").touch()
    (tmp_path / "other.db").write_text("a shopping list\n")
    (tmp_path / "folder.db").mkdir()
    assert main(["sweep", str(tmp_path), "--workers", "2", "--nice", "0"]) == 1
    said = capsys.readouterr()
    assert "4 of 6 told nothing:" in said.out
    lines = [line.split()[:3] for line in said.out.splitlines()]
    assert ["lean-to", "north", "good.db"] in lines
    assert ["lean-to", "south", "good.db"] in lines
    for name in ("cut.db", "empty.db", "other.db", "folder.db"):
        assert f"bottomheat sweep: {name}" in said.err
    assert "good.db" not in said.err


def test_a_mat_that_is_not_there_is_told_of(logs, capsys):
    assert main(["sweep", str(logs), "--mat", "west", "--workers", "0"]) == 1
    assert "there are: north, south" in capsys.readouterr().err


def test_why_there_is_no_recommendation(logs, capsys):
    words = ["--mat", "south", "--workers", "0", "--candidates", "5", "--wish"]
    asked = "least energy, coolest tray never below 32 °C"
    assert main(["sweep", str(logs), *words, asked]) == 0
    said = capsys.readouterr().out
    assert said.count('none: "coolest tray never below 32 °C" is missed by') == 2


def test_a_journal_of_another_wish_is_refused(logs, alone, capsys):
    before = alone.read_bytes()
    words = ["--out", str(alone), "--continue", "--wish", "steadiest"]
    assert sweep(logs, *words) == 2
    assert 'now it is "steadiest"' in capsys.readouterr().err
    assert alone.read_bytes() == before


def test_a_journal_with_a_strange_line_is_refused(logs, alone, tmp_path, capsys):
    out = tmp_path / "out.jsonl"
    text = alone.read_text(encoding="utf-8").replace('"gain_k"', '"gain"', 1)
    out.write_text(text, encoding="utf-8")
    assert sweep(logs, "--out", str(out), "--continue") == 2
    assert "line 2: told.zones.0.gain_k: Field required" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == text
    garbled = text.splitlines()[0] + "\ngarbage\n"
    out.write_text(garbled, encoding="utf-8")
    assert sweep(logs, "--out", str(out), "--continue") == 2
    assert "line 2: Invalid JSON" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == garbled


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--workers", "-1"), "--workers -1: from 0 to 1,024"),
        (("--nice", "20"), "--nice 20: from 0 to 19"),
        (("--candidates", "0"), "--candidates 0: from 1 to"),
        (("--seed", "-1"), "--seed -1: 0 or more"),
        (("--wish", "cheap"), "'cheap': not understood"),
        (("--rooting", "soon"), "--rooting 'soon'"),
        (("--wish", "steadiest, rooted by 2027-03-20"), "--rooting"),
        (("--continue",), "--continue needs --out"),
        (("--scheduler", "nowhere"), "--scheduler nowhere"),
    ],
)
def test_what_cannot_be_done_is_refused(logs, words, why, capsys):
    assert main(["sweep", str(logs), *words]) == 2
    assert why in capsys.readouterr().err


def test_a_folder_without_logs_is_refused(tmp_path, capsys):
    assert main(["sweep", str(tmp_path)]) == 2
    assert "no *.db is in it" in capsys.readouterr().err
    assert main(["sweep", str(tmp_path / "none")]) == 2
    assert "is no folder" in capsys.readouterr().err
