"""A copy of a log that is being written: whole, of one moment, and of use."""

import json
import random
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller import cli
from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
    TripFile,
    backup,
    trips_beside,
)
from controller.adapters.season_log.backup import (
    FaultyCopyError,
    back_up,
    check_backup,
)
from controller.adapters.season_log.files import SIDECARS
from controller.core.decisions import Cause
from controller.core.state import Trip
from tests.exchange.conftest import files_no_larger_than

TRIP = Trip(Cause.OVER_CUTOUT, "n1", 33_200, 33_000, 5_000, 1_760_000_005_000)


def written(path: Path, samples, last: int = 3_000) -> Path:
    log = DirectSeasonLog(path)
    log.begin(samples.header())
    for one in samples.many(1, last):
        log.append(*one)
    log.close()
    return path


def typed(*words: object) -> int:
    return cli.main(["backup", *map(str, words)])


def everything(path: Path) -> list[str]:
    """Return all that is in a database, as SQL text."""
    with closing(sqlite3.connect(path)) as db:
        return list(db.iterdump())


def test_a_copy_holds_all_that_the_log_holds(path, samples, tmp_path):
    written(path, samples)
    copy = tmp_path / "copy.db"
    found = back_up(path, copy)
    assert everything(copy) == everything(path)
    assert (found.runs, found.last_run, found.last_seq) == (1, "run-1", 3_000)
    assert check_backup(copy) == found
    assert sorted(tmp_path.glob("copy*")) == [copy]  # one file, nothing beside it


def test_a_copy_is_of_one_moment_while_the_writer_goes_on(
    path, samples, tmp_path, monkeypatch
):
    """The writer commits between any two steps of the copy, hundreds of times."""
    written(path, samples)
    writer = SeasonLogWriter(path)
    writer.begin(samples.header("run-2"))
    writer.append(*samples.taken(1, flush=True))
    assert writer.settle()
    monkeypatch.setattr(backup, "PAGES", 1)
    monkeypatch.setattr(backup, "PAUSE_S", 0.0)
    seq = 1

    def meanwhile(left: int, total: int) -> None:
        nonlocal seq
        seq += 1
        writer.append(*samples.taken(seq, flush=True))
        assert writer.settle()

    found = back_up(path, tmp_path / "copy.db", progress=meanwhile)
    writer.close()
    assert writer.health().value == "ok"
    assert seq > 30
    assert (found.last_run, found.last_seq) == ("run-2", 1)
    assert SeasonLogReader(path).last_seq("run-2") == seq
    assert SeasonLogReader(tmp_path / "copy.db").last_seq("run-2") == 1


STEPS = (
    "  1. stop the daemon: nothing may write the log meanwhile;",
    "  2. rename the log, and what is named like it with -wal, -shm, -journal or",
    "     -malformed behind it, out of the way: else it counts for the backup;",
    "  3. copy the backup to the log's name, and its .trips.json to that of the log;",
    "  4. bottomheat backup --check LOG, and start the daemon.",
)


def help_text(capsys) -> str:
    with pytest.raises(SystemExit):
        typed("--help")
    return capsys.readouterr().out


def test_going_back_to_a_backup_by_the_steps_that_help_names(
    path, samples, tmp_path, capsys
):
    assert "\n".join(STEPS) in help_text(capsys)
    TripFile(trips_beside(path)).save({"north": TRIP})
    writer = SeasonLogWriter(path)
    writer.begin(samples.header())
    for seq in range(1, 51):
        writer.append(*samples.taken(seq, flush=seq == 50))
    assert writer.settle()
    assert typed(path, tmp_path / "copy.db") == 0
    writer.close()  # 1
    path.write_bytes(b"the card was damaged")
    trips_beside(path).unlink()
    for end in SIDECARS:  # 2
        part = path.with_name(path.name + end)
        if part.exists():
            part.rename(part.with_name(f"old-{part.name}"))
    shutil.copy(tmp_path / "copy.db", path)  # 3
    shutil.copy(trips_beside(tmp_path / "copy.db"), trips_beside(path))
    assert typed("--check", path) == 0  # 4
    assert TripFile(trips_beside(path)).load() == {"north": TRIP}
    again = SeasonLogWriter(path)
    again.begin(samples.header("run-2"))
    again.append(*samples.taken(1, flush=True))
    assert again.settle()
    again.close()
    reader = SeasonLogReader(path)
    assert [one.run for one in reader.runs()] == ["run-1", "run-2"]
    assert (reader.last_seq("run-1"), reader.last_seq("run-2")) == (50, 1)


def test_progress_is_shown_on_a_terminal(path, samples, tmp_path, monkeypatch, capsys):
    written(path, samples)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    assert typed(path, tmp_path / "copy.db") == 0
    assert "copied 100%" in capsys.readouterr().err


def test_trips_are_copied_and_old_ones_of_a_replaced_copy_go(path, samples, tmp_path):
    written(path, samples, 10)
    copy = tmp_path / "copy.db"
    TripFile(trips_beside(path)).save({"north": TRIP})
    back_up(path, copy)
    assert TripFile(trips_beside(copy)).load() == {"north": TRIP}
    trips_beside(path).unlink()
    back_up(path, copy, overwrite=True)
    assert not trips_beside(copy).exists()


def test_a_damaged_file_of_trips_is_told_of(path, samples, tmp_path, capsys):
    written(path, samples, 10)
    trips_beside(path).write_text("{")
    assert typed(path, tmp_path / "copy.db") == 1
    assert "season.trips.json is damaged" in capsys.readouterr().err
    assert not list(tmp_path.glob("copy*"))
    assert typed("--check", path) == 1


def test_into_a_folder_the_name_tells_the_time(path, samples, tmp_path, capsys):
    written(path, samples, 10)
    folder = tmp_path / "card"
    folder.mkdir()
    assert typed(path, folder, "--json") == 0
    (copy,) = folder.iterdir()
    assert len(copy.name) == len("season-20270201T080000Z.db")
    assert copy.name.startswith("season-2") and copy.name.endswith("Z.db")
    told = json.loads(capsys.readouterr().out)
    assert (told["file"], told["last_scan"]) == (str(copy), 10)


def test_what_is_there_is_kept_unless_told_otherwise(path, samples, tmp_path, capsys):
    written(path, samples, 10)
    copy = tmp_path / "copy.db"
    copy.write_text("mine")
    assert typed(path, copy) == 2
    assert "is there already" in capsys.readouterr().err
    assert copy.read_text() == "mine"
    assert typed(path, copy, "--overwrite") == 0
    assert "nothing wrong" in capsys.readouterr().out


def test_a_damaged_log_never_replaces_a_good_backup(path, samples, tmp_path, capsys):
    written(path, samples)
    copy = tmp_path / "copy.db"
    back_up(path, copy)
    good = copy.read_bytes()
    raw = bytearray(path.read_bytes())
    middle = len(raw) // 2 // 4096 * 4096
    raw[middle : middle + 4096] = b"\x5a" * 4096
    path.write_bytes(raw)
    assert typed(path, copy, "--overwrite") in {1, 2}
    assert "is damaged" in capsys.readouterr().err
    assert copy.read_bytes() == good
    assert sorted(tmp_path.glob("copy*")) == [copy]


@pytest.mark.parametrize("seed", range(20))
def test_flipped_bytes_of_a_backup_are_found_or_harmless(path, samples, tmp_path, seed):
    """Found by the check; where it finds nothing, every row reads as before."""
    written(path, samples, 400)
    whole = everything(path)
    chance = random.Random(seed)  # noqa: S311
    raw = bytearray(path.read_bytes())
    for _ in range(4):
        raw[chance.randrange(len(raw))] ^= 1 << chance.randrange(8)
    path.write_bytes(raw)
    try:
        check_backup(path)
    except LogError as error:
        assert str(path) in str(error)
        return
    # A value within a row is not for SQLite to know: its count and place are.
    assert len(everything(path)) == len(whole)


def test_a_copy_that_lacks_a_row_is_found(path, samples, tmp_path, monkeypatch):
    written(path, samples, 50)
    taken = backup._copied

    def lossy(log, building, progress):
        found = taken(log, building, progress)
        return replace(found, rows={**found.rows, "reading": 51})

    monkeypatch.setattr(backup, "_copied", lossy)
    with pytest.raises(FaultyCopyError, match="reading: 51 rows in the log, 50 here"):
        back_up(path, tmp_path / "copy.db")
    assert not list(tmp_path.glob("copy*"))


def test_a_full_disk_leaves_no_copy(path, samples, tmp_path, capsys):
    written(path, samples)
    with files_no_larger_than(40_000):
        assert typed(path, tmp_path / "copy.db") == 2
    assert "cannot be copied" in capsys.readouterr().err
    assert not list(tmp_path.glob("copy*"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["season.db"], "say where the copy goes"),
        (["--check", "season.db", "copy.db"], "leave DEST out"),
        (["season.db", "none/copy.db"], "the folder none does not exist"),
        (["season.db", "season.db", "--overwrite"], "is the log itself"),
        (["season.db", "used.db"], "is, or was, in use as a log"),
        (["none.db", "copy.db"], "none.db does not exist"),
        (["junk.db", "copy.db"], "this is no SQLite file"),
        (["--check", "junk.db"], "this is no SQLite file"),
        (["--check", "none.db"], "none.db does not exist"),
    ],
)
def test_what_cannot_be_done_is_told_with_exit_2(
    path, samples, tmp_path, capsys, monkeypatch, words, told
):
    written(path, samples, 10)
    monkeypatch.chdir(tmp_path)
    Path("junk.db").write_text("no database at all")
    Path("used.db-wal").write_text("x")
    assert typed(*words) == 2
    assert told in capsys.readouterr().err
    assert not list(tmp_path.glob("copy*"))
