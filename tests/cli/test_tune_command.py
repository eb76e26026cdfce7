"""`tune` and `whatif` as a person runs them, on an invented season."""

import json
import re
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from controller.cli import extras, main, modelled
from controller.cli import tune as tune_module
from controller.cli.paths import config_dir
from controller.core.units import MilliK
from sim.tuning import searching

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]  # the first use compiles

BENCH = (config_dir() / "bench.toml").read_text(encoding="utf-8")
MODELLED = cache(modelled.modelled)


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """The same log has the same model, and a day proves as much as three here."""
    monkeypatch.setattr(modelled, "modelled", MODELLED)
    monkeypatch.setattr(searching, "PROOF_DAYS", 1)


@pytest.fixture(scope="module")
def config(tmp_path_factory) -> Path:
    """The invented bench, with a setback by night and scans further apart."""
    text = BENCH.replace(
        'setpoint = "21 °C"  ', 'night_setpoint = "18 °C"\nsetpoint = "21 °C"  '
    )
    assert text != BENCH
    path = tmp_path_factory.mktemp("config") / "bench.toml"
    path.write_text(text.replace('scan = "5 s"', 'scan = "30 s"'))
    return path


@pytest.fixture(scope="module")
def season(config, tmp_path_factory) -> str:
    """Three simulated days of it."""
    out = tmp_path_factory.mktemp("season") / "season.db"
    assert main(["simulate", str(config), "--days", "3", "--out", str(out)]) == 0
    return str(out)


@pytest.fixture(scope="module")
def longer(config, tmp_path_factory) -> str:
    """Six simulated days of it."""
    out = tmp_path_factory.mktemp("longer") / "season.db"
    assert main(["simulate", str(config), "--days", "6", "--out", str(out)]) == 0
    return str(out)


def tune(season, *words):
    return main(["tune", season, "--mat", "north", "--candidates", "80", *words])


def told(capsys):
    return json.loads(capsys.readouterr().out)


def test_a_wish_is_granted_with_figures_and_their_errors(season, capsys):
    wish = "fewest relay operations, coolest tray never below 17 °C"
    assert tune(season, "--wish", wish, "--price", "0.30 EUR per kWh") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "every figure is of a closed loop in the fitted model" in said
    assert "Recommended: " in said
    assert "on the core itself for 1 days the very same" in said
    assert "OTHERWISE" not in said
    assert " EUR" in said


def test_json_has_every_figure_with_its_interval(season, capsys):
    wish = "least energy, N2 has 1000 K·h by 2027-02-10"
    assert (
        tune(season, "--wish", wish, "--rooting", "2000 K·h above 10 °C", "--json") == 0
    )
    found = told(capsys)
    assert found["figures_are"] == "closed loop in the fitted model"
    assert found["interval"]["level"] == 0.9
    assert found["interval"]["models"] >= 3
    now, chosen = found["ways"][0], found["answer"]["recommended"]
    assert now["name"].startswith("as now")
    recorded = found["recorded"]
    assert now["duty"]["value"] == pytest.approx(recorded["duty"], abs=0.01)
    operations = recorded["relay_operations"]
    assert now["relay_operations"]["value"] == pytest.approx(operations, rel=0.1)
    best = next(way for way in found["ways"] if way["candidate"] == chosen)
    assert best["energy_kwh"]["high"] <= now["energy_kwh"]["high"]
    assert best["trays"]["N2"]["rooted_at"].startswith("2027-02-")
    assert all(
        proof["core_says_the_same"] for proof in found["answer"]["proved"].values()
    )


def test_without_a_wish_nothing_is_recommended(season, capsys):
    assert tune(season) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Nothing was wished, so nothing is recommended" in said
    assert "beaten by none in energy, relay operations and deviation" in said


def test_an_impossible_wish_says_what_is_nearest(season, capsys):
    assert tune(season, "--wish", "steadiest, at most 1 kWh") == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Impossible within what the log covers" in said
    assert 'it misses "at most 1 kWh" by' in said


def test_nothing_beyond_the_log_is_recommended(season, capsys):
    assert tune(season, "--wish", "steadiest", "--json") == 0
    found = told(capsys)
    assert found["candidates"]["left_out"]["a setpoint warmer than the log covers"] > 5
    high_c = found["covers"]["driving_c"][1] + found["covers"]["margin_k"]
    for way in found["nondominated"]:
        assert float(way["way"].split(" ")[0]) <= high_c


def test_the_configuration_is_written_with_only_its_mat_changed(
    season, config, tmp_path, capsys
):
    out = tmp_path / "tuned.toml"
    wish = "fewest relay operations, coolest tray never below 17 °C"
    words = ["--wish", wish, "--config", str(config), "--write", str(out)]
    assert tune(season, *words) == 0
    said = capsys.readouterr().out
    before, after = config.read_text(), out.read_text()
    for line in said.splitlines():
        if line.startswith("+") and not line.startswith("+++"):
            assert line[1:] in after.splitlines()
    was, now = tomllib.loads(before), tomllib.loads(after)
    assert was["mat"][0] != now["mat"][0]
    assert {**was, "mat": was["mat"][1:]} == {**now, "mat": now["mat"][1:]}
    assert main(["check", str(out)]) == main(["check", str(config)])
    capsys.readouterr()
    assert tune(season, *words) == 2
    assert "is there already; name another file, or say --overwrite" in (
        capsys.readouterr().err
    )
    assert tune(season, *words, "--overwrite") == 0
    assert out.read_text() == after


def test_pictures_come_with_words(season, tmp_path, capsys):
    folder = tmp_path / "pictures"
    assert tune(season, "--wish", "steadiest", "--pictures", str(folder)) == 0
    for name in ("trade-off", "weeks", "fit"):
        picture = folder / f"north-{name}.png"
        assert picture.read_bytes().startswith(b"\x89PNG")
        assert "mat north" in picture.with_suffix(".txt").read_text(encoding="utf-8")


def test_what_if_shows_both_ways(season, capsys):
    words = ["whatif", season, "--mat", "north"]
    more = ["--set", "policy=on-off", "--set", "differential=0.5 K", "--json"]
    assert main([*words, *more]) == 0
    found = told(capsys)
    now, other = found["as_now"], found["other"]
    assert now["relay_operations"]["value"] > other["relay_operations"]["value"]
    assert "on-off 0.5 K" in other["way"]


def test_what_if_says_where_the_log_ends(season, capsys):
    words = ["whatif", season, "--mat", "north", "--set", "setpoint=26 °C"]
    assert main(words) == 1
    assert "BEYOND THE LOG: a setpoint warmer than the log covers" in (
        capsys.readouterr().out
    )


def test_where_nothing_is_better_it_is_left_as_it_is(season, capsys):
    words = ["tune", season, "--mat", "north", "--candidates", "1"]
    assert main([*words, "--wish", "most even trays"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Leave it as it is" in said
    assert "Nothing in the wish asks for warmth" in said


def test_an_impossible_wish_as_json(season, capsys):
    wish = "steadiest, at most 1 kWh, at most 3 relay operations, rooted by 2027-02-02"
    more = ["--rooting", "2000 K·h above 10 °C", "--json"]
    assert tune(season, "--wish", wish, *more) == 1
    answer = told(capsys)["answer"]
    assert answer["possible"] is False
    assert [short["best_slack"] < 0 for short in answer["shortfalls"]] == [True] * 3
    assert tune(season, "--wish", wish, *more[:2]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert '"rooted by 2027-02-02" is missed by' in said
    assert "N1 rooted" in said


def test_a_bench_in_fahrenheit_is_spoken_to_in_fahrenheit(
    season, config, tmp_path, capsys
):
    text = config.read_text().replace('"21 °C"', '"70 °F"')
    own = tmp_path / "bench.toml"
    own.write_text(text.replace('"18 °C"', '"64 °F"'))
    wish = "least energy, coolest tray never below 63.5 °F"
    words = ["--wish", wish, "--config", str(own), "--rooting", "3600 °F·h above 50 °F"]
    assert tune(season, *words, "--write", str(tmp_path / "tuned.toml")) == 0
    said = capsys.readouterr().out
    assert "N2 lowest" in said
    assert "°F·h" in said
    assert re.search(r"rooms of \d\d\.\d to \d\d\.\d °F;", " ".join(said.split()))
    mat = tomllib.loads((tmp_path / "tuned.toml").read_text())["mat"][0]
    degrees, unit = mat["setpoint"].split()
    assert (float(degrees) % 1, unit) == (0.0, "°F")


def test_a_file_that_cannot_be_changed_alone_is_not_written(
    season, config, tmp_path, capsys
):
    own, out = tmp_path / "bench.toml", tmp_path / "tuned.toml"
    lines = config.read_text().splitlines(keepends=True)
    north = [line for line in lines if not line.startswith("night_setpoint")]
    at = next(n for n, line in enumerate(north) if line.startswith("setpoint"))
    del north[at]
    step = '[[mat.step]]\nsetpoint = "21 °C"\n[mat.relay]'
    own.write_text("".join(north).replace("[mat.relay]", step, 1))
    wish = "least energy, coolest tray never below 17 °C"
    words = ["--wish", wish, "--config", str(own), "--write", str(out)]
    assert tune(season, *words) == 2
    assert "its setpoints stand in a programme of [[mat.step]]" in (
        capsys.readouterr().err
    )
    assert not out.exists()


def test_without_numba_fewer_are_tried_and_it_says_so(season, capsys, monkeypatch):
    monkeypatch.setattr(tune_module, "have", lambda package: False)
    assert main(["tune", season, "--mat", "north"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "numba is not installed, so that fewer candidates are tried" in said
    assert "12 candidates (seed 1)" in said


@pytest.mark.parametrize("command", ["tune", "whatif"])
def test_what_is_not_installed_is_named(command, season, capsys, monkeypatch):
    monkeypatch.setattr(extras, "find_spec", lambda name: None)
    more = ["--set", "setpoint=22 °C"] if command == "whatif" else []
    assert main([command, season, *more]) == 2
    assert (
        f"bottomheat {command}: a thermal model needs numpy, which is not installed:"
        ' pip install "bottomheat[replay]"'
    ) in capsys.readouterr().err


def test_a_log_of_several_ways_says_which_is_meant(season, capsys, monkeypatch):
    of = MODELLED(Path(season), "north")
    several = replace(of, one_plan=False, worlds=of.worlds[:1])
    monkeypatch.setattr(modelled, "modelled", lambda *_: several)
    assert tune(season, "--wish", "steadiest") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "as now means as in its last run" in said
    assert "No intervals: the zones were not fitted without the same days" in said


def test_a_programme_keeps_its_setpoints(season, capsys, monkeypatch):
    of = MODELLED(Path(season), "north")
    step = of.own.programme[0]
    steps = {"programme": (replace(step, days=9.0), step)}
    kept = replace(of, own=replace(of.own, **steps), asked=replace(of.asked, **steps))
    monkeypatch.setattr(modelled, "modelled", lambda *_: kept)
    assert tune(season, "--wish", "steadiest") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the mat has a programme of steps: its setpoints stay" in said
    assert "its programme" in said


def test_pictures_need_a_folder(season, tmp_path, capsys):
    (tmp_path / "taken").write_text("")
    words = ["--wish", "steadiest", "--pictures", str(tmp_path / "taken")]
    assert tune(season, *words) == 2
    said = capsys.readouterr()
    assert "is a file; name a folder" in said.err
    assert not said.out, "refused before anything was searched"


def test_a_log_that_is_too_short_has_no_model(config, tmp_path, capsys):
    out = str(tmp_path / "short.db")
    assert main(["simulate", str(config), "--days", "0.3", "--out", out]) == 0
    capsys.readouterr()
    assert main(["tune", out, "--mat", "north"]) == 2
    assert "no model of N2" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["tune", "--mat", "north", "--config", "no.toml"], "no such file"),
        (
            ["tune", "--mat", "east"],
            "--mat east: the log has no such mat; there are: n",
        ),
        (["tune"], "say which mat with --mat; there are: north, south"),
        (["tune", "--mat", "north", "--wish", "cheap"], "not understood from 'cheap'"),
        (["tune", "--mat", "north", "--price", "x"], "--price 'x': write what a kilo"),
        (["tune", "--mat", "north", "--rated", "0"], "--rated 0: at least 1"),
        (["tune", "--mat", "north", "--candidates", "0"], "--candidates 0: from 1 to"),
        (["tune", "--mat", "north", "--seed", "-1"], "--seed -1: 0 or more"),
        (["tune", "--mat", "north", "--write", "x.toml"], "--write needs --config"),
        (
            ["tune", "--mat", "north", "--wish", "least energy, rooted by 2027-03-20"],
            "'rooted by' needs to know what stands for rooted",
        ),
        (["whatif", "--mat", "north", "--set", "setpoint=22"], "with its unit"),
        (["whatif", "--mat", "north", "--set", "setpoint=32 °C"], "from 5 °C to 30 °C"),
        (["whatif", "--mat", "north", "--set", "driven_by=S1"], "a tray on this mat"),
        (["tune", "--mat", "north", "--next", "0"], "--next 0: from 1 to 60 days"),
        (
            ["whatif", "--mat", "north", "--set", "setpoint=22 °C", "--next", "7"],
            "what a time to come may be like is drawn from 4 at least",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(words, says, season, capsys):
    command, *rest = words
    assert main([command, season, *rest]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["whatif", "--set", "setpiont=22 °C"], "a model answers for"),
        (["whatif", "--set", "setpoint=32 °C"], "from 5 °C to 30 °C"),
        (["whatif", "--set", "setpoint=22 °C", "--next", "7"], "4 at least"),
        (["tune", "--next", "7"], "4 at least"),
        (["tune", "--config", "no.toml"], "no.toml"),
    ],
)
def test_it_is_refused_before_anything_is_fitted(
    words, says, season, capsys, monkeypatch
):
    def never(record):
        pytest.fail("it was fitted")

    monkeypatch.setattr(modelled, "modelled", MODELLED.__wrapped__)
    monkeypatch.setattr(modelled, "fit_mat", never)
    command, *rest = words
    assert main([command, season, "--mat", "north", *rest]) == 2
    assert says in capsys.readouterr().err


def test_heat_held_back_in_the_model_alone_is_said(season, capsys, monkeypatch):
    """With a guard so strict that the settings of the log trip it in the model."""
    of = MODELLED(Path(season), "north")
    strict = replace(of.asked, rise_limit_mk=MilliK(1), heat_allowance_mk=MilliK(300))
    monkeypatch.setattr(modelled, "modelled", lambda *_: replace(of, asked=strict))
    main(["whatif", season, "--mat", "north", "--set", "setpoint=20 °C"])
    assert "If they did not on the bench" in " ".join(capsys.readouterr().out.split())


def test_the_evening_asks_for_what_the_log_lacks(season, capsys):
    assert main(["fit", season, "--mat", "north", "--plan"]) == 0
    assert "Mat north, tonight:" in capsys.readouterr().out
    assert main(["fit", season, "--plan", "--json"]) == 0
    north, south = told(capsys)["mats"]
    assert not any("setback" in step for step in north["steps"])
    assert any("26 °C -> 23 °C" in step for step in south["steps"])


def test_days_to_come_have_wider_intervals_than_the_logs_own(longer, capsys):
    words = ["--mat", "north", "--set", "setpoint=22 °C", "--next", "6"]
    assert main(["whatif", longer, *words]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "these are days that no log has, drawn from the log's whole days" in said
    assert main(["whatif", longer, *words, "--json"]) == 0
    found = told(capsys)
    again, ahead = found["other"], found["next_days"]
    assert (ahead["days"], ahead["level"]) == (6, 0.9)
    assert list(ahead["ways"]) == ["as now", "asked"]
    energy = ahead["ways"]["asked"]["energy"]
    assert energy["low"] < energy["value"] < energy["high"]
    known = again["energy_kwh"]
    assert energy["high"] - energy["low"] > known["high"] - known["low"]
    assert energy["value"] == pytest.approx(known["value"], rel=0.15)
    assert ahead["ways"]["as now"]["energy"]["value"] < energy["value"]
    assert tune(longer, "--wish", "least energy", "--next", "2") == 0
    assert "The next 2 days" in capsys.readouterr().out
    assert tune(longer, "--next", "2", "--json") == 0
    assert list(told(capsys)["next_days"]["ways"]) == ["as now"]
