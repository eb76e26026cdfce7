"""Logs of many benches, collected in a folder, as a folder of Parquet for DuckDB."""

import json
from pathlib import Path

import duckdb
import pytest

from controller.cli import main
from controller.cli.paths import config_dir

pytestmark = pytest.mark.timeout(120)

BENCHES = ("lean-to", "tunnel", "cellar")


@pytest.fixture(scope="module")
def logs(tmp_path_factory) -> Path:
    """Two hours of three benches, collected from three boards."""
    folder = tmp_path_factory.mktemp("collected")
    demo = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    for number, name in enumerate(BENCHES):
        config = folder / f"{name}.toml"
        text = demo.replace('name = "lean-to"', f'name = "{name}"', 1)
        config.write_text(text, encoding="utf-8")
        words = ["simulate", str(config), "--days", "0.08", "--seed", str(number)]
        assert main([*words, "--out", str(folder / f"{name}-2027.db")]) == 0
    return folder


@pytest.fixture(scope="module")
def tables(logs, tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("tables") / "season"
    assert main(["export", str(logs), "-o", str(out)]) == 0
    return out


def asked(query: str, tables: Path) -> list[tuple]:
    source = f"read_parquet('{tables}/*/*.parquet', hive_partitioning = true)"
    with duckdb.connect() as db:
        return db.execute(query.replace("READINGS", source)).fetchall()


def test_each_bench_is_a_column_of_its_own(tables):
    rows = asked("SELECT bench, count(*) FROM READINGS GROUP BY 1 ORDER BY 1", tables)
    assert [bench for bench, _ in rows] == sorted(BENCHES)
    assert len({count for _, count in rows}) == 1


def test_one_question_is_answered_across_benches(tables):
    """The coldest tray of each bench in each hour."""
    rows = asked(
        "SELECT bench, date_trunc('hour', time_utc) AS hour,"
        " arg_min(tray, temperature_c), min(temperature_c)"
        " FROM READINGS WHERE tray IS NOT NULL GROUP BY ALL ORDER BY 1, 2",
        tables,
    )
    assert {bench for bench, *_ in rows} == set(BENCHES)
    assert all(10 < coldest < 20 for *_, coldest in rows)
    assert {tray for _, _, tray, _ in rows} <= {"N1", "N2", "N3", "S1", "S2"}


def test_a_log_that_cannot_be_read_is_named_and_the_others_go_on(
    logs, tmp_path, capsys
):
    folder = tmp_path / "some"
    folder.mkdir()
    (folder / "good.db").write_bytes((logs / "tunnel-2027.db").read_bytes())
    (folder / "bad.db").write_bytes(b"no log")
    out = tmp_path / "out"
    assert main(["export", str(folder), "-o", str(out), "--json"]) == 1
    said = capsys.readouterr()
    told = json.loads(said.out)
    assert [Path(one["file"]).parent.name for one in told["files"]] == ["bench=tunnel"]
    assert [Path(one["log"]).name for one in told["failed"]] == ["bad.db"]
    assert "bad.db" in said.err


@pytest.mark.parametrize("out", ["x.parquet", "x.csv"])
def test_a_folder_of_logs_goes_into_a_folder(logs, out, tmp_path, capsys):
    assert main(["export", str(logs), "-o", str(tmp_path / out)]) == 2
    assert "name a folder" in capsys.readouterr().err


def test_an_empty_folder_is_told(tmp_path, capsys):
    assert main(["export", str(tmp_path), "-o", str(tmp_path / "out")]) == 2
    assert "no season log" in capsys.readouterr().err
