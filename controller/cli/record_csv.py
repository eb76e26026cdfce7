"""Records as CSV (RFC 4180), out of a season log, and batches in again.

Columns are named as the API's keys are, those within an object with the object's
name before them; times are UTC; an empty cell means "not told". What may live here:
cells and columns.
"""

import argparse
import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from api.batch_bodies import MOST_BATCHES, BatchBody, CloseBody, LookBody, MoveBody
from api.bodies import LARGEST_BODY
from api.plant_bodies import StageBody
from api.record_bodies import Body, EventBody
from api.record_values import as_body
from controller.adapters.exchange import ExchangeError
from controller.adapters.exchange.whole_file import check_free, whole_file
from controller.adapters.season_log import SeasonLogReader
from controller.cli.asking import Json, ask
from controller.cli.over_http import AskError
from controller.cli.record_words import at_said
from controller.records.book import Book, batches, events, fold
from controller.records.changes import Value

_Row = dict[str, object]

_WHOLE = ("count", "wanted", "sentinels", "nodes", "nodes_below", "wounds_sides")
_DECIMAL = (
    *("length_mm", "thickness_mm", "base_depth_mm", "wounds_length_mm"),
    *("hormone_ppm", "hormone_seconds", "wrap_down_mm", "base_c", "upper_c"),
)
_TRUTH = ("withdrawn",)
_OBJECTS = ("wounds", "hormone", "wrap")
_LARGEST = 4 * 1024 * 1024


class FileRefusedError(Exception):
    """A file was refused as a whole.

    Attributes:
        lines: What is wrong, line by line.
    """

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("; ".join(lines))
        self.lines = tuple(lines)


# ------------------------------------------------------------------------------ out


def export(log: Path, folder: Path, *, overwrite: bool = False) -> dict[str, int]:
    """Write all records of a log into a folder; return the rows of each file.

    What was told by mistake is not among them.

    Raises:
        LogError: The log cannot be read.
        ExchangeError: A file is there already, or the disk does not take it.
    """
    book = fold(Book(), SeasonLogReader(log).changes())
    folder.mkdir(parents=True, exist_ok=True)
    tables = _tables(book)
    for name in tables:
        check_free(folder / name, overwrite=overwrite)
    for name, (columns, rows) in tables.items():
        with (
            whole_file(folder / name) as building,
            building.open("w", encoding="utf-8", newline="") as file,
        ):
            writer = csv.DictWriter(file, columns)  # CRLF and quotes as in RFC 4180
            writer.writeheader()
            writer.writerows(rows)
    return {name: len(rows) for name, (_, rows) in tables.items()}


def _tables(book: Book) -> dict[str, tuple[list[str], list[_Row]]]:
    files = batches(book)
    return {
        "batches.csv": (
            ["code", *_columns(BatchBody)],
            [{"code": file.code, **_flat(file.batch)} for file in files],
        ),
        "looks.csv": (
            ["batch", "id", *_columns(LookBody)],
            [
                {"batch": file.code, "id": number, **_flat(look)}
                for file in files
                for number, look in file.looks
            ],
        ),
        "moves.csv": (
            ["batch", "id", *_columns(MoveBody)],
            [
                {"batch": file.code, "id": number, **_flat(move)}
                for file in files
                for number, move in file.moves
            ],
        ),
        "plants.csv": (
            ["batch", "id", *_columns(StageBody)],
            [
                {"batch": file.code, "id": number, **_flat(stage)}
                for file in files
                for number, stage in file.stages
            ],
        ),
        "ends.csv": (
            ["batch", *_columns(CloseBody)],
            [
                {"batch": file.code, **_flat(file.closing)}
                for file in files
                if file.closing is not None
            ],
        ),
        "events.csv": (
            ["id", *_columns(EventBody)],
            [{"id": number, **_flat(event)} for number, event in events(book)],
        ),
    }


def _columns(shape: type[Body]) -> list[str]:
    """Return the columns of a body: its keys, objects with each of theirs."""
    schema = shape.model_json_schema()
    return list(_keys(schema, _mapping(schema.get("$defs"))))


def _keys(schema: Mapping[str, object], known: Mapping[str, object]) -> Iterator[str]:
    for key, about in _mapping(schema.get("properties")).items():
        inner = _object_of(_mapping(about), known)
        if inner:
            yield from (f"{key}_{one}" for one in _keys(inner, known))
        else:
            yield key


def _object_of(
    about: Mapping[str, object], known: Mapping[str, object]
) -> Mapping[str, object]:
    """Return the schema of the object that a key may hold, if it is one."""
    options = about.get("anyOf")
    for one in [about, *(options if isinstance(options, list) else [])]:
        name = str(_mapping(one).get("$ref", "")).rpartition("/")[2]
        found = _mapping(known.get(name))
        if "properties" in found:
            return found
    return {}


def _mapping(value: object) -> Mapping[str, object]:
    return value if isinstance(value, dict) else {}


def _flat(value: Value) -> _Row:
    found: _Row = {}
    for key, cell in as_body(value).items():
        if isinstance(cell, dict):
            found |= {f"{key}_{inner}": one for inner, one in cell.items()}
        elif isinstance(cell, list):
            found[key] = " ".join(map(str, cell))
        else:
            found[key] = _cell(cell)
    known = {key: cell for key, cell in found.items() if cell is not None}
    # An object that was not told has no cells of its own, and no column either.
    return {key: cell for key, cell in known.items() if cell != ""}


def _cell(value: object) -> object:
    return ("true" if value else "false") if isinstance(value, bool) else value


# ------------------------------------------------------------------------------- in


def taken(args: argparse.Namespace, path: Path) -> list[str]:
    """Tell the bench of all batches of a file, or of none; return their codes.

    Raises:
        FileRefusedError: Something is wrong with it; nothing was taken.
        AskError: The bench cannot be asked.
    """
    rows = _read(path)
    bodies, wrong = [], []
    for line, row in rows:
        try:
            bodies.append(_body(args, row))
        except ValueError as error:
            wrong.append(f"line {line}: {error}")
    if wrong:
        raise FileRefusedError(wrong)
    whole = {"batches": bodies}
    if len(json.dumps(whole)) > LARGEST_BODY:
        raise FileRefusedError([f"makes more than {LARGEST_BODY} bytes: split it"])
    try:
        found = ask(args, "POST", "/v1/batches/import", whole)
    except AskError as error:
        if not error.faults:
            raise
        lines = [_fault_line(rows, where, what) for where, what in error.faults]
        raise FileRefusedError(lines) from None
    listed = found.get("batches")
    return [
        str(_mapping(one).get("code"))
        for one in (listed if isinstance(listed, list) else ())
    ]


def _read(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Return the rows of a file with the numbers of their lines."""
    known = ["code", *_columns(BatchBody)]
    try:
        if path.stat().st_size > _LARGEST:
            raise FileRefusedError([f"is larger than {_LARGEST} bytes"])
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            head = [name.strip() for name in next(reader, [])]
            _check_head(head, known)
            rows = [(reader.line_num, row) for row in reader if any(row)]
    except UnicodeDecodeError as error:
        raise FileRefusedError([f"is not UTF-8 at byte {error.start}"]) from None
    except csv.Error as error:
        raise FileRefusedError([f"is no CSV as in RFC 4180: {error}"]) from None
    odd = [
        f"line {line}: has {len(row)} cells, and the head has {len(head)}"
        for line, row in rows
        if len(row) != len(head)
    ]
    if odd or not rows:
        raise FileRefusedError(odd or ["has a head and no rows"])
    if len(rows) > MOST_BATCHES:
        most = f"at most {MOST_BATCHES} come at once: split it"
        raise FileRefusedError([f"has {len(rows)} rows; {most}"])
    return [(line, dict(zip(head, row, strict=True))) for line, row in rows]


def _check_head(head: list[str], known: list[str]) -> None:
    wrong = [
        f"line 1: {name!r} is no column; there are: {', '.join(known)}"
        for name in head
        if name not in known
    ]
    wrong += [
        f"line 1: the column {name} is missing"
        for name in ("crop", "kind")
        if name not in head
    ]
    if len(set(head)) < len(head):
        wrong.append("line 1: a column is there twice")
    if wrong:
        raise FileRefusedError(wrong)


def _body(args: argparse.Namespace, row: Mapping[str, str]) -> Json:
    body: Json = {}
    for column, text in row.items():
        if not text.strip():
            continue
        value = _value(args, column, text.strip())
        outer, _, inner = column.partition("_")
        if outer in _OBJECTS and inner:
            within = body.setdefault(outer, {})
            if isinstance(within, dict):
                within[inner] = value
        else:
            body[column] = value
    return body


def _value(args: argparse.Namespace, column: str, text: str) -> object:
    """Return what a cell holds; raise ValueError with words if it cannot."""
    if column in _WHOLE:
        return _number(column, text, int, "a whole number such as 24")
    if column in _DECIMAL:
        return _number(column, text, float, "a number such as 8.5")
    if column in _TRUTH:
        if text not in ("true", "false"):
            raise ValueError(f"{column}: found {text!r}: write true or false")
        return text == "true"
    if column != "stuck_at":
        return text
    try:
        return at_said(args, column, text)
    except ExchangeError as error:
        raise ValueError(str(error)) from None


def _number(
    column: str, text: str, read: type[int] | type[float], right: str
) -> int | float:
    try:
        return read(text)
    except ValueError:
        raise ValueError(f"{column}: found {text!r}: write {right}") from None


def _fault_line(rows: list[tuple[int, dict[str, str]]], where: str, what: str) -> str:
    """Return a fault of the API's with the line and column that it is about."""
    parts = where.lstrip("#/").split("/")
    if len(parts) < 2 or not parts[1].isdecimal() or int(parts[1]) >= len(rows):  # noqa: PLR2004
        return f"{where}: {what}"
    line, row = rows[int(parts[1])]
    column = "_".join(parts[2:])
    found = f"found {row[column]!r}: " if row.get(column) else ""
    return f"line {line}: {column}: {found}{what}"
