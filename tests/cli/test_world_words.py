"""The simulated world from the command line: what is asked for, what is said."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from controller.cli import main
from controller.cli.world_words import assumed, world_options
from sim.drying import Evaporation
from sim.options import WorldOptions, full_world
from sim.surface import Cover
from sim.watering import Watering

BENCH = str(Path(__file__).parents[2] / "config" / "bench.toml")
COMMON = WorldOptions(seed=3, start_temp_c=15.0, room_csv="time,temp_c\n0,12\n")


def test_plain_is_what_it_always_was_and_full_is_the_full_preset():
    assert world_options("plain", [], COMMON) is COMMON
    full = world_options("full", [], COMMON)
    assert full == full_world(seed=3, start_temp_c=15.0, room_csv=COMMON.room_csv)


def test_waterings_that_are_said_are_instead_of_the_usual_ones():
    said = ["every 2 days 07:00 4 mm 15 °C", "N1: every day 18:00 1 mm 20 °C"]
    options = world_options("full", said, COMMON)
    assert options.waterings == (
        Watering(4, 15, 420, 2),
        Watering(1, 20, 1080, trays=("N1",)),
    )
    assert world_options("full", ["never"], COMMON).waterings == ()
    assert world_options("plain", said[:1], COMMON).waterings == options.waterings[:1]


def test_what_is_assumed_is_said_with_its_numbers():
    plain = assumed(WorldOptions())
    assert "11 to 17 °C" in plain
    assert "1 mm of water a day" in plain
    assert "nobody waters" in plain
    full = assumed(full_world(lamp_w_m2=40.0, cover=Cover.VENTED))
    for words in (
        "natural convection",
        "70 % humidity",
        "vented covers",
        "sun of at most 150 W/m² on each tray and a lamp of 40 W/m²",
        "1 W (rms, 2 h)",
        "all trays watered every 3 days at 08:00 with 6 mm of 12 °C",
    ):
        assert words in full
    falling = replace(COMMON, evaporation=Evaporation.FALLING)
    assert "the room of the table" in assumed(falling)
    assert "3 mm a day evaporate from a wet tray" in assumed(falling)


def test_a_full_world_is_simulated_and_its_log_decides_alike(tmp_path, capsys):
    out = str(tmp_path / "season.db")
    words = ["simulate", BENCH, "--days", "0.2", "--out", out, "--world", "full"]
    words += ["--water", "every day 10:00 5 mm 12 °C", "--json"]
    assert main(words) == 0
    told = capsys.readouterr()
    assert set(json.loads(told.out)) == {"bottomheat"}
    assert "watered every day at 10:00" in " ".join(told.err.split())
    assert main(["audit", out, "--json"]) == 0


@pytest.mark.parametrize(
    ("water", "says"),
    [
        ("now and then", "must be such as"),
        ("every day 08:00 500 mm 12 °C", "at most 100"),
        ("N99: every day 08:00 5 mm 12 °C", "N99: there is no such tray"),
    ],
)
def test_a_watering_of_no_use_is_refused_and_nothing_is_written(
    water, says, tmp_path, capsys
):
    out = tmp_path / "season.db"
    words = ["simulate", BENCH, "--days", "1", "--out", str(out), "--water", water]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "--water" in said
    assert says in said
    assert not out.exists()
