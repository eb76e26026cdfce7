"""The third part: season logs written on a small disk that fills at random points.

The writer may say that it fails, and must: it takes scans as before, calls nothing
committed that is not, keeps the file whole, tells a person, and writes everything
that waited when there is room again. What its ring could not hold, it counts.
"""

import asyncio
import os
import random
import resource
import shutil
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from sqlite3 import connect
from typing import Protocol

from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import LogHealth
from controller.core.state import fresh_state
from controller.core.units import Millis
from controller.ports import RunHeader
from tests.campaigns.logs.writing_process import (
    FOLD_AFTER_MS,
    NEVER_MS,
    SCAN_MS,
    a_scan,
)

DISK_BYTES = 8_000_000
PATIENCE_S = 30.0
"""What takes longer than this hangs."""

_MOST_SCANS = 6_000
_BLOCK = 65_536


class Disk(Protocol):
    """A place with little room.

    Attributes:
        folder: Where files go.
        kind: What it is, in words.
    """

    folder: Path
    kind: str

    def fill(self, left: int) -> None:
        """Leave room for so many bytes."""

    def empty(self) -> None:
        """Make room again."""


class SmallDisk:
    """A file system in memory, filled by a file of zeros beside the log."""

    kind = f"tmpfs of {DISK_BYTES / 1e6:g} MB"

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._ballast = folder / "ballast"

    def fill(self, left: int) -> None:
        """Leave room for so many bytes."""
        with self._ballast.open("wb", buffering=0) as file:
            try:
                while file.write(bytes(_BLOCK)):
                    pass
            except OSError:
                file.truncate(max(0, file.tell() - left))

    def empty(self) -> None:
        """Make room again."""
        self._ballast.unlink(missing_ok=True)


class LimitedFiles:
    """Files of this process that may not grow: where nothing can be mounted."""

    kind = "a limit to the size of files (setrlimit)"

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def fill(self, left: int) -> None:
        """Leave room for so many bytes in the largest file of a log."""
        sizes = [file.stat().st_size for file in self.folder.glob("season.db*")]
        self._limit(max(sizes, default=0) + left)

    def empty(self) -> None:
        """Make room again."""
        self._limit(resource.getrlimit(resource.RLIMIT_FSIZE)[1])

    def _limit(self, soft: int) -> None:
        hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def a_disk() -> Iterator[Disk]:
    """Give a small disk; one that is mounted, if this user may."""
    with tempfile.TemporaryDirectory(prefix="full-") as name:
        mounted = _mounted(Path(name))
        disk: Disk = SmallDisk(Path(name)) if mounted else LimitedFiles(Path(name))
        try:
            yield disk
        finally:
            disk.empty()
            if mounted:
                subprocess.run(["umount", name], check=True)  # noqa: S607


def _mounted(folder: Path) -> bool:
    if os.geteuid() or not shutil.which("mount"):
        return False
    words = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(folder)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


@dataclass
class Full:
    """What became of a log whose disk was full for a while.

    Attributes:
        number: Of the point.
        outcome: In words.
        scans: How many it was given.
        waited: How many waited in its ring.
        lost: How many it said it lost.
        folded: Scans in blocks at the end.
        slowest_ms: The longest that a scan took to be taken.
        answer_ms: How long it took to say whether a scan is committed.
        refused: How often it said that it is not.
        sure: Scans that it said are.
        wrong: What does not hold, one line each.
    """

    number: int
    outcome: str = ""
    scans: int = 0
    waited: int = 0
    lost: int = 0
    folded: int = 0
    slowest_ms: float = 0.0
    answer_ms: float = 0.0
    refused: int = 0
    sure: list[int] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


class _Trial:
    """One log, one disk."""

    def __init__(self, disk: Disk, rng: random.Random, full: Full) -> None:
        self.disk, self.rng, self.full = disk, rng, full
        self.path = disk.folder / "season.db"
        self.told: list[str] = []
        self.seq = 0
        # Either it tries when something comes, or by itself.
        self.by_itself = rng.random() < 0.5
        self.ring = rng.choice((20_000, 20_000, 20_000, 120))
        plan = Plan(bench="invented", scan_ms=Millis(SCAN_MS))
        self.state = fresh_state(plan)
        self.log = SeasonLogWriter(
            self.path,
            commit_every_ms=NEVER_MS,
            fold_after_ms=FOLD_AFTER_MS,
            ring_scans=self.ring,
            retry_s=0.05 if self.by_itself else PATIENCE_S,
            patience_s=PATIENCE_S,
            tell=self.told.append,
        )
        self.log.begin(
            RunHeader(
                run="run-1",
                origin="live",
                started_run_ms=0,
                started_utc_ms=0,
                plan=plan,
                state=self.state,
                timezone="UTC",
                decisions_version=1,
                versions={},
            )
        )

    def scan(self, *, flush: bool = False) -> None:
        """Give it a scan, which must be taken at once."""
        self.seq += 1
        command = Command("north", self.seq % 2 == 0, Cause.BELOW_BAND)
        scan = a_scan(self.seq, 0)
        before = time.perf_counter()
        self.log.append(scan, Decisions((command,), flush=flush), self.state)
        took_ms = 1e3 * (time.perf_counter() - before)
        self.full.slowest_ms = max(self.full.slowest_ms, took_ms)

    def scans(self, count: int) -> None:
        """Give it scans, some of them to be committed at once."""
        for _ in range(count):
            self.scan(flush=self.rng.random() < 0.2)
            if self.rng.random() < 0.1:
                self.settle()

    def settle(self) -> None:
        """Wait for the writer."""
        if not self.log.settle():
            self.full.wrong.append("the writer hangs")

    def until(self, health: LogHealth) -> bool:
        """Give it scans until it says how it is; return whether it does."""
        first = self.seq
        while self.log.health() is not health and self.seq < first + _MOST_SCANS:
            self.scan(flush=True)
            self.settle()
        return self.log.health() is health

    def recovers_by_itself(self) -> bool:
        """Wait until it is well again, without giving it anything."""
        end_s = time.monotonic() + PATIENCE_S
        while self.log.health() is not LogHealth.OK and time.monotonic() < end_s:
            time.sleep(0.01)
        return self.log.health() is LogHealth.OK

    def answer(self) -> bool:
        """Ask whether the last scan is committed, as a switch-on does."""
        before = time.perf_counter()
        committed = asyncio.run(asyncio.wait_for(self.log.committed(self.seq), 30))
        self.full.answer_ms = 1e3 * (time.perf_counter() - before)
        return committed


def fulls(seed: int, points: int) -> Iterator[tuple[str, Full]]:
    """Yield the kind of disk and what became of the log, for so many points."""
    for number in range(points):
        full = Full(number)
        with a_disk() as disk:
            try:
                _filled(disk, random.Random(f"{seed} full {number}"), full)
            except Exception as error:  # noqa: BLE001 - whatever comes is the finding
                full.wrong.append(f"{type(error).__name__}: {error}")
            yield disk.kind, full


def _filled(disk: Disk, rng: random.Random, full: Full) -> None:
    trial = _Trial(disk, rng, full)
    try:
        trial.scans(rng.randrange(0, 700))
        for _ in range(rng.choice((1, 1, 2))):
            _once_full(trial)
        trial.scans(rng.randrange(0, 200))
        trial.scan(flush=True)
        trial.settle()
        if not trial.answer():
            full.wrong.append(f"the last scan is not committed: {trial.log.trouble}")
        full.scans, full.lost = trial.seq, trial.log.dropped
    finally:
        disk.empty()
        trial.log.close()
    _check_whole(trial, full)


def _once_full(trial: _Trial) -> None:
    """Fill the disk, look what the writer says, make room, look again."""
    full, rng = trial.full, trial.rng
    told = len(trial.told)
    trial.disk.fill(rng.choice((0, 0, 4_096, 20_000, 60_000, 200_000)))
    if not trial.until(LogHealth.FAILED):
        full.outcome = "was never too full"
        trial.disk.empty()
        return
    if trial.answer():  # a little was free still, and the last scan found room
        full.sure.append(trial.seq)
    else:
        full.refused += 1
    trial.scans(rng.randrange(1, 300))
    trial.settle()
    full.waited = max(full.waited, trial.log.waiting)
    if trial.log.health() is LogHealth.FAILED:
        heard = [words for words in trial.told[told:] if "cannot be written" in words]
        if not heard:
            full.wrong.append("nobody was told that it fails")
        _check_copy(trial)
    trial.disk.empty()
    recovered = trial.recovers_by_itself() if trial.by_itself else _asked_again(trial)
    if not recovered:
        full.wrong.append(f"it does not recover: {trial.log.trouble}")
    trial.settle()
    if "is written again" not in trial.told[-1]:
        full.wrong.append(f"nobody was told that it writes again: {trial.told}")
    how = "by itself" if trial.by_itself else "at the next scan"
    full.outcome = f"failed, recovered {how}"


def _asked_again(trial: _Trial) -> bool:
    trial.scan(flush=True)
    trial.settle()
    return trial.log.health() is LogHealth.OK


def _check_copy(trial: _Trial) -> None:
    """Look at the file while its disk is full, in a copy that has room."""
    if trial.by_itself:
        return  # the writer tries again all the time, so there is no moment for it
    with tempfile.TemporaryDirectory(prefix="copy-") as name:
        copy = Path(name) / "season.db"
        for end in ("", "-wal"):
            part = trial.path.with_name(trial.path.name + end)
            if part.exists():
                shutil.copy(part, copy.with_name(copy.name + end))
        with closing(connect(copy)) as db:
            (told,) = db.execute("PRAGMA integrity_check(1)").fetchone()
        if told != "ok":
            trial.full.wrong.append(f"while the disk is full: {told}")
        SeasonLogReader(copy).check()


def _check_whole(trial: _Trial, full: Full) -> None:
    """Prove that every scan is there, in order, but for those said to be lost."""
    reader = SeasonLogReader(trial.path)
    reader.check()
    with closing(connect(trial.path)) as db:
        lost = {
            seq - 1
            for first, last in db.execute("SELECT first, last FROM lost")
            for seq in range(first, last + 1)
        }
        (full.folded,) = db.execute(
            "SELECT coalesce(sum(last - first + 1), 0) FROM block"
        ).fetchone()
    if len(lost) != full.lost:
        full.wrong.append(
            f"{full.lost} scans are called lost, the log says {len(lost)}"
        )
    for seq in lost.intersection(full.sure):
        full.wrong.append(f"scan {seq} is lost, and was said to be committed")
    expected = [seq for seq in range(1, full.scans + 1) if seq not in lost]
    found = list(reader.scans("run-1"))
    if [one.scan.seq for one in found] != expected:
        full.wrong.append(f"{len(found)} scans are there, not {len(expected)}")
    for one in found:
        if not one.sound or one.scan != a_scan(one.scan.seq, 0):
            full.wrong.append(f"scan {one.scan.seq} is not as it was given")
            return


def table(found: Sequence[tuple[str, Full]]) -> str:
    """Return what was filled and what became of it."""
    fulls = [full for _, full in found]
    lines = [
        f"on {kind}: {n} points" for kind, n in Counter(k for k, _ in found).items()
    ]
    outcomes = Counter(full.outcome for full in fulls)
    rows: list[tuple[str, object]] = [*outcomes.most_common()]
    rows += [
        ("scans given", sum(full.scans for full in fulls)),
        ("most that waited at once", max((full.waited for full in fulls), default=0)),
        ("points at which the ring overflowed", sum(full.lost > 0 for full in fulls)),
        ("scans lost there, all counted in the log", sum(full.lost for full in fulls)),
        ("points with scans folded", sum(full.folded > 0 for full in fulls)),
        ("slowest taking of a scan", f"{max(f.slowest_ms for f in fulls):.1f} ms"),
        ("asked on a full disk: not committed", sum(f.refused for f in fulls)),
        (
            "asked on a full disk: committed, and it was",
            sum(len(f.sure) for f in fulls),
        ),
        ("slowest answer on a full disk", f"{max(f.answer_ms for f in fulls):.1f} ms"),
        ("points at which something does not hold", sum(bool(f.wrong) for f in fulls)),
    ]
    return "\n".join([*lines, *(f"{what:52} {n!s:>8}" for what, n in rows)])


def failures(found: Sequence[tuple[str, Full]]) -> list[str]:
    """Return what does not hold, one line each."""
    said = [f"full {f.number}: {words}" for _, f in found for words in f.wrong[:3]]
    if not any(full.outcome.startswith("failed") for _, full in found):
        said.append("full: no disk was ever too full")
    return said
