"""The season log: how fast it is written, how small it is, how fast it is read.

An invented season of 120 days (see invented/season.py) is made first, which
takes some minutes; tests/benchmarks/season_log.py --days 10 is done sooner.
Each figure comes from a process of its own, which also tells the most memory
it ever held. Figures of time are set beside what a general-purpose library does
with the same readings in the same run; only such ratios travel.
"""

import argparse
import gc
import importlib.util
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogFile,
    SeasonLogReader,
    inspect_log,
)
from controller.adapters.season_log.logfile import _INSERT, _PRAGMAS
from controller.adapters.season_log.memory import new_run, rows_of
from controller.adapters.season_log.proof import prove_pages
from controller.adapters.season_log.reader import read_only
from controller.adapters.season_log.rows import NameBook, header_row
from controller.adapters.season_log.schema import create
from controller.adapters.season_log.tables import TABLES
from controller.cli.arrays import with_numpy
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.wire import take_news
from tests.benchmarks.invented.season import (
    PROBES,
    SCAN_MS,
    SCANS_A_DAY,
    UTC_MS,
    a_header,
    a_plan,
    a_season,
    write,
)

FOLD_AFTER_MS = 6 * HOUR_MS
SCANS_A_MINUTE = MINUTE_MS // SCAN_MS
END_MS = UTC_MS + 400 * DAY_MS
MOST_CSV_DAYS = 10
"""CSV and SQLite rows are as large for each reading in ten days as in a year."""

Result = dict[str, float]
PARTS: dict[str, Callable[[Path, int], Result]] = {}


def part(run: Callable[[Path, int], Result]) -> Callable[[Path, int], Result]:
    """Make a function known as a part that runs in a process of its own."""
    PARTS[run.__name__] = run
    return run


def took(run: Callable[[], object]) -> tuple[float, float]:
    """Return what something took: by the wall clock, and of the processor [s]."""
    gc.collect()
    before, busy = time.perf_counter(), time.process_time()
    run()
    return time.perf_counter() - before, time.process_time() - busy


# ----------------------------------------------------------------------- writing


@part
def making(folder: Path, days: int) -> Result:
    """Make the season, as `simulate` writes one."""
    log = DirectSeasonLog(folder / "season.db", fold_after_ms=FOLD_AFTER_MS)
    wall_s, busy_s = took(lambda: write(log, days))
    log.close()
    size = (folder / "season.db").stat().st_size
    return {"wall_s": wall_s, "busy_s": busy_s, "bytes": size}


@part
def writing(folder: Path, _days: int) -> Result:
    """Write a day, a commit a minute, unfolded; and the same rows without us."""
    plan = a_plan()
    day = list(a_season(plan, 1))
    minutes = [day[n : n + SCANS_A_MINUTE] for n in range(0, len(day), SCANS_A_MINUTE)]
    row = header_row(a_header(plan))
    memory, names = new_run(1, row), NameBook({})
    rows = [rows_of(memory, names, minute) for minute in minutes]
    n = sum(len(told) for tables in rows for told in tables.values())
    log = LogFile(folder / "day.db")
    log.begin(row)
    log.commit()

    def ours() -> None:
        for minute in minutes:
            log.write(minute)
            log.commit()

    wall_s, busy_s = took(ours)
    log.close()
    readings = sum(len(scan.readings) for scan, _, _ in day)
    found = {"rows": n, "scans": len(day), "wall_s": wall_s, "busy_s": busy_s}
    found["bytes_per_reading"] = (folder / "day.db").stat().st_size / readings
    create(folder / "empty.db")
    found["empty_bytes"] = (folder / "empty.db").stat().st_size
    return found | _barely(folder, rows)


def _barely(folder: Path, rows: list[dict[str, list[tuple[object, ...]]]]) -> Result:
    db = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for statement in (*_PRAGMAS, *TABLES):
        db.execute(statement)

    def bare() -> None:
        for tables in rows:
            db.execute("BEGIN IMMEDIATE")
            for table, told in tables.items():
                db.executemany(_INSERT[table], told)
            db.execute("COMMIT")

    wall_s, busy_s = took(bare)
    db.close()
    return {"bare_wall_s": wall_s, "bare_busy_s": busy_s}


# ------------------------------------------------------------------ reading back


def _from_disk(folder: Path) -> Path:
    path = folder / "season.db"
    with path.open("rb") as file:  # it shall come from the disk
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return path


def _reader(folder: Path, *, numpy: bool = False) -> SeasonLogReader:
    path = _from_disk(folder)
    if numpy:
        return SeasonLogReader(path, decode=with_numpy)
    return SeasonLogReader(path)


def _twice(run: Callable[[], object]) -> Result:
    cold_s, _ = took(run)
    warm = [took(run) for _ in range(5)]
    wall_s, busy_s = (min(times) for times in zip(*warm, strict=True))
    return {"cold_s": cold_s, "wall_s": wall_s, "busy_s": busy_s}


@part
def a_start(folder: Path, _days: int) -> Result:
    """All that is looked at before a run goes on in the log."""
    path = _from_disk(folder)
    return _twice(lambda: inspect_log(path))


@part
def every_page(folder: Path, _days: int) -> Result:
    """SQLite's look at every page, which is a part of that."""
    path = _from_disk(folder)

    def look() -> None:
        with closing(read_only(path)) as db:
            prove_pages(db)

    return _twice(look)


@part
def envelope(folder: Path, days: int) -> Result:
    """One tray, all days, in at most 1,000 points."""
    reader, to_ms = _reader(folder), UTC_MS + days * DAY_MS
    return _twice(lambda: reader.envelope("N1", UTC_MS, to_ms, 1_000))


@part
def envelope_of_a_day(folder: Path, days: int) -> Result:
    """One tray, one day, in at most 1,000 points."""
    reader, from_ms = _reader(folder), UTC_MS + days // 2 * DAY_MS
    return _twice(lambda: reader.envelope("N1", from_ms, from_ms + DAY_MS, 1_000))


@part
def a_tray_day(folder: Path, days: int) -> Result:
    """Every reading of one tray on one day."""
    reader, from_ms = _reader(folder), UTC_MS + days // 2 * DAY_MS
    return _twice(lambda: reader.samples("N1", from_ms, from_ms + DAY_MS))


@part
def a_tray(folder: Path, _days: int) -> Result:
    """Every reading of one tray, without numpy."""
    reader = _reader(folder)
    return _twice(lambda: reader.samples("N1", UTC_MS, END_MS))


@part
def all_into_numpy(folder: Path, _days: int) -> Result:
    """Every reading of eight trays, as arrays of time and temperature."""
    reader = _reader(folder, numpy=True)
    return _twice(lambda: list(_heard(reader)))


def _heard(reader: SeasonLogReader) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    for probe in PROBES:
        found = reader.samples(probe, UTC_MS, END_MS)
        cells = (np.frombuffer(c, np.int64) for c in (found.utc_ms, found.temp_mc))
        yield (probe, *cells)


@part
def every_scan(folder: Path, days: int) -> Result:
    """Every scan and what it decided, held against the season as it was made."""
    plan, said, n = a_plan(), {}, 0

    def compare() -> None:
        nonlocal n
        scans = _reader(folder).scans("invented")
        for found, (scan, decisions, _) in zip(
            scans, a_season(plan, days), strict=True
        ):
            news = tuple(take_news(said, decisions.commands))
            told = (scan, news, *_told(decisions))
            if told != (found.scan, found.commands, *_told(found.decisions)):
                raise AssertionError(f"scan {scan.seq} came back otherwise: {found}")
            n += found.sound

    wall_s, _ = took(compare)
    plain_s, _ = took(lambda: [None for _ in a_season(plan, days)])
    return {"scans": n, "wall_s": wall_s - plain_s, "of": days * SCANS_A_DAY}


def _told(decisions: object) -> tuple[object, ...]:
    return decisions.doubts, decisions.alarm_changes, decisions.answers


# --------------------------------------------------------------------- elsewhere


@part
def elsewhere(folder: Path, _days: int) -> Result:
    """Bytes per reading in other formats, all readings or those of ten days."""
    from tests.benchmarks.invented import elsewhere as other  # noqa: PLC0415 - heavy

    reader = SeasonLogReader(folder / "season.db", decode=with_numpy)
    heard = [other.Heard(*one) for one in _heard(reader)]
    until_ms = UTC_MS + MOST_CSV_DAYS * DAY_MS
    few = [
        other.Heard(name, at_ms[at_ms < until_ms], temps[at_ms < until_ms])
        for name, at_ms, temps in heard
    ]
    n, n_few = (sum(len(one.utc_ms) for one in some) for some in (heard, few))
    paths = [folder / name for name in ("s.parquet", "d.parquet", "rows.db", "csv.gz")]
    other.parquet(heard, paths[0])
    other.parquet(heard, paths[1], deltas=True)
    other.rows(few, paths[2])
    other.csv_gz(few, paths[3])
    sizes = [path.stat().st_size for path in paths]
    names = ("parquet", "parquet_deltas", "rows", "csv_gz")
    counts = (n, n, n_few, n_few)
    found = zip(names, sizes, counts, strict=True)
    return {name: size / count for name, size, count in found} | {"readings": n}


@part
def parquet_into_numpy(folder: Path, _days: int) -> Result:
    """The same readings out of Parquet with zstd, by pyarrow."""
    from tests.benchmarks.invented.elsewhere import out_of_parquet  # noqa: PLC0415

    return _twice(lambda: out_of_parquet(folder / "s.parquet"))


# ------------------------------------------------------------------------- words


def _ran(name: str, folder: Path, days: int) -> Result:
    """Run a part in a process of its own."""
    words = [__file__, "--days", str(days), "--part", name, "--folder", str(folder)]
    ran = subprocess.run(
        [sys.executable, *words], check=True, stdout=subprocess.PIPE, text=True
    )
    found: Result = json.loads(ran.stdout)
    return found


def _peak_mb() -> float:
    """Return the most memory this process ever held [MB]."""
    status = Path("/proc/self/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) / 1000


def _all(folder: Path, days: int) -> None:
    found = _ran("making", folder, days)
    rate = days * SCANS_A_DAY / found["busy_s"]
    print(f"{days} invented days made and written in {found['wall_s']:.0f} s", end="")
    print(f" ({rate:.0f} scans/s of processor time), peak {found['peak_mb']:.0f} MB")
    season_bytes = found["bytes"]

    one = _ran("writing", folder, days)
    print("\nwriting a day, committed each minute (WAL, synchronous FULL)")
    for name, prefix in (("season log", ""), ("bare executemany", "bare_")):
        wall_s, busy_s = one[prefix + "wall_s"], one[prefix + "busy_s"]
        print(
            f"  {name:17} {one['rows'] / wall_s:9.0f} rows/s by the clock,"
            f" {one['rows'] / busy_s:9.0f} of processor time,"
            f" {1e6 * busy_s / one['scans']:6.1f} µs per scan"
        )
    share = one["bare_wall_s"] / one["wall_s"], one["bare_busy_s"] / one["busy_s"]
    print(f"  ratio: {share[0]:.2f} by the clock, {share[1]:.2f} of processor time")

    other = _ran("elsewhere", folder, days)
    print("\nbytes per reading")
    print(
        f"  season log, a recent day, all in   {one['bytes_per_reading']:6.2f}", end=""
    )
    print(f" (of a file that has {one['empty_bytes'] / 1000:.0f} kB while empty)")
    folded = season_bytes / other["readings"]
    print(f"  season log, folded, all in         {folded:6.2f}")
    for name, words in (
        ("rows", "SQLite, a row each, with an index"),
        ("csv_gz", "CSV, gzip"),
        ("parquet", "Parquet, zstd"),
        ("parquet_deltas", "Parquet, zstd, integers as deltas"),
    ):
        ratio = other[name] / folded
        print(f"  {words:34} {other[name]:6.2f}  {ratio:5.1f} times the folded log's")
    print(
        f"  the season: {season_bytes / 1e6:.1f} MB, {other['readings']:.0f} readings"
    )

    print("\nreading back            cold ms  warm ms  of processor  peak MB")
    for name, words in (
        ("a_start", "the look at a start"),
        ("every_page", "  of it, every page"),
        ("envelope", "envelope, all days"),
        ("envelope_of_a_day", "envelope, a day"),
        ("a_tray_day", "a tray, a day"),
        ("a_tray", "a tray, all days"),
        ("all_into_numpy", "8 trays into numpy"),
        ("parquet_into_numpy", "the same, pyarrow"),
    ):
        back = _ran(name, folder, days)
        times = [1000 * back[key] for key in ("cold_s", "wall_s", "busy_s")]
        print(f"  {words:20}", *(f"{ms:9.1f}" for ms in times), end="")
        print(f"  {back['peak_mb']:9.0f}", flush=True)
    back = _ran("every_scan", folder, days)
    print(f"  every scan: {back['scans']} of {back['of']} equal to what was written,")
    print(f"    {back['wall_s']:.0f} s, peak {back['peak_mb']:.0f} MB")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--part", choices=PARTS)
    args = parser.parse_args()
    if args.part:
        found = PARTS[args.part](args.folder, args.days)
        print(json.dumps(found | {"peak_mb": _peak_mb()}))
    elif importlib.util.find_spec("pyarrow") is None:
        print("season_log: pyarrow is not installed; nothing was measured")
    else:
        with tempfile.TemporaryDirectory() as folder:
            _all(Path(folder), args.days)


if __name__ == "__main__":
    main()
