"""The target that reads season logs.

A season log that was altered is an error that names it, or is read as what it
now says: no other exception, no mat that starts warm, and a writer that either
refuses it or writes on.
"""

import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from itertools import islice
from pathlib import Path
from random import Random

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogError,
    SeasonLogReader,
    SeasonLogWriter,
)
from controller.cli.beginning import beginning
from controller.core.state import Mode
from controller.core.step import DECISIONS_VERSION, step
from controller.review.audit import audit
from tests.campaigns.fuzzing.folders import a_folder
from tests.campaigns.fuzzing.messages import NOW
from tests.campaigns.fuzzing.mutator import Mutator
from tests.campaigns.fuzzing.seasons import TRIPS, header, plan, taken, written
from tests.campaigns.fuzzing.target import Target

Edit = tuple[str, int, bytes]
"""Where ("put", "cut" or a table's column), which byte or row, and what."""

Altered = tuple[str, str, list[Edit]]
"""Which season, what is done with it, and how it was altered."""


def _altered(rng: Random) -> Altered:
    season = rng.choice(("closed", "crashed"))
    edits = [_edit(rng, season) for _ in range(rng.choice((1, 1, 1, 2, 5)))]
    return season, rng.choice(list(_USES)), edits


def _edit(rng: Random, season: str) -> Edit:
    size = sum(len(content) for content in written(season).values())
    match rng.randrange(8):
        case 0:
            return "cut", rng.randrange(size), b""
        case 1 | 2:  # what SQLite keeps at the start of files and of pages
            return (
                "put",
                rng.randrange(size // 4096) * 4096 + rng.randrange(100),
                (rng.randbytes(rng.choice((1, 1, 2, 4)))),
            )
        case 3 | 4:
            length = rng.choice((1, 1, 2, 8, 100, 4096))
            return "put", rng.randrange(size), rng.randbytes(length)
    column = rng.choice(_COLUMNS)
    return column, rng.randrange(1_000), rng.choice((_number, _text))(rng)


def _number(rng: Random) -> bytes:
    return rng.choice(_INTEGERS)


def _text(rng: Random) -> bytes:
    seeds = (b'[["root_mc",20000.0]]', b'{"kind":"hold","mat":"north","for_ms":1}')
    return Mutator(seeds, (b"north", b"n1", b"tripped", b"version")).made(rng)


_INTEGERS = (
    *(b"0", b"-1", b"1", b"2", b"7", b"4096", b"1800000000000", b"2305843009213693951"),
    *(b"-9223372036854775808", b"9223372036854775807"),
)
_COLUMNS = (
    *("run.plan", "run.state", "run.versions", "run.id", "run.started_run_ms"),
    *("run.run", "run.decisions_version", "run.timezone", "name.name", "name.id"),
    *("clock.scan", "clock.run_ms", "clock.utc_ms", "clock.every_ms"),
    *("clock.zone_min", "clock.clock_ok", "scan.id", "scan.late_ms", "scan.skew_ms"),
    *("reading.id", "reading.probe", "reading.age_ms", "reading.milli"),
    *("reading.quality", "remark.reading", "refusal.scan", "refusal.age_ms"),
    *("relay_report.mat", "relay_report.age_ms", "relay_report.seq"),
    *("relay_report.reason", "power_report.power_mw", "power_report.mat"),
    *("request.request", "request.wish", "command.mat", "command.cause"),
    *("command.numbers", "command.scan", "command.energised", "doubt.why"),
    *("doubt.quality", "doubt.temp_mc", "doubt.reading", "alarm_change.kind"),
    *("alarm_change.turn", "alarm_change.numbers", "answer.sentence", "lost.last"),
    *("snapshot.scan", "snapshot.state", "meta.value", "meta.key"),
)


def check_season_log(given: Altered) -> bool:
    """An altered season log is an error that names it, or is read as it is."""
    season, use, edits = given
    with a_folder() as folder:
        path = folder / "season.db"
        _lay(path, season, edits)
        try:
            _USES[use](path)
        except LogError as error:
            assert str(path) in str(error)
            return False
    return True


def _lay(path: Path, season: str, edits: list[Edit]) -> None:
    files = {name: bytearray(content) for name, content in written(season).items()}
    for where, at, what in edits:
        if where in {"put", "cut"}:
            _spoil(files, where, at, what)
    for name, content in files.items():
        path.with_name(path.name + name).write_bytes(content)
    for where, row, what in edits:
        if where not in {"put", "cut"}:
            _update(path, where, row, what)


def _spoil(files: dict[str, bytearray], where: str, at: int, what: bytes) -> None:
    for content in files.values():
        if at < len(content):
            if where == "cut":
                del content[at:]
            else:
                content[at : at + len(what)] = what
            return
        at -= len(content)


def _update(path: Path, column: str, row: int, what: bytes) -> None:
    """Write a cell as a person with a SQLite shell could."""
    table, cell = column.split(".")
    value: object = what.decode("utf-8", "replace")
    if cell == "state" and table == "snapshot":
        value = what
    try:
        with closing(sqlite3.connect(path)) as db, db:
            rows = f"SELECT * FROM {table}"  # noqa: S608
            found = db.execute(f"{rows} LIMIT 1 OFFSET ?", (row % 40,))
            keys = [key[0] for key in found.description]
            known = found.fetchone()
            if known is not None:
                where = " AND ".join(f"{key} IS ?" for key in keys)
                order = f"UPDATE {table} SET {cell} = ? WHERE {where}"  # noqa: S608
                db.execute(order, (value, *known))
    except (sqlite3.Error, OverflowError, UnicodeDecodeError):
        return  # a table that refuses it, or a file that was spoiled before


def _read(path: Path) -> None:
    reader = SeasonLogReader(path)
    for one in reader.runs():
        for _ in islice(reader.scans(one.run), 2_000):
            pass
        reader.last_state(one.run)
        reader.last_seq(one.run)
    after = 0
    while entries := reader.journal(after, 50):
        assert entries[-1].id > after
        after = entries[-1].id
    for probe in ("n1", "n2", "stranger"):
        columns = reader.samples(probe, 0, 2**60)
        assert len(columns.utc_ms) == len(columns.temp_mc)


def _go_on(path: Path) -> None:
    begun = beginning(path, plan(), NOW, TRIPS)
    for mat in begun.state.mats.values():
        assert not mat.relay.energised
        assert mat.mode is (Mode.STARTING if mat.trip is None else Mode.TRIPPED)
    state = begun.state
    for scan, _, _ in taken()[:3]:
        state, _ = step(plan(), state, scan)


def _audit(path: Path) -> None:
    reader = SeasonLogReader(path)
    for one in reader.runs():
        audit(one, reader.scans(one.run), step, DECISIONS_VERSION)


def _write_directly(path: Path) -> None:
    log = DirectSeasonLog(path)
    log.begin(header("another"))
    for one in taken()[:3]:
        log.append(*one)
    log.close()


def _write(path: Path) -> None:
    others = set(threading.enumerate())
    log = SeasonLogWriter(path, retry_s=0.01, patience_s=5.0)
    try:
        log.begin(header("another"))
        for one in taken()[:3]:
            log.append(*one)
    finally:
        log.close()
    assert "has ended" not in log.trouble
    left = [one.name for one in threading.enumerate() if one not in others]
    assert "season-log" not in left


_USES: dict[str, Callable[[Path], None]] = {
    "read": _read,
    "go on": _go_on,
    "audit": _audit,
    "write directly": _write_directly,
    "write": _write,
}


TARGETS = (Target("season-log", 10, _altered, check_season_log),)
