"""The season log as a journal: one line for whatever a person may ask about.

An entry's id holds the number of its scan, its kind and its place, so that ids
grow in the order in which things were decided, and "what came after this" is
found without reading anything before it.
"""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from heapq import merge
from itertools import islice

from controller.adapters.season_log.rows import QUALITIES
from controller.ports import LogEntry
from controller.wire import decode_numbers, from_text

_PLACES = 1 << 16
_KINDS = 1 << 4


def entries(db: sqlite3.Connection, after: int, limit: int) -> list[LogEntry]:
    """Return at most limit entries with an id above after, oldest first."""
    streams = [_entries(db, code, after, limit) for code in range(len(_SELECT))]
    return list(islice(merge(*streams, key=lambda entry: entry.id), max(0, limit)))


def _entries(
    db: sqlite3.Connection, code: int, after: int, limit: int
) -> Iterator[LogEntry]:
    kind, select = list(_SELECT.items())[code]
    found = db.execute(select, {**_bounds(code, after), "limit": max(0, limit)})
    keys = [column[0] for column in found.description[4:]]
    for scan, place, utc_ms, subject, *cells in found:
        number = (scan * _KINDS + code) * _PLACES + place
        body = {key: _shown(key, cell) for key, cell in zip(keys, cells, strict=True)}
        yield LogEntry(number, utc_ms, kind, subject, body)


def _bounds(code: int, after: int) -> dict[str, int]:
    """Return scan and place after which entries of a kind have a higher id."""
    scan_and_kind, place = divmod(max(0, after), _PLACES)
    scan, kind = divmod(scan_and_kind, _KINDS)
    if code > kind:
        place = -1
    elif code < kind:
        place = _PLACES
    return {"scan": scan, "place": place}


def _shown(key: str, cell: object) -> object:
    convert = _CONVERT.get(key)
    return cell if convert is None or cell is None else convert(cell)


def _numbers(text: object) -> dict[str, float]:
    return dict(decode_numbers(from_text(str(text))))


def _quality(code: object) -> str:
    return QUALITIES[int(str(code))].value


_CONVERT: Mapping[str, Callable[[object], object]] = {
    "accepted": bool,
    "energised": bool,
    "retained": bool,
    "numbers": _numbers,
    "quality": _quality,
    "wish": lambda text: from_text(str(text)),
}
"""How a cell is shown, by its key; the others are as they stand."""


def _in_scans(table: str, subject: str, cells: str, *, only: str = "1") -> str:
    return (
        f"SELECT x.scan, x.n, t.utc_ms, {subject}, {cells}"  # noqa: S608
        f" FROM {table} x JOIN scan_time t ON t.scan = x.scan"
        f" WHERE (x.scan, x.n) > (:scan, :place) AND {only}"
        " ORDER BY x.scan, x.n LIMIT :limit"
    )


_MAT = "(SELECT name FROM name WHERE id = x.mat)"
_PROBE = "(SELECT name FROM name WHERE id = x.probe)"

_SELECT: Mapping[str, str] = {
    # Their order is the order within a scan: what came in, what was decided.
    "run": """
        SELECT id, 0, started_utc_ms, '', run, origin, timezone, decisions_version
        FROM run WHERE id > :scan OR (id = :scan AND 0 > :place)
        ORDER BY id LIMIT :limit""",
    "note": """
        SELECT x.scan, x.n, r.started_utc_ms, '', x.sentence
        FROM note x JOIN run r ON r.id = x.scan
        WHERE (x.scan, x.n) > (:scan, :place)
        ORDER BY x.scan, x.n LIMIT :limit""",
    "lost": """
        SELECT x.first, 0, coalesce(
            (SELECT utc_ms FROM scan_time WHERE scan > x.last
                ORDER BY scan LIMIT 1),
            (SELECT utc_ms FROM scan_time WHERE scan < x.first
                ORDER BY scan DESC LIMIT 1),
            0), '', x.last - x.first + 1 AS scans
        FROM lost x WHERE x.first > :scan OR (x.first = :scan AND 0 > :place)
        ORDER BY x.first LIMIT :limit""",
    "refusal": _in_scans("refusal", "x.source", "x.reason, x.raw"),
    # A relay that says it did as told is no news.
    "relay": _in_scans(
        "relay_report",
        _MAT,
        "x.energised, x.seq, x.reason, x.retained",
        only="x.reason IS NOT NULL",
    ),
    "request": _in_scans("request", "''", "x.request AS request_id, x.who, x.wish"),
    "doubt": _in_scans("doubt", _PROBE, "x.temp_mc, x.quality, x.why"),
    "alarm": _in_scans(
        "alarm_change", "x.subject", "x.kind AS alarm, x.turn, x.numbers, x.who"
    ),
    "answer": _in_scans(
        "answer", "''", "x.request AS request_id, x.accepted, x.sentence"
    ),
    "command": _in_scans("command", _MAT, "x.energised, x.cause, x.numbers"),
    "ending": """
        SELECT x.scan, 0, x.utc_ms, '',
            (SELECT run FROM run WHERE id <= x.scan ORDER BY id DESC LIMIT 1) AS run,
            x.cause
        FROM ending x WHERE x.scan > :scan OR (x.scan = :scan AND 0 > :place)
        ORDER BY x.scan LIMIT :limit""",
}
