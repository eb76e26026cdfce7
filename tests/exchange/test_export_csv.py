"""CSV, held against RFC 4180, Python's csv, polars, and the log's own samples."""

import csv
import json
import re
from datetime import UTC, datetime

import polars as pl
import pytest

from controller.adapters.exchange import pieces
from controller.adapters.exchange.tidy import LARGEST_PIECE
from controller.adapters.season_log import LogError, SeasonLogReader
from tests.builders import UTC_MS
from tests.exchange.conftest import SCANS, files_no_larger_than, write_season

COLUMNS = [
    *("time_utc", "run", "scan", "probe", "place", "tray", "mat", "quantity"),
    *("temperature_c", "other_value", "taken", "quality", "doubt"),
]
EVER = (0, 2**60)


@pytest.fixture
def exported(season, tmp_path, typed):
    """Return what exports the season and returns its rows by Python's csv."""

    def export(*words):
        out = tmp_path / "season.csv"
        assert typed("export", season, "-o", out, "--overwrite", *words) == 0
        with out.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file, strict=True))

    return export


def milli(cell: str) -> int:
    """Return thousandths from a decimal fraction without floating point."""
    assert re.fullmatch(r"-?[0-9]+\.[0-9]{3}", cell)
    return int(cell.replace(".", ""))


def at_ms(cell: str) -> int:
    """Return ms of UTC from ISO 8601 by another route than the program's."""
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", cell)
    at = datetime.strptime(cell, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    return round(at.timestamp() * 1000)


def test_every_row_is_terminated_as_rfc_4180_has_it(season, tmp_path, typed):
    """RFC 4180, 2.1: each record on a line of its own, delimited by CRLF."""
    out = tmp_path / "season.csv"
    typed("export", season, "-o", out)
    raw = out.read_bytes()
    assert raw.count(b"\n") == raw.count(b"\r\n") == raw.count(b"\r")
    assert raw.endswith(b"\r\n") and not raw.startswith(b"\xef\xbb\xbf")
    assert raw.split(b"\r\n")[0].decode() == ",".join(COLUMNS)


@pytest.mark.parametrize("probe", ["n1", "n2", "wet", "air"])
def test_taken_rows_are_the_log_s_samples_to_the_thousandth(exported, season, probe):
    rows = [row for row in exported() if row["probe"] == probe]
    samples = SeasonLogReader(season).samples(probe, *EVER)
    cells = [row["temperature_c"] or row["other_value"] for row in rows]
    assert [milli(cell) for cell in cells] == list(samples.temp_mc)
    assert [at_ms(row["time_utc"]) for row in rows] == list(samples.utc_ms)
    assert len(rows) >= SCANS - 1


def test_polars_finds_the_same_numbers_as_python_s_csv(exported, tmp_path):
    rows = exported()
    frame = pl.read_csv(tmp_path / "season.csv", try_parse_dates=True)
    assert frame.columns == COLUMNS
    assert frame.height == len(rows)
    assert frame["time_utc"].dtype == pl.Datetime("us", "UTC")
    assert frame["taken"].dtype == pl.Boolean
    temps = [
        None if not r["temperature_c"] else float(r["temperature_c"]) for r in rows
    ]
    assert frame["temperature_c"].to_list() == temps


def test_each_probe_is_in_its_place(exported):
    places = {
        row["probe"]: (row["place"], row["tray"], row["mat"], row["quantity"])
        for row in exported()
    }
    assert places == {
        "n1": ("tray", "N1", "north", "temperature"),
        "n2": ("tray", "N2", "north", "temperature"),
        "air": ("room", "", "", "temperature"),
        "wet": ("witness", "", "", "humidity"),
    }


def test_readings_that_were_not_taken_come_on_request_with_the_reason(exported):
    taken, all_rows = exported(), exported("--untaken")
    untaken = [row for row in all_rows if row["taken"] == "false"]
    assert len(all_rows) == len(taken) + len(untaken)
    assert [
        (row["scan"], row["probe"], row["temperature_c"], row["quality"], row["doubt"])
        for row in untaken
        if row["scan"] in {"8", "10"}
    ] == [
        ("8", "n2", "85.000", "bad", "power-up-value"),
        ("10", "n1", "", "bad", "no-value"),
    ]


def test_a_temperature_below_zero_keeps_its_sign_and_thousandths(exported):
    assert {row["temperature_c"] for row in exported("--probe", "air")} == {"-1.005"}


def test_a_tray_and_a_stretch_of_time_can_be_chosen(exported):
    rows = exported("--tray", "N2", "--from", "2025-10-09", "--to", "2025-10-10T00:00Z")
    assert {row["probe"] for row in rows} == {"n2"}
    times = [at_ms(row["time_utc"]) for row in rows]
    # In Paris the ninth of October 2025 begins at 22:00 UTC of the eighth.
    assert times[0] > UTC_MS and times[-1] < at_ms("2025-10-10T00:00:00.000Z")
    assert len(rows) > 80


def test_switchings_are_those_of_the_journal(season, tmp_path, typed):
    out = tmp_path / "switchings.csv"
    assert typed("export", season, "-o", out, "--commands") == 0
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    journal = SeasonLogReader(season).journal(0, 100_000)
    told = [entry for entry in journal if entry.kind == "command"]
    assert [
        (at_ms(row["time_utc"]), row["mat"], row["energised"] == "true", row["cause"])
        for row in rows
    ] == [
        (one.utc_ms, one.subject, one.body["energised"], one.body["cause"])
        for one in told
    ]
    assert rows


def test_the_description_beside_it_names_every_column(exported, tmp_path):
    """W3C, "Metadata Vocabulary for Tabular Data" (2015-12-17), 5.4 to 5.6."""
    exported()
    beside = tmp_path / "season.csv-metadata.json"
    about = json.loads(beside.read_text(encoding="utf-8"))
    assert about["@context"][0] == "http://www.w3.org/ns/csvw"
    assert about["url"] == "season.csv"
    columns = about["tableSchema"]["columns"]
    assert [column["titles"] for column in columns] == COLUMNS
    types = {column["name"]: column["datatype"] for column in columns}
    assert types["time_utc"] == "dateTimeStamp"
    assert types["temperature_c"] == "decimal"
    (note,) = about["notes"]
    assert (note["bench"], note["timezone"]) == ("invented", "Europe/Paris")
    assert note["runs"][0]["plan"]["plan"]["mats"][0]["name"] == "north"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["-o", "season.txt"], "must end in .csv or .parquet"),
        (["-o", "s.csv", "--probe", "n9"], "--probe n9: the log has none of that name"),
        (["-o", "s.csv", "--tray", "n1"], "it has N1, N2, sill"),
        (["-o", "s.csv", "--from", "yesterday"], "--from 'yesterday' is no time"),
        (["-o", "s.csv", "--from", "0001-01-01"], "outside of the years 1 to 9999"),
        (["-o", "s.csv", "--to", "9999-12-31T23:00-05:00"], "outside of the years"),
        (["-o", "s.csv", "--from", "2027-01-02", "--to", "2027-01-01"], "lie later"),
        (["-o", "s.csv", "--commands", "--untaken"], "leave out --probe"),
        (["-o", "none/s.csv"], "the folder none does not exist"),
        (["-o", "."], "must end in"),
    ],
)
def test_what_cannot_be_done_is_told_with_exit_2(
    season, typed, capsys, tmp_path, monkeypatch, words, told
):
    monkeypatch.chdir(tmp_path)
    assert typed("export", season, *words) == 2
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_kept_unless_told_otherwise(
    season, typed, tmp_path, capsys
):
    out = tmp_path / "season.csv"
    out.write_text("mine")
    assert typed("export", season, "-o", out) == 2
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"


@pytest.mark.parametrize("name", ["season.csv", "season.parquet"])
def test_a_full_disk_leaves_what_was_there_and_no_half_file(
    season, typed, tmp_path, capsys, name
):
    out = tmp_path / name
    out.write_text("last year's")
    with files_no_larger_than(10_000):
        assert typed("export", season, "-o", out, "--overwrite") == 2
    assert f"{out} cannot be written: " in capsys.readouterr().err
    assert out.read_text() == "last year's"
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("junk", [b"", b"time,temp\r\n", b"SQLite format 3\x00" * 9])
def test_what_is_no_season_log_is_named(typed, tmp_path, capsys, junk):
    log = tmp_path / "some.db"
    log.write_bytes(junk)
    assert typed("export", log, "-o", tmp_path / "out.csv") == 2
    assert str(log) in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [log]


def test_progress_is_shown_on_a_terminal(season, typed, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setattr("controller.cli.log_words._PROGRESS_EVERY", 60)
    assert typed("export", season, "-o", tmp_path / "out.csv", "--json") == 0
    out, err = capsys.readouterr()
    assert "run run-1:  50%" in err
    assert json.loads(out)["rows"] == 959


def test_rows_come_in_pieces_of_a_day_and_late_ones_stay_where_they_came():
    day = 86_400_000
    rows = [(1,), (day + 1,), (day - 1,), (day + 2,), (3 * day,)]
    wanted = [[(1,)], [(day + 1,), (day - 1,), (day + 2,)], [(3 * day,)]]
    assert list(pieces(rows)) == wanted
    assert list(pieces([])) == []
    many = pieces((5,) for _ in range(LARGEST_PIECE + 1))
    assert [len(piece) for piece in many] == [LARGEST_PIECE, 1]


def test_a_log_that_turns_out_damaged_on_the_way_leaves_no_file(
    tmp_path, typed, monkeypatch
):
    log = write_season(tmp_path / "season.db")

    def broken(self, run, after_seq=0):
        yield from ()
        raise LogError(f"{log} is damaged")

    monkeypatch.setattr(SeasonLogReader, "scans", broken)
    assert typed("export", log, "-o", tmp_path / "out.csv") == 2
    assert not list(tmp_path.glob("out*"))
