"""The second part: writing processes killed at random points, some in each file.

What a process was told is on the disk is on the disk afterwards, the file is whole,
and the next process goes on in it.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from sqlite3 import connect

from controller.adapters.season_log import LogError, SeasonLogReader
from tests.campaigns.logs.writing_process import SCAN_MS, a_record, a_scan

KILLS_PER_FILE = 10
PROCESS = Path(__file__).with_name("writing_process.py")
LATEST_S = 0.25
"""A process is killed at most so long after it was told of a scan [s]."""

EARLIEST_S = 0.8
"""One that is to die before its first commit lives at most so long [s]."""

SILENT_S = 60.0
"""A process that says nothing for so long hangs."""


class _Heard:
    """What a process said, heard by a thread until it is dead."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self.told = self.kept = 0
        self.complaints: list[str] = []
        self._news = threading.Condition()
        self._ended = False
        self._thread = threading.Thread(target=self._listen, args=(process,))
        self._thread.start()

    def _listen(self, process: "subprocess.Popen[str]") -> None:
        for line in process.stdout or ():
            with self._news:
                if line.strip().isdigit():
                    self.told = int(line)
                elif line.startswith("kept "):
                    self.kept = int(line.split()[1])
                elif line.startswith("told: "):
                    self.complaints.append(line.strip())
                self._news.notify_all()
        with self._news:
            self._ended = True
            self._news.notify_all()

    def reached(self, scan: int, within_s: float) -> bool:
        """Wait until it was told that a scan is committed."""
        with self._news:
            self._news.wait_for(lambda: self.told >= scan or self._ended, within_s)
            return self.told >= scan

    def join(self) -> None:
        """Wait for the rest of what it said."""
        self._thread.join()


@dataclass
class Kill:
    """What became of a file whose writer was killed.

    Attributes:
        number: Of the point.
        told: The last scan that the process had been told is on the disk.
        found: The last scan that is.
        kept: The last record that the process had been told is on the disk.
        records: The last record that is.
        folded: Scans of the file that are in blocks.
        wal: Bytes of its "-wal" at the kill.
        wrong: What does not hold, one line each.
    """

    number: int
    told: int = 0
    found: int = 0
    kept: int = 0
    records: int = 0
    folded: int = 0
    wal: int = 0
    wrong: list[str] = field(default_factory=list)


def kills(
    seed: int, points: int, jobs: int, per_file: int = KILLS_PER_FILE
) -> Iterator[Kill]:
    """Yield what became of the log at each of so many points."""
    with tempfile.TemporaryDirectory(prefix="kill-") as folder:
        parts = [
            (Path(folder), seed, first, min(points, first + per_file))
            for first in range(0, points, per_file)
        ]
        if jobs == 1:
            for part in parts:
                yield from _one_file(*part)
            return
        with ProcessPoolExecutor(jobs) as pool:
            for future in [pool.submit(_one_file, *part) for part in parts]:
                yield from future.result()


def _one_file(folder: Path, seed: int, first: int, end: int) -> list[Kill]:
    """Kill a file's writer once for each number, unless something is wrong."""
    return list(_kills(folder, seed, first, end))


def _kills(folder: Path, seed: int, first: int, end: int) -> Iterator[Kill]:
    path = folder / f"season-{first}.db"
    begins_ms = 0
    known: list[tuple[str, int, int]] = []
    for number in range(first, end):
        rng = random.Random(f"{seed} kill {number}")
        kill, run = Kill(number), f"run-{number}"
        _killed(path, run, begins_ms, rng, kill)
        kill.wal = _size(path.with_name(path.name + "-wal"))
        kill.found = _checked(path, run, begins_ms, kill, known)
        known.append((run, begins_ms, kill.found))
        begins_ms += (kill.found + 60) * SCAN_MS
        yield kill
        if kill.wrong:
            return


def _killed(
    path: Path, run: str, begins_ms: int, rng: random.Random, kill: Kill
) -> None:
    """Start a process, let it write, kill it, and note what it was told."""
    # Some die before their first commit, most while they write and fold.
    least = rng.choice((0, 5, 5, 5, 60, 120))
    pause_s = rng.uniform(0, LATEST_S if least else EARLIEST_S)
    words = [sys.executable, str(PROCESS), str(path), run, str(begins_ms)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        heard = _Heard(process)
        if not heard.reached(least, SILENT_S):
            kill.wrong.append(f"it said nothing for {SILENT_S:g} s")
        threading.Event().wait(pause_s)
        os.kill(process.pid, signal.SIGKILL)
        heard.join()
    kill.told, kill.kept = heard.told, heard.kept
    kill.wrong += heard.complaints
    if process.returncode != -signal.SIGKILL:
        kill.wrong.append(f"it ended by itself, with {process.returncode}")


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _checked(
    path: Path,
    run: str,
    begins_ms: int,
    kill: Kill,
    known: Sequence[tuple[str, int, int]],
) -> int:
    """Look at the file as the kill left it; return the run's last scan in it."""
    if not path.exists():
        if kill.told:
            kill.wrong.append("the file is gone")
        return 0
    try:
        reader = SeasonLogReader(path)
        reader.check()
        names = [header.run for header in reader.runs()]
        found = _scans(reader, run, begins_ms, kill) if run in names else 0
        if found < kill.told:
            kill.wrong.append(f"scan {kill.told} was committed, {found} is the last")
        _check_records(reader, kill)
        _still_there(reader, kill, [one for one in known if one[-1]])
        _tiled(path, kill)
    except LogError as error:
        kill.wrong.append(str(error))
        return 0
    return found


def _check_records(reader: SeasonLogReader, kill: Kill) -> None:
    """Prove that every record that was answered is there, as it was told."""
    changes = reader.changes()
    kill.records = len(changes)
    if kill.records < kill.kept:
        kill.wrong.append(f"record {kill.kept} was kept, {kill.records} is the last")
    if changes != [a_record(number) for number in range(1, kill.records + 1)]:
        kill.wrong.append("a record is not as it was told")


def _still_there(
    reader: SeasonLogReader, kill: Kill, known: Sequence[tuple[str, int, int]]
) -> None:
    """Prove that earlier runs are as they were; one of them scan by scan."""
    for earlier, _, last in known:
        if reader.last_seq(earlier) != last:
            kill.wrong.append(f"{earlier} has no longer {last} scans")
    if known:
        earlier, at_ms, last = known[kill.number % len(known)]
        if _scans(reader, earlier, at_ms, kill) != last:
            kill.wrong.append(f"{earlier} has not {last} scans")


def _scans(reader: SeasonLogReader, run: str, begins_ms: int, kill: Kill) -> int:
    """Prove that a run's scans are there, once each, as they were written."""
    seq = 0
    for seq, one in enumerate(reader.scans(run), 1):
        if not one.sound or one.scan != a_scan(seq, begins_ms):
            kill.wrong.append(f"{run}: scan {seq} is {one!r}"[:300])
            break
        if len(one.commands) != 1 or one.commands[0].energised is not (seq % 2 == 0):
            kill.wrong.append(f"{run}: scan {seq} commanded {one.commands}")
            break
    return seq


def _tiled(path: Path, kill: Kill) -> None:
    """Prove that blocks and loose scans leave no number out and have none twice."""
    with closing(connect(f"file:{path}?mode=ro", uri=True)) as db:
        pieces = db.execute(
            "SELECT first, last FROM block UNION ALL SELECT id, id FROM scan"
            " UNION ALL SELECT id, id FROM run UNION ALL SELECT first, last FROM lost"
            " ORDER BY 1"
        ).fetchall()
        (kill.folded,) = db.execute(
            "SELECT coalesce(sum(last - first + 1), 0) FROM block"
        ).fetchone()
        (told,) = db.execute("PRAGMA integrity_check(1)").fetchone()
    if told != "ok":
        kill.wrong.append(f"integrity_check: {told}")
    if pieces and pieces[0][0] != 1:
        kill.wrong.append(f"the file begins with number {pieces[0][0]}")
    for (_, end), (begin, _) in pairwise(pieces):
        if begin != end + 1:
            kill.wrong.append(f"number {begin} follows number {end}")
            return


def table(found: Sequence[Kill]) -> str:
    """Return what was killed and what was left."""
    beyond = [kill.found - kill.told for kill in found]
    rows = (
        ("points", len(found)),
        ("killed before their first commit", sum(not kill.told for kill in found)),
        ("killed with scans folded", sum(kill.folded > 0 for kill in found)),
        ("killed with a -wal left", sum(kill.wal > 0 for kill in found)),
        ("scans told as committed", sum(kill.told for kill in found)),
        ("scans in the logs", sum(kill.found for kill in found)),
        ("committed scans lost", sum(max(0, -more) for more in beyond)),
        ("most scans on the disk that nobody had been told of", max(beyond, default=0)),
        ("records told as kept, lost", sum(max(0, k.kept - k.records) for k in found)),
        ("records in the logs", max((kill.records for kill in found), default=0)),
        ("points at which something does not hold", sum(bool(k.wrong) for k in found)),
    )
    return "\n".join(f"{what:52} {n:>8}" for what, n in rows)


def failures(found: Sequence[Kill], points: int) -> list[str]:
    """Return what does not hold, one line each."""
    said = [f"kill {k.number}: {words}" for k in found for words in k.wrong[:3]]
    if len(found) < points:
        said.append(f"kill: {len(found)} of {points} points were reached")
    if points >= 100 and not any(kill.folded for kill in found):
        said.append("kill: nothing was folded, so folding was not killed")
    return said
