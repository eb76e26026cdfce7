"""Tables as CSV: RFC 4180, UTF-8, with a description of the columns beside it.

The description is a metadata document after "Metadata Vocabulary for Tabular
Data" (W3C Recommendation, 17 December 2015); its name is the table's with
"-metadata.json" behind it, where that standard looks first. What may live
here: how a cell is written.
"""

import csv
import json
from collections.abc import Callable, Mapping
from pathlib import Path

from controller.adapters.exchange.about import (
    LAYOUT,
    about_runs,
    bench_of,
    timezone_of,
    utc_text,
)
from controller.adapters.exchange.tidy import Cell, Column, Kind, Source
from controller.adapters.exchange.whole_file import check_free, whole_file

_DATATYPES: Mapping[Kind, str] = {
    "time": "dateTimeStamp",
    "text": "string",
    "whole": "integer",
    "thousandths": "decimal",
    "truth": "boolean",
}
"""XML Schema's types, by the names that the standard gives them."""


def metadata_beside(path: Path) -> Path:
    """Return where the description of a CSV file lies."""
    return path.with_name(path.name + "-metadata.json")


def write_csv(path: Path, source: Source, *, overwrite: bool = False) -> int:
    """Write a table and its description; return the number of rows.

    Raises:
        ExchangeError: A file is there already, or the disk does not take it.
    """
    beside = metadata_beside(path)
    check_free(path, overwrite=overwrite)
    check_free(beside, overwrite=overwrite)
    with whole_file(beside) as about, whole_file(path) as building:
        count = _write_rows(building, source)
        told = json.dumps(_metadata(path, source), ensure_ascii=False, indent=2)
        about.write_text(told + "\n", encoding="utf-8")
    return count


def _write_rows(path: Path, source: Source) -> int:
    columns = source.table.columns
    words = [_WORDS[column.kind] for column in columns]
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)  # its own defaults are RFC 4180's: CRLF and quotes
        writer.writerow([column.name for column in columns])
        for piece in source.rows:
            writer.writerows(
                [word(cell) for word, cell in zip(words, row, strict=True)]
                for row in piece
            )
            count += len(piece)
    return count


def _thousandths(cell: Cell) -> str:
    if cell is None:
        return ""
    number = int(cell)
    whole, rest = divmod(abs(number), 1000)
    return f"{'-' if number < 0 else ''}{whole}.{rest:03d}"


def _truth(cell: Cell) -> str:
    return "true" if cell else "false"


def _time(cell: Cell) -> str:
    return "" if cell is None else utc_text(int(cell))


def _plain(cell: Cell) -> str:
    return "" if cell is None else str(cell)


_WORDS: Mapping[Kind, Callable[[Cell], str]] = {
    "time": _time,
    "text": _plain,
    "whole": _plain,
    "thousandths": _thousandths,
    "truth": _truth,
}


def _metadata(path: Path, source: Source) -> dict[str, object]:
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": path.name,
        "dc:title": f"bottomheat, bench {bench_of(source)}: {source.table.name}",
        "dc:source": f"season log of bottomheat {source.version}",
        "dialect": {"encoding": "utf-8", "header": True, "lineTerminators": ["\r\n"]},
        "tableSchema": {"columns": [_column(one) for one in source.table.columns]},
        "notes": [
            {
                "layout": LAYOUT,
                "bench": bench_of(source),
                "timezone": timezone_of(source),
                "bottomheat": source.version,
                "runs": about_runs(source),
            }
        ],
    }


def _column(column: Column) -> dict[str, object]:
    unit = f" [{column.unit}]" if column.unit else ""
    return {
        "name": column.name,
        "titles": column.name,
        "datatype": _DATATYPES[column.kind],
        "required": column.always,
        "dc:description": column.about + unit,
    }
