"""Rows of the season log back into scans and decisions."""

import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import NamedTuple, TypeVar

from controller.adapters.season_log.clock import Moment, Stretch, moment
from controller.adapters.season_log.rows import COMMANDED, QUALITIES
from controller.adapters.season_log.schema import READINGS_PER_SCAN
from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Answer,
    Cause,
    Command,
    Decisions,
    Doubt,
    Doubted,
)
from controller.core.scan import (
    LogHealth,
    PowerReport,
    Reading,
    Refusal,
    RelayReport,
    Request,
    Scan,
)
from controller.core.units import Millis, UtcMillis
from controller.ports import RecordedScan
from controller.wire import decode_numbers, decode_wish, from_text

T = TypeVar("T")

_NOTHING = Decisions(commands=())


class Part(NamedTuple):
    """Some neighbouring scans of one run.

    Attributes:
        db: The log.
        first: Number of the first scan.
        last: Number of the last scan.
        stretches: By number of the scan: the stretch it lies in.
        moments: By number of the scan: its times.
        names: Of probes and mats, by their numbers.
    """

    db: sqlite3.Connection
    first: int
    last: int
    stretches: dict[int, Stretch]
    moments: dict[int, Moment]
    names: dict[int, str]


def next_part(
    db: sqlite3.Connection, run_id: int, after: int, last: int, most: int
) -> Part | None:
    """Return the part after a scan, at most so many scans; None: no more.

    Raises:
        LookupError: A scan lies in no stretch of its run.
    """
    scans = db.execute(
        "SELECT id, late_ms, skew_ms FROM scan WHERE id > ? AND id <= ?"
        " ORDER BY id LIMIT ?",
        (after, last, most),
    ).fetchall()
    if not scans:
        return None
    first, last = scans[0][0], scans[-1][0]
    names = dict(db.execute("SELECT id, name FROM name"))
    part = Part(db, first, last, {}, {}, names)
    coming = _stretches(db, run_id, first, last)
    stretch = coming.pop()
    for scan_id, late_ms, skew_ms in scans:
        while coming and coming[-1].scan <= scan_id:
            stretch = coming.pop()
        part.stretches[scan_id] = stretch
        part.moments[scan_id] = moment(stretch, scan_id, late_ms, skew_ms)
    return part


def _stretches(
    db: sqlite3.Connection, run_id: int, first: int, last: int
) -> list[Stretch]:
    """Return the stretches of some scans, the last one first."""
    rows = db.execute(
        "SELECT * FROM clock WHERE scan <= :last AND scan >= (SELECT max(scan)"
        " FROM clock WHERE scan > :run AND scan <= :first) ORDER BY scan DESC",
        {"run": run_id, "first": first, "last": last},
    )
    return [Stretch(*row) for row in rows]


def assembled(part: Part, run_id: int) -> Iterator[RecordedScan]:
    """Yield the scans of a part, in order.

    Raises:
        LookupError: A row belongs to no scan, or names nothing that is known.
        ValueError: A row holds a word or a number that means nothing.
    """
    readings = _grouped(_readings(part))
    refusals = _grouped(_refusals(part))
    reports = _grouped(_relay_reports(part))
    powers = _grouped(_power_reports(part))
    requests = _grouped(_requests(part))
    commands = _grouped(_commands(part))
    findings = _findings(part)
    for scan_id, when in part.moments.items():
        stretch = part.stretches[scan_id]
        scan = Scan(
            seq=scan_id - run_id,
            run_ms=Millis(when.run_ms),
            utc_ms=UtcMillis(when.utc_ms),
            clock_ok=bool(stretch.clock_ok),
            local_day=when.local_day,
            local_minute=when.local_minute,
            readings=readings.get(scan_id, ()),
            refusals=refusals.get(scan_id, ()),
            relay_reports=reports.get(scan_id, ()),
            power_reports=powers.get(scan_id, ()),
            link_up=bool(stretch.link_up),
            log_health=LogHealth.OK if stretch.log_ok else LogHealth.FAILED,
            requests=requests.get(scan_id, ()),
        )
        found = findings.get(scan_id, _NOTHING)
        yield RecordedScan(scan, commands.get(scan_id, ()), found)


def _grouped(pairs: Iterable[tuple[int, T]]) -> dict[int, tuple[T, ...]]:
    groups: dict[int, list[T]] = defaultdict(list)
    for scan_id, item in pairs:
        groups[scan_id].append(item)
    return {scan_id: tuple(items) for scan_id, items in groups.items()}


def _rows(part: Part, table: str, cells: str) -> sqlite3.Cursor:
    """Return rows of a table: the number of the scan, its run time, the cells."""
    return part.db.execute(
        f"SELECT scan, {cells} FROM {table}"  # noqa: S608
        " WHERE scan >= ? AND scan <= ? ORDER BY scan, n",
        (part.first, part.last),
    )


def _at(part: Part, scan_id: int, age_ms: int) -> Millis:
    return Millis(part.moments[scan_id].run_ms - age_ms)


def _readings(part: Part) -> Iterator[tuple[int, Reading]]:
    bounds = (part.first * READINGS_PER_SCAN, (part.last + 1) * READINGS_PER_SCAN)
    notes: dict[int, str] = dict(
        part.db.execute(
            "SELECT reading, note FROM remark WHERE reading >= ? AND reading < ?"
            " ORDER BY reading",
            bounds,
        )
    )
    names, moments = part.names, part.moments
    for key, probe, age_ms, milli, code in part.db.execute(
        "SELECT * FROM reading WHERE id >= ? AND id < ? ORDER BY id", bounds
    ):
        scan_id = key // READINGS_PER_SCAN
        at_ms = Millis(moments[scan_id].run_ms - age_ms)
        note = notes.get(key, "") if notes else ""
        yield scan_id, Reading(names[probe], at_ms, milli, QUALITIES[code], note)


def _refusals(part: Part) -> Iterator[tuple[int, Refusal]]:
    cells = "source, age_ms, reason, raw"
    for scan_id, source, age_ms, reason, raw in _rows(part, "refusal", cells):
        at_ms = _at(part, scan_id, age_ms)
        yield scan_id, Refusal(source, at_ms, reason, raw)


def _relay_reports(part: Part) -> Iterator[tuple[int, RelayReport]]:
    cells = "mat, age_ms, energised, seq, reason, retained"
    for scan_id, mat, age_ms, on, seq, said, kept in _rows(part, "relay_report", cells):
        at_ms = _at(part, scan_id, age_ms)
        reason = COMMANDED if said is None else said
        name = part.names[mat]
        yield scan_id, RelayReport(name, at_ms, bool(on), seq, reason, bool(kept))


def _power_reports(part: Part) -> Iterator[tuple[int, PowerReport]]:
    cells = "mat, age_ms, power_mw"
    for scan_id, mat, age_ms, power_mw in _rows(part, "power_report", cells):
        at_ms = _at(part, scan_id, age_ms)
        yield scan_id, PowerReport(part.names[mat], at_ms, power_mw)


def _requests(part: Part) -> Iterator[tuple[int, Request]]:
    for scan_id, number, who, wish in _rows(part, "request", "request, who, wish"):
        yield scan_id, Request(number, who, decode_wish(from_text(wish)))


def _commands(part: Part) -> Iterator[tuple[int, Command]]:
    cells = "mat, energised, cause, numbers"
    for scan_id, mat, on, cause, numbers in _rows(part, "command", cells):
        decided = decode_numbers(from_text(numbers))
        yield scan_id, Command(part.names[mat], bool(on), Cause(cause), decided)


def _findings(part: Part) -> dict[int, Decisions]:
    """Return what was decided apart from commands, where there is something."""
    doubts = _grouped(_doubts(part))
    changes = _grouped(_alarm_changes(part))
    answers = _grouped(_answers(part))
    return {
        scan_id: Decisions(
            commands=(),
            doubts=doubts.get(scan_id, ()),
            alarm_changes=changes.get(scan_id, ()),
            answers=answers.get(scan_id, ()),
        )
        for scan_id in {*doubts, *changes, *answers}
    }


def _doubts(part: Part) -> Iterator[tuple[int, Doubt]]:
    cells = "probe, age_ms, temp_mc, quality, why"
    for scan_id, probe, age_ms, temp_mc, code, why in _rows(part, "doubt", cells):
        at_ms, quality = _at(part, scan_id, age_ms), QUALITIES[code]
        name = part.names[probe]
        yield scan_id, Doubt(name, at_ms, temp_mc, quality, Doubted(why))


def _alarm_changes(part: Part) -> Iterator[tuple[int, AlarmChange]]:
    cells = "kind, subject, turn, numbers, who"
    for scan_id, kind, subject, turn, numbers, who in _rows(
        part, "alarm_change", cells
    ):
        decided = decode_numbers(from_text(numbers))
        yield (
            scan_id,
            AlarmChange(AlarmKind(kind), subject, AlarmTurn(turn), decided, who),
        )


def _answers(part: Part) -> Iterator[tuple[int, Answer]]:
    cells = "request, accepted, sentence"
    for scan_id, number, accepted, sentence in _rows(part, "answer", cells):
        yield scan_id, Answer(number, bool(accepted), sentence)
