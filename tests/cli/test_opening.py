"""A run begins on a sound log, on a new one beside a damaged one, or not at all."""

import asyncio
import sqlite3
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from controller.adapters.season_log import (
    NO_ENDING,
    DirectRecords,
    LogError,
    LogLock,
    SeasonLogReader,
    TripFile,
    inspection,
    trips_beside,
)
from controller.adapters.season_log.schema import PAGE_BYTES
from controller.adapters.settings import load
from controller.cli import main, opening
from controller.cli.beginning import run_header
from controller.cli.opening import opened
from controller.cli.paths import config_dir
from controller.core.decisions import Cause
from controller.core.scan import LogHealth, Reading, Request, Scan, SetSetpoint
from controller.core.state import Mode, Trip
from controller.core.step import step
from controller.core.units import Millis, UtcMillis
from controller.ports import Instant
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind

UTC_MS = 1_795_601_700_000
NOW = Instant(0, UTC_MS + 3_600_000, True, 20_782, 675)


@dataclass
class Bench:
    """The demo bench with a log of its own, run for some scans."""

    folder: Path

    def __post_init__(self):
        self.settings = load(config_dir() / "bench.toml", {})
        self.path = self.folder / "season.db"
        log = replace(self.settings.log, path=self.path)
        self.settings = replace(self.settings, log=log)
        self.plan = self.settings.plan

    def opened(self, trips=None, now=NOW):
        return opened(self.settings, now, trips or {}, lambda _: None)

    def run(self, scans=720, *, ends=True) -> None:
        """Run for an hour, with an override and degree-hours to remember."""
        begun = self.opened(now=Instant(0, UTC_MS, True, 20_782, 615))
        start = Instant(begun.begun.run_ms, UTC_MS, True, 20_782, 615)
        header = run_header("live", self.plan, begun.begun.state, start, "UTC")
        log, state = begun.log, header.state
        log.begin(header)
        warmer = SetSetpoint("north", self.plan.mats[0].programme[0].setpoint_mc + 500)
        for seq in range(1, scans + 1):
            at_ms = Millis(start.run_ms + seq * 5_000)
            scan = Scan(
                seq=seq,
                run_ms=at_ms,
                utc_ms=UtcMillis(UTC_MS + seq * 5_000),
                clock_ok=True,
                local_day=20_782,
                local_minute=615 + seq // 12,
                readings=tuple(
                    Reading(p.name, at_ms, 20_000)
                    for mat in self.plan.mats
                    for tray in mat.trays
                    for p in tray.probes
                ),
                requests=(Request(1, "ada", warmer),) if seq == 1 else (),
            )
            state, decisions = step(self.plan, state, scan)
            log.append(scan, decisions, state)
        if ends:
            end = Instant(scan.run_ms, scan.utc_ms, True, 0, 0)
            log.end(end, "stopped by SIGTERM")
        log.close()

    def heat(self, begun):
        return [account.heat_mk_ms for account in begun.state.accounts.values()]

    def files(self):
        return sorted(p.name for p in self.folder.iterdir())


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


@pytest.fixture
def trip():
    return {
        "north": Trip(
            Cause.OVER_CUTOUT, "N1", 33_100, 33_000, Millis(1), UtcMillis(UTC_MS)
        )
    }


PAGE = PAGE_BYTES


def root_page(path, table):
    with closing(sqlite3.connect(path)) as db:
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    return root


def oldest_page(path, table):
    """Return the page with the oldest rows of a table that has many.

    sqlite.org, "Database File Format", 1.6: an inner page has a head of 12
    bytes, then the places of its cells, each of which begins with the number of
    a page below.
    """
    start = (root_page(path, table) - 1) * PAGE
    page = path.read_bytes()[start : start + PAGE]
    assert page[0] == 5, "an inner page of a table"
    cell = int.from_bytes(page[12:14])
    return int.from_bytes(page[cell : cell + 4])


def spoil(path, table, find=root_page):
    """Overwrite a page of a table."""
    start = (find(path, table) - 1) * PAGE
    whole = path.read_bytes()
    path.write_bytes(whole[:start] + b"\x7f" * PAGE + whole[start + PAGE :])


def test_the_first_run_of_a_bench_begins_with_nothing(bench):
    opening = bench.opened()
    opening.log.close()
    assert (opening.notes, opening.before) == ((), "")
    assert opening.begun.run_ms == 0


def test_the_next_run_goes_on_and_says_how_the_one_before_ended(bench):
    bench.run()
    opening = bench.opened()
    opening.log.close()
    assert opening.before.endswith(
        "ended at 2026-11-25T11:15Z, 0 min ago: stopped by SIGTERM"
    )
    assert opening.begun.state.mats["north"].override.who == "ada"
    assert sum(bench.heat(opening.begun)) > 0
    assert opening.notes == ()


def test_the_next_run_says_that_the_one_before_was_killed(bench):
    bench.run(ends=False)
    opening = bench.opened()
    opening.log.close()
    assert NO_ENDING in opening.before


def test_no_age_is_told_by_a_clock_that_is_not_right(bench):
    """A board without a clock starts in 1970."""
    bench.run()
    opening = bench.opened(now=Instant(0, 60_000, False, 0, 1))
    opening.log.close()
    assert opening.before.endswith("ended at 2026-11-25T11:15Z: stopped by SIGTERM")
    assert sum(bench.heat(opening.begun)) > 0


@pytest.mark.parametrize("table", ["reading", "scan"])
def test_a_damaged_log_is_set_aside_and_a_new_one_begun(bench, trip, table):
    bench.run(ends=False)
    spoil(bench.path, table)
    spoiled = bench.path.read_bytes()
    opening = bench.opened(trip)
    opening.log.begin(
        run_header("live", bench.plan, opening.begun.state, NOW, "UTC", opening.notes)
    )
    opening.log.close()
    (note,) = opening.notes
    aside = bench.folder / "season.db.damaged-20261125T111500Z"
    assert aside.read_bytes() == spoiled
    assert "is damaged" in note
    assert f"set aside as {aside.name}, with nothing deleted" in note
    assert "locked off as before: north" in note
    journal = SeasonLogReader(bench.path).journal(0, 10)
    assert [entry.kind for entry in journal] == ["run", "note"]
    assert journal[1].body["sentence"] == note
    assert opening.begun.state.log_set_aside, "it rings"
    mats = opening.begun.state.mats
    assert mats["north"].mode is Mode.TRIPPED
    assert mats["north"].trip == trip["north"]
    assert mats["south"].mode is Mode.STARTING
    assert not any(mat.relay.energised for mat in mats.values())


def keep(path: Path, *numbers: int) -> list[Change]:
    """Write notes into the log of a bench that has ended."""
    records = DirectRecords(path)
    told = [
        Change(
            number,
            UTC_MS,
            "a test",
            str(number),
            BenchEvent(kind=EventKind.NOTE, utc_ms=UTC_MS, text=f"note {number}"),
        )
        for number in numbers
    ]
    asyncio.run(records.keep(told))
    records.close()
    return told


def test_what_people_wrote_goes_on_in_the_new_log(bench):
    bench.run()
    told = keep(bench.path, 1, 2, 3)
    spoil(bench.path, "reading")
    opening = bench.opened()
    opening.log.close()
    assert "set aside" in opening.notes[0]
    assert opening.notes[1] == "records of batches and events carried over: 3"
    assert SeasonLogReader(bench.path).changes() == told
    assert bench.opened().notes == ()


def test_of_damaged_records_those_before_the_damage_go_on_and_the_rest_is_told(bench):
    bench.run()
    told = keep(bench.path, 1, 2, 3)
    with closing(sqlite3.connect(bench.path)) as db, db:
        db.execute("UPDATE record SET who = 'nobody' WHERE id = 2")
    opening = bench.opened()
    opening.log.close()
    assert opening.notes[1] == "records of batches and events carried over: 1"
    assert (
        "could not be carried over: 2; they stand in season.db.dam"
        in (opening.notes[2])
    )
    assert SeasonLogReader(bench.path).changes() == told[:1]


def test_records_that_cannot_be_carried_over_are_told(bench, monkeypatch):
    bench.run()
    keep(bench.path, 1)
    spoil(bench.path, "reading")

    def full(*_):
        raise LogError("the disk is full")

    monkeypatch.setattr(opening, "carry_records", full)
    found = bench.opened()
    found.log.close()
    assert "what people wrote could not be carried over: the disk" in found.notes[1]


def test_what_can_still_be_read_of_a_damaged_log_goes_on(bench):
    bench.run(ends=False)
    spoil(bench.path, "reading", oldest_page)
    opening = bench.opened()
    opening.log.close()
    assert "could still be read and go on" in opening.notes[0]
    assert sum(bench.heat(opening.begun)) > 0
    assert opening.begun.state.mats["north"].override.who == "ada"


def test_what_cannot_be_read_begins_anew_and_is_said_to(bench):
    bench.run(ends=False)
    bench.path.write_bytes(bench.path.read_bytes()[:8_192])
    opening = bench.opened()
    opening.log.close()
    assert "begin anew" in opening.notes[0]
    assert sum(bench.heat(opening.begun)) == 0


def test_damage_found_only_while_the_last_state_is_read_sets_aside_too(
    bench, monkeypatch
):
    bench.run()
    spoil(bench.path, "reading")
    monkeypatch.setattr(inspection, "_look", lambda *_: None)  # it took too long
    opening = bench.opened()
    opening.log.close()
    assert "set aside" in opening.notes[0]


def test_damage_found_only_while_the_log_is_opened_for_writing_sets_aside_too(
    bench, monkeypatch
):
    bench.run()
    spoil(bench.path, "meta")
    monkeypatch.setattr(inspection, "_look", lambda *_: None)
    opening = bench.opened()
    assert opening.log.health() is LogHealth.OK
    opening.log.close()
    assert "malformed" in opening.notes[0]
    assert "set aside" in opening.notes[0]
    assert "could still be read and go on" in opening.notes[0]
    assert opening.begun.state.log_set_aside, "it rings"
    assert not bench.path.with_name("season.db-malformed").exists()
    bench.opened().log.close()


@pytest.mark.parametrize("version", [2, 7, 99])
def test_a_log_whose_schemas_number_was_flipped_is_set_aside(bench, version):
    bench.run(3)
    with closing(sqlite3.connect(bench.path)) as db, db:
        db.execute(f"PRAGMA user_version = {version}")
    opening = bench.opened()
    opening.log.close()
    assert "is damaged: its head tells of" in opening.notes[0]
    assert (bench.folder / "season.db.damaged-20261125T111500Z").exists()
    assert SeasonLogReader(bench.path).runs() == []


def test_a_log_of_an_older_schema_is_set_aside(bench, trip):
    bench.run(3)
    with closing(sqlite3.connect(bench.path)) as db, db:
        db.execute("PRAGMA user_version = 1")
        db.execute("UPDATE meta SET value = '1' WHERE key = 'schema_version'")
    opening = bench.opened(trip)
    opening.log.close()
    assert "has schema 1" in opening.notes[0]
    assert (bench.folder / "season.db.damaged-20261125T111500Z").exists()
    assert opening.begun.state.mats["north"].mode is Mode.TRIPPED


@pytest.mark.parametrize(
    ("spoiled", "complaint"),
    [
        (
            "PRAGMA user_version = 99;"
            " UPDATE meta SET value = '99' WHERE key = 'schema_version'",
            "has schema 99",
        ),
        ("PRAGMA application_id = 7; DROP TABLE scan", "of another program"),
    ],
)
def test_what_is_not_ours_to_rename_is_refused_and_left_alone(
    bench, spoiled, complaint
):
    bench.run(3)
    TripFile(trips_beside(bench.path)).save({})
    with closing(sqlite3.connect(bench.path)) as db, db:
        db.executescript(spoiled)
    before, files = bench.path.read_bytes(), bench.files()
    with pytest.raises(LogError, match=complaint):
        bench.opened()
    assert bench.path.read_bytes() == before
    assert bench.files() == files


def test_a_damaged_log_that_another_daemon_holds_is_not_touched(bench):
    bench.run(3, ends=False)
    spoil(bench.path, "scan")
    files = bench.files()
    lock = LogLock(bench.path)
    with pytest.raises(LogError, match="is being written by another program"):
        bench.opened()
    lock.release()
    assert bench.files() == files


def test_a_damaged_log_that_cannot_be_renamed_is_refused(bench, monkeypatch):
    bench.run(3, ends=False)
    spoil(bench.path, "scan")

    def read_only(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "rename", read_only)
    with pytest.raises(LogError, match=r"is damaged.*not be set aside: Read-only"):
        bench.opened()
    monkeypatch.setattr(opening, "LogLock", read_only)
    with pytest.raises(LogError, match="its folder is not writable"):
        bench.opened()


def test_a_sound_log_on_a_read_only_disk_gives_its_memory_and_ill_health(
    bench, monkeypatch
):
    """The bench stays cold, alarms, and answers; nobody has to restart it."""
    bench.run()

    def read_only(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(opening, "LogLock", read_only)
    monkeypatch.setattr("controller.adapters.season_log.keeper.LogLock", read_only)
    found = bench.opened()
    assert found.log.health() is LogHealth.FAILED
    assert sum(bench.heat(found.begun)) > 0
    monkeypatch.undo()
    found.log.close()


def test_a_disk_that_is_nearly_full_is_named(bench, monkeypatch):
    class Usage:
        free = 57_000_000

    monkeypatch.setattr(opening.shutil, "disk_usage", lambda _: Usage)
    found = bench.opened()
    found.log.close()
    assert found.notes[0].startswith("only 57 MB are free in ")

    def fails(_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(opening.shutil, "disk_usage", fails)
    again = bench.opened()
    again.log.close()
    assert again.notes == ()


def test_a_damaged_file_of_trips_refuses_the_start_and_says_what_to_do(
    bench, capsys, tmp_path
):
    """Which mats are locked off is not known: none may heat."""
    config = tmp_path / "bench.toml"
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    config.write_text(text.replace('"season.db"', f'"{bench.path}"'), encoding="utf-8")
    trips_beside(bench.path).write_text('{"north": ', encoding="utf-8")
    assert main(["run", "--config", str(config)]) == 2
    said = capsys.readouterr().err
    assert "season.trips.json is damaged" in said
    assert "look at every mat" in said
    assert not bench.path.exists()
