"""CSV files of other recorders: rows found, each with its line.

What may live here: how a file of unknown making is read: its encoding, the
row that names its columns, rows too short or too long. What cells mean is not
known here.
"""

import codecs
import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TextIO

from controller.adapters.exchange.errors import ExchangeError

_HEADER_WITHIN = 100
"""Chosen: recorders write a few dozen lines of their own before the table."""

_MARKS_OF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a file is written, and which of its columns are wanted.

    Attributes:
        times: Names of the columns that together tell the time.
        values: Names of the columns with temperatures.
        delimiter: Between cells.
        encoding: Of its characters.
    """

    times: Sequence[str]
    values: Sequence[str]
    delimiter: str = ","
    encoding: str = "utf-8"


@dataclass(frozen=True, slots=True)
class FoundRow:
    """One row of the table.

    Attributes:
        line: The line that it begins in, from 1.
        time: Its time as it is written; two columns are joined with a space.
        cells: The wanted cells, in the order of Layout.values.
        wrong: Why it cannot be used; empty: it can.
    """

    line: int
    time: str
    cells: Sequence[str]
    wrong: str = ""


def rows_in(path: Path, layout: Layout) -> Iterator[FoundRow]:
    """Yield the rows of a table; lines before the one that names columns are none.

    Raises:
        ExchangeError: The file cannot be read, is no such table, or breaks off
            in the middle of a quoted cell.
    """
    try:
        with _opened(path, layout.encoding) as file:
            yield from _rows(path, layout, file)
    except UnicodeError as error:
        raise ExchangeError(
            f"{path} has bytes that are no {layout.encoding} ({error}); say how it is"
            " encoded, such as --encoding cp1252 or --encoding utf-16"
        ) from None
    except OSError as error:
        raise ExchangeError(f"{path} cannot be read: {error.strerror}") from None


def _opened(path: Path, encoding: str) -> TextIO:
    with path.open("rb") as raw:
        start = raw.read(len(codecs.BOM_UTF8))
    try:
        name = codecs.lookup(encoding).name
        if start.startswith(_MARKS_OF_16):
            _check_mark(path, start[:2], name, "utf-16")
            name = "utf-16"  # which of the two the mark tells, and is no character
        elif start == codecs.BOM_UTF8:
            _check_mark(path, start, name, "utf-8")
            name = "utf-8-sig"
        return path.open(encoding=name, newline="")
    except LookupError:
        raise ExchangeError(
            f"--encoding {encoding}: there is none of that name; utf-8, cp1252,"
            " latin-1 and utf-16 are usual"
        ) from None


def _check_mark(path: Path, mark: bytes, name: str, marked: str) -> None:
    if not name.startswith(marked):
        raise ExchangeError(
            f"{path} begins with {mark!r}, the mark of {marked.upper()}: say --encoding"
            f" {marked}"
        )


class _Lines(Protocol):
    """What csv.reader returns; it has no public name."""

    @property
    def line_num(self) -> int: ...
    def __next__(self) -> list[str]: ...


def _rows(path: Path, layout: Layout, file: TextIO) -> Iterator[FoundRow]:
    lines = csv.reader(file, delimiter=layout.delimiter, strict=True)
    header = _header(path, layout, lines)
    times = [header.index(name) for name in layout.times]
    values = [header.index(name) for name in layout.values]
    for line, row in _numbered(path, lines):
        if any(cell.strip() for cell in row):
            wrong = _wrong(row, len(header))
            if wrong:
                yield FoundRow(line, "", (), wrong)
            else:
                time = " ".join(row[place].strip() for place in times)
                yield FoundRow(line, time, [row[place] for place in values])


def _wrong(row: Sequence[str], columns: int) -> str:
    """Return why a row cannot be used; empty: it can."""
    if len(row) < columns:
        return f"too few cells, {len(row)} instead of {columns}"
    if any(cell.strip() for cell in row[columns:]):
        return f"too many cells, {len(row)} instead of {columns}"
    if any("\0" in cell for cell in row):
        return "NUL bytes"
    return ""


def _numbered(path: Path, lines: _Lines) -> Iterator[tuple[int, list[str]]]:
    """Yield rows, each with the number of the line that it begins in."""
    begins = lines.line_num + 1
    while True:
        try:
            row = next(lines)
        except StopIteration:
            return
        except csv.Error as error:
            raise ExchangeError(
                f"{path}, line {begins}: {error}; a quoted cell ends with a quote, and"
                " a quote within it is written twice"
            ) from None
        yield begins, row
        begins = lines.line_num + 1


def _header(path: Path, layout: Layout, lines: _Lines) -> list[str]:
    """Return the first row that names all wanted columns."""
    wanted = [*layout.times, *layout.values]
    best: list[str] = []
    for line, row in _numbered(path, lines):
        names = [cell.strip() for cell in row]
        while names and not names[-1]:
            names.pop()
        if all(name in names for name in wanted):
            _check_unique(path, line, names, wanted)
            return names
        if len(names) > len(best):
            best = names
        if line >= _HEADER_WITHIN:
            break
    raise _no_header(path, layout, wanted, best)


def _check_unique(
    path: Path, line: int, names: Sequence[str], wanted: Sequence[str]
) -> None:
    for name in wanted:
        if names.count(name) > 1:
            raise ExchangeError(
                f"{path}, line {line}: {names.count(name)} columns are called"
                f" {name!r}; give each a name of its own"
            )


def _no_header(
    path: Path, layout: Layout, wanted: Sequence[str], best: Sequence[str]
) -> ExchangeError:
    missing = [name for name in wanted if name not in best]
    found = ", ".join(repr(name[:40]) for name in best[:_SHOWN]) or "nothing"
    other = next((mark for mark in ";\t|," if any(mark in name for name in best)), "")
    hint = f"; if {other!r} stands between cells, say --delimiter" if other else ""
    nul = any("\0" in name for name in best)
    if nul:
        hint = "; it has NUL bytes: say --encoding utf-16, if it is that"
    return ExchangeError(
        f"{path}: none of the first {_HEADER_WITHIN} lines names the columns"
        f" {', '.join(map(repr, missing))} (cells parted by {layout.delimiter!r});"
        f" found: {found}{hint}"
    )
