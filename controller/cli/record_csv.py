"""Records as CSV (RFC 4180), out of a season log.

Columns are named as the API's keys are, those within an object with the object's
name before them; times are UTC; an empty cell means "not told". What may live here:
cells and columns.
"""

import csv
from collections.abc import Iterator, Mapping
from pathlib import Path

from api.batch_bodies import BatchBody, CloseBody, LookBody, MoveBody
from api.plant_bodies import StageBody
from api.record_bodies import Body, EventBody
from api.record_values import as_body
from controller.adapters.exchange.whole_file import check_free, whole_file
from controller.adapters.season_log import SeasonLogReader
from controller.records.book import Book, batches, events, fold
from controller.records.changes import Value

_Row = dict[str, object]


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
            ["code", *columns_of(BatchBody)],
            [{"code": file.code, **_flat(file.batch)} for file in files],
        ),
        "looks.csv": (
            ["batch", "id", *columns_of(LookBody)],
            [
                {"batch": file.code, "id": number, **_flat(look)}
                for file in files
                for number, look in file.looks
            ],
        ),
        "moves.csv": (
            ["batch", "id", *columns_of(MoveBody)],
            [
                {"batch": file.code, "id": number, **_flat(move)}
                for file in files
                for number, move in file.moves
            ],
        ),
        "plants.csv": (
            ["batch", "id", *columns_of(StageBody)],
            [
                {"batch": file.code, "id": number, **_flat(stage)}
                for file in files
                for number, stage in file.stages
            ],
        ),
        "ends.csv": (
            ["batch", *columns_of(CloseBody)],
            [
                {"batch": file.code, **_flat(file.closing)}
                for file in files
                if file.closing is not None
            ],
        ),
        "events.csv": (
            ["id", *columns_of(EventBody)],
            [{"id": number, **_flat(event)} for number, event in events(book)],
        ),
    }


def columns_of(shape: type[Body]) -> list[str]:
    """Return the columns of a body: its keys, objects with each of theirs."""
    schema = shape.model_json_schema()
    return list(_keys(schema, mapping(schema.get("$defs"))))


def _keys(schema: Mapping[str, object], known: Mapping[str, object]) -> Iterator[str]:
    for key, about in mapping(schema.get("properties")).items():
        inner = _object_of(mapping(about), known)
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
        name = str(mapping(one).get("$ref", "")).rpartition("/")[2]
        found = mapping(known.get(name))
        if "properties" in found:
            return found
    return {}


def mapping(value: object) -> Mapping[str, object]:
    """Return a JSON object as it is, and anything else as an empty one."""
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
