"""Parquet, held against what DuckDB and polars read of it, and CSV."""

import json
import sys

import duckdb
import polars as pl
import pytest

from controller.adapters.season_log import SeasonLogReader

SCHEMA = {
    "time_utc": "TIMESTAMP WITH TIME ZONE",
    "run": "VARCHAR",
    "scan": "BIGINT",
    "probe": "VARCHAR",
    "place": "VARCHAR",
    "tray": "VARCHAR",
    "mat": "VARCHAR",
    "quantity": "VARCHAR",
    "temperature_c": "DOUBLE",
    "other_value": "DOUBLE",
    "taken": "BOOLEAN",
    "quality": "VARCHAR",
    "doubt": "VARCHAR",
}


@pytest.fixture
def parquet(season, tmp_path, typed):
    out = tmp_path / "season.parquet"
    assert typed("export", season, "-o", out, "--untaken") == 0
    return out


def asked(query: str, path):
    with duckdb.connect() as db:
        return db.execute(query, [str(path)]).fetchall()


def test_duckdb_finds_the_documented_schema(parquet):
    found = asked("DESCRIBE SELECT * FROM read_parquet(?)", parquet)
    assert {name: kind for name, kind, *_ in found} == SCHEMA


def test_duckdb_reads_the_log_s_thousandths_back(parquet, season):
    rows = asked(
        "SELECT epoch_ms(time_utc), round(temperature_c * 1000)::BIGINT"
        " FROM read_parquet(?) WHERE probe = 'n2' AND taken",
        parquet,
    )
    samples = SeasonLogReader(season).samples("n2", 0, 2**60)
    assert rows == list(zip(samples.utc_ms, samples.temp_mc, strict=True))


def test_polars_reads_the_same_rows_as_the_csv_has(parquet, season, tmp_path, typed):
    typed("export", season, "-o", tmp_path / "season.csv", "--untaken")
    ours = pl.read_parquet(parquet)
    theirs = pl.read_csv(
        tmp_path / "season.csv", try_parse_dates=True, infer_schema_length=None
    )
    assert ours.columns == theirs.columns
    for name in ours.columns:
        assert ours[name].to_list() == theirs[name].to_list(), name


def test_each_day_is_a_row_group_of_its_own(parquet):
    groups = asked(
        "SELECT count(DISTINCT row_group_id) FROM parquet_metadata(?)", parquet
    )
    days = asked(
        "SELECT count(DISTINCT epoch_ms(time_utc) // 86400000) FROM read_parquet(?)",
        parquet,
    )
    assert groups == days == [(3,)]


def test_the_metadata_tells_bench_plans_and_columns(parquet):
    found = asked("SELECT key, value FROM parquet_kv_metadata(?)", parquet)
    about = json.loads(dict(found)[b"bottomheat"])
    assert (about["bench"], about["timezone"]) == ("invented", "Europe/Paris")
    assert [column["name"] for column in about["columns"]] == list(SCHEMA)
    units = {column["name"]: column["unit"] for column in about["columns"]}
    assert units["temperature_c"] == "°C"
    assert about["runs"][0]["plan"]["plan"]["bench"] == "invented"


def test_without_pyarrow_a_sentence_says_what_to_install(
    season, tmp_path, typed, monkeypatch, capsys
):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert typed("export", season, "-o", tmp_path / "season.parquet") == 2
    assert "pip install 'bottomheat[parquet]'" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
