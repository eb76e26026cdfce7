"""The readings of a season in the formats that one might have kept them in.

Only the readings taken: probe, time, temperature. Nothing of what a season log
knows beside them, such as scans, commands and the proof that nothing is altered.
"""

import csv
import gzip
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq


class Heard(NamedTuple):
    """Readings of one probe, in order: wall clock [ms] and temperature [m°C]."""

    probe: str
    utc_ms: np.ndarray
    temp_mc: np.ndarray


def rows(heard: list[Heard], path: Path) -> None:
    """Write them as a row for each into SQLite, as one would at first."""
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE sample (probe INTEGER, time INTEGER, temp REAL)")
    db.execute("CREATE INDEX by_probe ON sample (probe, time)")
    together = sorted(
        (at_ms, number, temp_mc / 1000)
        for number, (_, utc_ms, temps) in enumerate(heard)
        for at_ms, temp_mc in zip(utc_ms.tolist(), temps.tolist(), strict=True)
    )
    db.executemany(
        "INSERT INTO sample VALUES (?, ?, ?)",
        ((number, at_ms, temp_c) for at_ms, number, temp_c in together),
    )
    db.commit()
    db.close()


def parquet(heard: list[Heard], path: Path, *, deltas: bool = False) -> None:
    """Write them as Parquet with zstd, a row group for each probe.

    Args:
        heard: The readings.
        path: The file.
        deltas: Whole numbers kept as differences, which pyarrow does if told.
    """
    tables = [_table(one, deltas=deltas) for one in heard]
    more = {"use_dictionary": ["probe"]} if deltas else {}
    if deltas:
        packed = "DELTA_BINARY_PACKED"
        more["column_encoding"] = {"time": packed, "temp": packed}
    with pq.ParquetWriter(path, tables[0].schema, compression="zstd", **more) as file:
        for table in tables:
            file.write_table(table, row_group_size=len(table))


def _table(one: Heard, *, deltas: bool) -> pa.Table:
    temp = one.temp_mc.astype(np.int32) if deltas else one.temp_mc / 1000
    names = pa.array([one.probe]).dictionary_encode()
    column = pa.DictionaryArray.from_arrays(
        np.zeros(len(one.utc_ms), np.int32), names.dictionary
    )
    return pa.table({"probe": column, "time": one.utc_ms, "temp": temp})


def out_of_parquet(path: Path) -> list[Heard]:
    """Read back what parquet wrote, into numpy."""
    file = pq.ParquetFile(path)
    found = []
    for group in range(file.num_row_groups):
        table = file.read_row_group(group)
        time, temp = (table[name].to_numpy() for name in ("time", "temp"))
        found.append(Heard(table["probe"][0].as_py(), time, temp))
    return found


def csv_gz(heard: list[Heard], path: Path) -> None:
    """Write them as tidy CSV (RFC 4180) with UTC times, deflated by gzip."""
    with gzip.open(path, "wt", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(("probe", "time_utc", "temp_c"))
        for probe, utc_ms, temps in heard:
            for at_ms, temp_mc in zip(utc_ms.tolist(), temps.tolist(), strict=True):
                at = datetime.fromtimestamp(at_ms / 1000, UTC)
                text = at.isoformat(timespec="milliseconds")
                writer.writerow((probe, text, f"{temp_mc / 1000:.3f}"))
