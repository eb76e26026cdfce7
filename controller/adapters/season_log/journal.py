"""The season log as a journal: one line for whatever a person may ask about.

An entry's id holds the number of its scan, its kind and its place, so that ids
grow in the order in which things were decided, and "what came after this" is
found without reading anything before it.
"""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from heapq import merge
from itertools import islice

from controller.adapters.season_log.folding import record_of
from controller.adapters.season_log.rows import QUALITIES
from controller.adapters.season_log.sampling import Proofs
from controller.adapters.season_log.segments import (
    blocks,
    folded_row,
    names,
    prove_kept,
    prove_rows,
    utc_beside,
    utc_in,
)
from controller.adapters.season_log.wholeness import newest_number
from controller.ports import LogEntry
from controller.wire import decode_numbers, from_text

_PLACES = 1 << 16
_KINDS = 1 << 4
_END = 2**62


def entries(
    db: sqlite3.Connection, proofs: Proofs, after: int, limit: int
) -> list[LogEntry]:
    """Return at most limit entries with an id above after, oldest first."""
    _prove_small_tables(db)
    streams = [_entries(db, code, after, limit) for code in range(len(_SELECT))]
    listed = list(islice(merge(*streams, key=lambda line: line.id), max(0, limit)))
    newest = newest_number(db)
    last = _scan_of(listed[-1].id) if listed and len(listed) == limit else newest
    if limit > 0:
        _prove_stretch(db, proofs, max(1, _scan_of(after)), min(last, newest))
    return listed


def _prove_small_tables(db: sqlite3.Connection) -> None:
    for table in ("name", "run", "note", "ending", "lost", "clock", "block"):
        prove_rows(db, table)


def _prove_stretch(
    db: sqlite3.Connection, proofs: Proofs, first: int, last: int
) -> None:
    """Prove what is told about scans: an entry that is missing is noticed."""
    (oldest,) = db.execute("SELECT min(id) FROM run").fetchone()
    at = first if oldest is None else max(first, oldest)
    for block in blocks(db, at, last):
        if at < block.first:
            proofs.prove(db, at, block.first - 1)
        prove_kept(db, block)
        at = block.last + 1
    if at <= last:
        proofs.prove(db, at, last)


def _scan_of(entry: int) -> int:
    return max(0, entry) // (_PLACES * _KINDS)


def _entries(
    db: sqlite3.Connection, code: int, after: int, limit: int
) -> Iterator[LogEntry]:
    kind, select = list(_SELECT.items())[code]
    bounds = _bounds(code, after)
    if kind in _FOLDED:
        yield from _folded_entries(db, code, kind, bounds)
    found = db.execute(select, {**bounds, "limit": max(0, limit)})
    keys = [column[0] for column in found.description[4:]]
    for scan, place, at_ms, subject, *cells in found:
        told = {key: _shown(key, cell) for key, cell in zip(keys, cells, strict=True)}
        lost = kind == "lost"
        utc_ms = utc_beside(db, scan, scan + cells[0] - 1) if lost else at_ms
        yield LogEntry(_id(scan, code, place), utc_ms, kind, subject, told)


def _id(scan: int, code: int, place: int) -> int:
    return (scan * _KINDS + code) * _PLACES + place


def _folded_entries(
    db: sqlite3.Connection, code: int, kind: str, bounds: Mapping[str, int]
) -> Iterator[LogEntry]:
    """Yield the entries of a kind that are in blocks, oldest first."""
    table, subject, keys = _FOLDED[kind]
    named = names(db)
    for block in blocks(db, bounds["scan"], _END):
        if table not in block.news:
            continue
        utc_of = utc_in(db, block)
        _, body = folded_row(db, block)
        for scan, n, *cells in record_of(block.first, body).rows[table]:
            told = dict(zip(keys, cells, strict=True))
            if (scan, n) > (bounds["scan"], bounds["place"]) and _is_news(kind, told):
                shown = {k: _shown(k, told[k]) for k in keys if k in _COLUMNS[kind]}
                about = told[subject]
                about = str(about) if subject == "source" else named[about]
                number = _id(scan, code, n)
                yield LogEntry(number, utc_of(scan), kind, about, shown)


def _is_news(kind: str, told: Mapping[str, object]) -> bool:
    """Whether it is: a relay that says it did as told is none."""
    return kind != "relay" or told["reason"] is not None


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
        f" FROM {table} x NOT INDEXED JOIN scan_time t ON t.scan = x.scan"
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
        SELECT x.first, 0, 0, '', x.last - x.first + 1 AS scans
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

_FOLDED: Mapping[str, tuple[str, str, tuple[str, ...]]] = {
    "refusal": ("refusal", "source", ("source", "age_ms", "reason", "raw")),
    "relay": (
        "relay_report",
        "mat",
        ("mat", "age_ms", "energised", "seq", "reason", "retained"),
    ),
    "doubt": (
        "doubt",
        "probe",
        ("probe", "age_ms", "temp_mc", "quality", "why", "reading"),
    ),
    "command": ("command", "mat", ("mat", "energised", "cause", "numbers")),
}
"""Kinds that are folded: their table, whom they are about, their cells after n."""

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "refusal": ("reason", "raw"),
    "relay": ("energised", "seq", "reason", "retained"),
    "doubt": ("temp_mc", "quality", "why"),
    "command": ("energised", "cause", "numbers"),
}
"""Which of them an entry shows."""
