"""A table of records in a CSV file (RFC 4180), as rows of bodies for the API.

Every cell is held to what its column takes before the bench is asked, and whatever is
wrong is told with its line, its column, what was found and what would be right. What
may live here: reading and checking. What is asked stands in record_import.
"""

import argparse
import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.exchange import ExchangeError
from controller.cli.asking import Json
from controller.cli.record_words import at_said

LARGEST = 4 * 1024 * 1024


class FileRefusedError(Exception):
    """A file was refused as a whole.

    Attributes:
        lines: What is wrong, line by line.
    """

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("; ".join(lines))
        self.lines = tuple(lines)


@dataclass(frozen=True, slots=True)
class Columns:
    """What a table may hold.

    Attributes:
        known: Every column that may be there.
        needed: Those that must be.
        whole: Those with a whole number.
        decimal: Those with a number.
        truth: Those with true or false.
        times: Those with a time.
        objects: What stands before an underscore where a column is within one.
        passed_over: Those that are not told.
        most: So many rows come at once.
    """

    known: tuple[str, ...]
    needed: tuple[str, ...]
    whole: tuple[str, ...]
    decimal: tuple[str, ...]
    truth: tuple[str, ...]
    times: tuple[str, ...]
    objects: tuple[str, ...]
    passed_over: tuple[str, ...] = ()
    most: int = 1


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the number of its last line, and its cells by column."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands in a file: its head, and each row with the number of its line."""

    head: list[str]
    rows: list[tuple[int, list[str]]]


def rows_of(sheet: Sheet, columns: Columns) -> list[Row]:
    """Return the rows of a table.

    Raises:
        FileRefusedError: It is no such table.
    """
    head, rows = sheet.head, sheet.rows
    _check_head(head, columns)
    odd = [
        f"line {line}: has {len(row)} cells, and the head has {len(head)}"
        for line, row in rows
        if len(row) != len(head)
    ]
    if odd or not rows:
        raise FileRefusedError(odd or ["has a head and no rows"])
    if len(rows) > columns.most:
        most = f"at most {columns.most} come at once: split it"
        raise FileRefusedError([f"has {len(rows)} rows; {most}"])
    return [Row(line, dict(zip(head, row, strict=True))) for line, row in rows]


def sheet_of(path: Path) -> Sheet:
    """Return what stands in a file.

    Raises:
        FileRefusedError: It is no CSV, or too large.
        OSError: It cannot be read.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise FileRefusedError([f"is larger than {LARGEST} bytes"])
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            head = [name.strip() for name in next(reader, [])]
            rows = [(reader.line_num, row) for row in reader if any(row)]
    except UnicodeDecodeError as error:
        raise FileRefusedError([f"is not UTF-8 at byte {error.start}"]) from None
    except csv.Error as error:
        raise FileRefusedError([f"is no CSV as in RFC 4180: {error}"]) from None
    return Sheet(head, rows)


def _check_head(head: list[str], columns: Columns) -> None:
    wrong = [
        f"line 1: {name!r} is no column; there are: {', '.join(columns.known)}"
        for name in head
        if name not in columns.known
    ]
    wrong += [
        f"line 1: the column {name} is missing"
        for name in columns.needed
        if name not in head
    ]
    if len(set(head)) < len(head):
        wrong.append("line 1: a column is there twice")
    if wrong:
        raise FileRefusedError(wrong)


# ------------------------------------------------------------------------------ cells


def bodies_of(
    args: argparse.Namespace, rows: Sequence[Row], columns: Columns
) -> list[Json]:
    """Return what rows tell, as the API wants it told.

    Raises:
        FileRefusedError: Some cells do not hold what they should, all of them told.
    """
    bodies: list[Json] = []
    wrong: list[str] = []
    for row in rows:
        body: Json = {}
        for column, text in row.cells.items():
            try:
                _put(body, args, column, text.strip(), columns)
            except ValueError as error:
                wrong.append(f"line {row.line}: {error}")
        bodies.append(body)
    if wrong:
        raise FileRefusedError(wrong)
    return bodies


def _put(
    body: Json, args: argparse.Namespace, column: str, text: str, columns: Columns
) -> None:
    if column in columns.passed_over:
        return
    if not text:
        if column in columns.needed:
            raise ValueError(f"{column}: found nothing: it must be told")
        return
    value = _value(args, column, text, columns)
    if value is False:
        return  # as if it had not been told
    outer, _, inner = column.partition("_")
    if outer not in columns.objects or not inner:
        body[column] = value
        return
    within = body.setdefault(outer, {})
    if isinstance(within, dict):
        within[inner] = value


def _value(
    args: argparse.Namespace, column: str, text: str, columns: Columns
) -> object:
    """Return what a cell holds; raise ValueError with words if it cannot."""
    if column in columns.whole:
        return _number(column, text, int, "a whole number such as 24")
    if column in columns.decimal:
        return _number(column, text, float, "a number such as 8.5")
    if column in columns.truth:
        if text not in ("true", "false"):
            raise ValueError(f"{column}: found {text!r}: write true or false")
        return text == "true"
    if column not in columns.times:
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


def fault_line(rows: Sequence[Row], where: str, what: str) -> str:
    """Return a fault of the API's with the line and column that it is about.

    Args:
        rows: The rows, in the order in which they were told.
        where: A JSON Pointer such as "#/looks/3/base/roots".
        what: What is wrong, in words.
    """
    parts = where.lstrip("#/").split("/")
    if len(parts) < 2 or not parts[1].isdecimal() or int(parts[1]) >= len(rows):  # noqa: PLR2004
        return f"{where}: {what}"
    row = rows[int(parts[1])]
    column = "_".join(parts[2:])
    found = f"found {row.cells[column]!r}: " if row.cells.get(column) else ""
    return f"line {row.line}: {column}: {found}{what}"
