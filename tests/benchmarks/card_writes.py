"""What a day of the season log writes to the card, and how long a card bears that.

The writer with its default settings takes two invented days (see
invented/season.py), commit by commit as they would come: each minute, and at once
where something is switched on. The second day is counted, when old scans are
folded too: by /proc/self/io, and, for root, by the sectors that reach a loop
device with ext4 on it.

Virtual time hurries past what a kernel does meanwhile: within half a minute it
writes whatever else is dirty, such as the "-shm" beside the log and the times of
files, in ext4's journal. So the days are written twice. Once, only what commits
force out is counted; once, the file system is synced after each commit: a bench
in real time lies between the two, near the second.
"""

import argparse
import ctypes
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from controller.adapters.season_log import SeasonLogWriter
from controller.core.units import HOUR_MS
from tests.benchmarks.invented.season import (
    SCAN_MS,
    SCANS_A_DAY,
    a_header,
    a_plan,
    a_season,
)

FOLD_AFTER_MS = 6 * HOUR_MS
IMAGE_BYTES = 256 * 2**20
SECTOR_BYTES = 512
AIM_MB = 60
LIBC = ctypes.CDLL(None, use_errno=True)

CARDS = (
    # What a card is sold as; capacity [GB], erase cycles, write amplification.
    # Both last are orders of magnitude from memory: makers of cheap cards print
    # neither. Small synced writes are what a card is worst at.
    ("a middling card", 16, 1_000, 10),
    ("a small, bad one", 8, 300, 50),
)


def synced(folder: Path) -> None:
    """Write whatever is dirty in the file system of a folder: syncfs(2)."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        if LIBC.syncfs(handle):
            raise OSError(ctypes.get_errno(), "syncfs")
    finally:
        os.close(handle)


def written(folder: Path, device: str | None, *, sync: bool = True) -> tuple[int, int]:
    """Return the bytes written until now: by this process, and to a device."""
    if sync:
        synced(folder)
    told = dict(
        line.split(": ") for line in Path("/proc/self/io").read_text().splitlines()
    )
    stat = device and Path(f"/sys/block/{Path(device).name}/stat").read_text()
    sectors = int(stat.split()[6]) if stat else 0
    return int(told["write_bytes"]), SECTOR_BYTES * sectors


def a_day(folder: Path, device: str | None, *, sync: bool) -> tuple[int, int, int]:
    """Return what the second day writes, by both counts, and its commits."""
    plan = a_plan()
    log = SeasonLogWriter(folder / "season.db", fold_after_ms=FOLD_AFTER_MS)
    log.begin(a_header(plan))
    log.settle()
    before, commits, known = (0, 0), 0, 0
    for number, taken in enumerate(a_season(plan, 2)):
        if number == SCANS_A_DAY:
            before, commits = written(folder, device), 0
        log.append(*taken)
        log.settle()
        if log._committed_seq != known:
            known, commits = log._committed_seq, commits + 1
            if sync:
                synced(folder)
    after = written(folder, device)
    log.close()
    (folder / "season.db").unlink()
    return after[0] - before[0], after[1] - before[1], commits


def as_it_comes(folder: Path, device: str | None, minutes: float) -> tuple[float, ...]:
    """Return what is written in real time, by both counts, for a day [bytes]."""
    plan, before = a_plan(), SCANS_A_DAY // 3
    log = SeasonLogWriter(folder / "season.db", fold_after_ms=FOLD_AFTER_MS)
    log.begin(a_header(plan))
    settling, counted = round(90_000 / SCAN_MS), round(minutes * 60_000 / SCAN_MS)
    season = a_season(plan, 1)
    for number, taken in enumerate(islice(season, before)):
        log.append(*taken)
        if number % 12 == 0:
            log.settle()
    log.settle()
    begun_s, start = time.monotonic(), (0, 0)
    for number, taken in enumerate(islice(season, settling + counted)):
        if number == settling:
            start = written(folder, device, sync=False)
        log.append(*taken)
        due_s = begun_s + (number + 1) * SCAN_MS / 1000
        time.sleep(max(0.0, due_s - time.monotonic()))
    end = written(folder, device, sync=False)
    log.close()
    share = SCANS_A_DAY / counted
    return tuple(share * (b - a) for a, b in zip(start, end, strict=True))


@contextmanager
def a_card() -> Iterator[tuple[Path, str | None]]:
    """Yield a folder, on a loop device of its own where we may make one."""
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as made:
        mount, image = Path(made) / "mount", Path(made) / "image"
        mount.mkdir()
        with image.open("wb") as file:
            file.truncate(IMAGE_BYTES)
        lazy = "lazy_itable_init=0,lazy_journal_init=0"  # else it writes on later
        steps = (
            ["mkfs.ext4", "-q", "-b", "4096", "-E", lazy, str(image)],
            ["mount", "-o", "loop,noatime", str(image), str(mount)],
        )
        try:
            for step in steps:
                subprocess.run(step, check=True, capture_output=True)
        except (OSError, subprocess.CalledProcessError) as error:
            print(f"no loop device ({error}): only what the process wrote is known")
            yield mount, None
            return
        try:
            find = ["findmnt", "-no", "SOURCE", str(mount)]
            yield mount, subprocess.check_output(find, text=True).strip()
        finally:
            away = ["umount", str(mount)]
            subprocess.run(away, check=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, help="in real time, and nothing else")
    minutes = parser.parse_args().minutes
    if minutes:
        with a_card() as (folder, device):
            by_process, to_device = as_it_comes(folder, device, minutes)
        print(
            f"{minutes:g} min in real time: {by_process / 1e6:.1f} MB a day by the"
            f" process, {to_device / 1e6:.1f} MB to the device"
        )
        return
    most = 0.0
    with a_card() as (folder, device):
        kind = ["findmnt", "-no", "FSTYPE", "--target", str(folder)]
        where = subprocess.check_output(kind, text=True).strip()
        print(f"8 trays, a reading each 10 s, a scan each 5 s, two mats; on {where}")
        for sync, words in ((False, "by commits"), (True, "synced after each")):
            by_process, to_device, commits = a_day(folder, device, sync=sync)
            print(
                f"  {words:18} {by_process / 1e6:6.1f} MB a day by the process", end=""
            )
            if device:
                print(f", {to_device / 1e6:6.1f} MB to the device", end="")
            print(f", {commits} commits")
            most = max(most, by_process / 1e6, to_device / 1e6)
    print(f"  the aim is {AIM_MB} MB a day")
    for name, gigabytes, cycles, amplification in CARDS:
        years = gigabytes * 1000 * cycles / (most * amplification * 365)
        print(
            f"  {name}: {gigabytes} GB x {cycles} erase cycles / ({most:.0f} MB a day"
            f" x {amplification} written for each) = {years:.0f} years"
        )
    print("  (cycles and amplification are orders of magnitude, from memory)")


if __name__ == "__main__":
    main()
