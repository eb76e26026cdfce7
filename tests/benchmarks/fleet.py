"""Logs of many benches fitted and tuned: one worker against two.

Six logs of two mats each, of four simulated days, scans 30 s apart, 256
candidates for each mat. Wall time, the least of three rounds that take turns;
and the processors' time for one mat, which says what more machines would bring.
A first sweep, which compiles, and the making of the logs are not in it.
"""

import os
import resource
import sys
import tempfile
import time
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from controller.cli import main as bottomheat
from controller.cli.paths import config_dir

LOGS = 6
MATS = 2 * LOGS
ROUNDS = 3
WISH = "least energy, coolest tray never below 17 °C"


def made(folder: Path) -> None:
    """Simulate a season of a few days for each of some invented benches."""
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    config = folder / "bench.toml"
    config.write_text(text.replace('scan = "5 s"', 'scan = "30 s"'))
    for seed in range(1, LOGS + 1):
        out = str(folder / f"bench-{seed}.db")
        words = ["--days", "4", "--seed", str(seed), "--out", out]
        quiet(["simulate", str(config), *words])


def quiet(words: list[str]) -> None:
    """Run a command without what it says."""
    with redirect_stdout(StringIO()):
        code = bottomheat(words)
    if code:
        sys.exit(f"{words[0]}: ended with {code}")


def timed(folder: Path, workers: int) -> tuple[float, float]:
    """Return wall and processor time of one sweep [s]."""
    before, began = spent(), time.perf_counter()
    words = ["--wish", WISH, "--candidates", "256", "--workers", str(workers)]
    quiet(["sweep", str(folder), *words])
    return time.perf_counter() - began, spent() - before


def spent() -> float:
    """Return the processor time of workers that have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> int:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made(folder)
        timed(folder, 2)
        rounds = [(timed(folder, 1), timed(folder, 2)) for _ in range(ROUNDS)]
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
