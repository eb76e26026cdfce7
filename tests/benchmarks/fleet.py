"""Logs of many benches fitted and tuned: one worker against two.

Six logs of two mats each, of four simulated days, scans 30 s apart, 256
candidates for each mat. Wall time, the least of three rounds that take turns;
and the processors' time for one mat, which says what more machines would bring.
Workers are not niced here, and have begun: a first map, in which they import and
compile, and the making of the logs are not in it. Other work on the same cores
spoils the ratio; the load average tells of it.
"""

import os
import sys
import tempfile
import time
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import psutil

from controller.adapters.fleet import pool
from controller.cli import main as bottomheat
from controller.cli.paths import config_dir
from controller.cli.swept import Item, Sweeping

LOGS = 6
MATS = 2 * LOGS
ROUNDS = 3
SWEEPING = Sweeping("least energy, coolest tray never below 17 °C", None, 256, 1)


def made(folder: Path) -> None:
    """Simulate a season of a few days for each of some invented benches."""
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    config = folder / "bench.toml"
    config.write_text(text.replace('scan = "5 s"', 'scan = "30 s"'))
    for seed in range(1, LOGS + 1):
        out = str(folder / f"bench-{seed}.db")
        words = ["--days", "4", "--seed", str(seed), "--out", out]
        with redirect_stdout(StringIO()):
            bottomheat(["simulate", str(config), *words])


def items_of(folder: Path) -> list[Item]:
    """Return every mat of every log."""
    logs = sorted(folder.glob("*.db"))
    return [Item(str(log), mat) for log in logs for mat in ("north", "south")]


def timed(workers: int, items: list[Item]) -> tuple[float, float]:
    """Return wall and processor time [s] of all items."""
    with pool(workers, nice=0) as mapper:
        mapper.map(SWEEPING, items[:workers])
        used, began = spent(), time.perf_counter()
        rows = mapper.map(SWEEPING, items)
        wall_s, cpu_s = time.perf_counter() - began, spent() - used
    for row in rows:
        if row.why:
            sys.exit(f"it tells nothing: {row.why}")
    return wall_s, cpu_s


def spent() -> float:
    """Return the processor time of workers that live [s]."""
    times = [one.cpu_times() for one in psutil.Process().children()]
    return sum(one.user + one.system for one in times)


def main() -> int:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made(folder)
        items = items_of(folder)
        rounds = [(timed(1, items), timed(2, items)) for _ in range(ROUNDS)]
    one, two = (min(each[n][0] for each in rounds) for n in (0, 1))
    cpu_s = [min(each[n][1] for each in rounds) / MATS for n in (0, 1)]
    print(f"{LOGS} logs, {MATS} mats, {len(os.sched_getaffinity(0))} cores")
    print(f"1 worker   {one:6.1f} s, {cpu_s[0]:.2f} processor seconds a mat")
    print(f"2 workers  {two:6.1f} s, {cpu_s[1]:.2f} processor seconds a mat")
    print(f"ratio      {one / two:6.2f}")
    print(f"(load average of the last minute, ours too: {os.getloadavg()[0]:.1f})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
