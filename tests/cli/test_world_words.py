"""The simulated world from the command line: what is asked for, what is said."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.adapters.season_log import SeasonLogReader
from controller.cli import main
from controller.cli.world_words import assumed, room_words, world_options
from sim.drying import Evaporation
from sim.options import WorldOptions, full_world
from sim.room import room_table
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


def test_of_a_table_is_said_when_it_begins_where_it_has_holes_and_when_it_ends():
    rows = "2027-03-28T01:00:00+01:00,12\n2027-03-28T03:00:00+02:00,13\n"
    rows += "2027-03-28T09:30:00+02:00,14.5\n"
    told = list(room_words(room_table("time,temp_c\n" + rows), 24.0))
    assert told == [
        "All begins with the table, 2027-03-28 01:00+01:00.",
        "The table has nothing for 6.5 h from hour 1.0 on: a straight line stands"
        " there.",
        "The table ends after 7.5 h of 24.0: from then on the room has 14.5 °C.",
    ]
    assert not list(room_words(room_table("time,temp_c\n0,12\n3,12\n6,12\n"), 6.0))


def test_a_table_of_moments_is_gone_through_at_its_own_times_of_day(tmp_path):
    """A room that is coldest by night, from midnight on, is so in the log, too."""
    room, out = tmp_path / "room.csv", tmp_path / "season.db"
    room.write_text("time,temp_c\n2026-11-20T23:00:00Z,3\n2026-11-21T03:00:00Z,9\n")
    words = [
        "simulate",
        BENCH,
        "--days",
        "0.05",
        "--room",
        str(room),
        "--out",
        str(out),
    ]
    assert main(words) == 0
    (run,) = SeasonLogReader(out).runs()
    began = datetime.fromtimestamp(run.started_utc_ms / 1000, UTC)
    assert began == datetime(2026, 11, 20, 23, tzinfo=UTC)


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
