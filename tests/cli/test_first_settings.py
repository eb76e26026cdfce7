"""`bottomheat tune` before there is a log."""

import json
import re

import pytest

from controller.adapters.settings import load
from controller.cli import main
from controller.cli.paths import config_dir
from sim.first_start import expected

BENCH = config_dir() / "bench.toml"
MAT = ["tune", "--power", "100 W", "--area", "1.2 m x 0.53 m"]


def of(area: str) -> list[str]:
    return ["tune", "--power", "100 W", "--area", area]


def test_a_mat_that_is_not_bought_yet_is_judged(capsys):
    assert main([*MAT, "--hold", "18 °C", "--room", "12 °C"]) == 0
    told = capsys.readouterr().out
    assert "100 W on 1200 x 530 mm (157 W/m²), 25 mm of foam" in told
    assert "Yes, it should hold 18 °C in a room of 12 °C" in told
    assert "integral_time" in told
    assert "cut-out" in told, "no word on heat without the caution"


def test_one_that_is_too_weak_is_told_and_is_a_finding(capsys):
    weak = ["tune", "--power", "40 W", "--area", "1.2 m x 0.53 m"]
    assert main([*weak, "--hold", "75 °F", "--room", "50 °F"]) == 1
    told = capsys.readouterr().out
    assert "No: in a room of 50 °F tray 1 gets no warmer than" in told
    assert "75 °F" in told


def test_settings_to_begin_with_may_be_set_however_weak_the_mat(capsys):
    main([*MAT[:2], "1 W", *MAT[3:], "--hold", "18 °C", "--json"])
    told = json.loads(capsys.readouterr().out)["mats"][0]
    assert all(0 < pid["gain_per_k"] <= 10 for pid in told["pid"].values())


def test_what_a_relay_that_sticks_would_do_is_said_of_a_mat_too_strong(capsys):
    words = ["--area", "1.2 m x 0.53 m", "--hold", "24 °C", "--room", "10 °C"]
    assert main(["tune", "--power", "1000 W", *words]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(r"would bring tray 2 to 18\d °C, above", said)
    assert "above its cut-out of 35 °C" in said
    assert main(["tune", "--power", "150 W", *words]) == 0
    assert "sticks" not in capsys.readouterr().out


def test_foam_decides(capsys):
    with_foam = [*MAT, "--hold", "22 °C", "--room", "12 °C", "--json"]
    main(with_foam)
    thick = json.loads(capsys.readouterr().out)["mats"][0]
    assert main([*with_foam, "--foam", "0 mm"]) == 1
    none = json.loads(capsys.readouterr().out)["mats"][0]
    for one, other in zip(thick["trays"], none["trays"], strict=True):
        assert other["gain_k"] < 0.8 * one["gain_k"]
        assert one["highest_without_foam_c"] < one["highest_just_watered_c"] + 5
        assert other["verdict_just_watered"] == "no"


def test_a_configuration_is_judged_mat_by_mat(capsys):
    main(["tune", str(BENCH), "--json"])
    told = json.loads(capsys.readouterr().out)["mats"]
    assert [mat["mat"] for mat in told] == ["north", "south"]
    north = load(BENCH, {}).plan.mats[0]
    for tray, answer in zip(told[0]["trays"], expected(north), strict=True):
        assert tray["gain_k"] == pytest.approx(answer.gain_k)
    assert told[0]["wanted_c"] == 21
    assert told[0]["driving"] == "N2"
    gains = [told[0]["pid"][name]["gain_per_k"] for name in ("quick", "gentle")]
    assert gains[0] > 1.5 * gains[1]


def test_one_mat_of_a_configuration_may_be_named(capsys):
    main(["tune", str(BENCH), "--mat", "south"])
    told = capsys.readouterr().out
    assert "Mat south" in told
    assert "Mat north" not in told


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["tune"], "a season log, a configuration (.toml), or --power"),
        ([*MAT, "--hold", "24"], "--hold '24': write a temperature with its unit"),
        ([*MAT, "--hold", "24 °C", "--foam", "3 m"], "from 0 mm, none, to 200 mm"),
        ([*MAT, "--hold", "24 °C", "--trays", "0"], "--trays 0: from 1 to 12"),
        ([*MAT, "--hold", "24 °C", "--depth", "0 mm"], "depth = 0 mm: from 5 mm"),
        ([*MAT, "--hold", "240 °C"], "setpoint = 240 °C: from 5 °C to 32 °C"),
        ([*MAT, "--hold", "24 °C", "--room", "-300 °C"], "--room -300 °C: from -40 °C"),
        ([*of("1 mm x 1 mm"), "--hold", "24 °C"], "area = 1 mm x 1 mm: sides from"),
        ([*of("1200 m x 1 m"), "--hold", "24 °C"], "sides from 10 mm to 10 m"),
        ([*MAT, "--hold", "24 °C", "--medium", "moss"], "medium 'moss'"),
        (["tune", str(BENCH), "--mat", "west"], "has no such mat"),
        (["tune", str(BENCH), "--power", "9 W"], "--power: stands in the config"),
        (["tune", str(BENCH), "--medium", "peat"], "--medium: stands in the config"),
        (["tune", str(BENCH), "--hold", "31 °C"], "--hold 31 °C: mat north: setpoint"),
        (
            ["tune", str(BENCH), "--wish", "least energy", "--write", "new.toml"],
            "--wish, --write: a season log is needed",
        ),
        (["tune", "a.db", "--hold", "24 °C"], "--hold: only without a log"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(words, sentence, capsys):
    assert main(words) == 2
    assert sentence in capsys.readouterr().err
