"""Units of a trial from a CSV file (RFC 4180), for whoever wants the statistics alone.

Either looks, cumulative (unit, arm, looked_at, n, rooted), or stretches of time
(unit, arm, left, right, n); times are days since sticking. block and mean_c may be
there. What may live here: reading and checking it.
"""

import csv
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from controller.cli.over_http import AskError
from controller.trials.censored import Seen
from controller.trials.observed import Observed
from controller.trials.simulated import in_kh

_T = TypeVar("_T", str, float)

_LOOKS = ("looked_at", "n", "rooted")
_STRETCHES = ("left", "right")
_MAY = ("block", "mean_c", "cultivar")
_LARGEST = 4 * 1024 * 1024
_MOST_CUTTINGS = 100_000
_DAYS = 5_000


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: Mapping[str, str]

    def number(self, column: str, least: float, most: float) -> float:
        text = self.cells[column].strip()
        value = _float(text)
        if not least <= value <= most:
            raise _wrong(
                self.line, column, text, f"write a number from {least:g} to {most:g}"
            )
        return value

    def whole(self, column: str, least: int, most: int) -> int:
        value = self.number(column, least, most)
        if value != int(value):
            raise _wrong(self.line, column, f"{value}", "write a whole number")
        return int(value)


def _float(text: str) -> float:
    """Return a number, or none of those that are one."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def _wrong(line: int, column: str, found: str, right: str) -> AskError:
    return AskError(f"line {line}: {column}: found {found[:40]!r}: {right}")


def units_of(path: Path, bases_c: Sequence[float]) -> list[Observed]:
    """Return the units of a file.

    Args:
        path: The file.
        bases_c: Above which thermal time is counted, from mean_c.

    Raises:
        AskError: Something is wrong with it: the line, what was found, what is right.
    """
    try:
        return list(_units(list(_rows(path)), bases_c))
    except AskError as error:
        raise AskError(f"{path}: {error}") from None


def _rows(path: Path) -> Iterator[_Row]:
    try:
        _check_size(path)
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            head = [name.strip().lower() for name in next(reader, [])]
            _check_head(head)
            for cells in reader:
                if not any(cell.strip() for cell in cells):
                    continue
                yield _row(reader.line_num, head, cells)
    except UnicodeDecodeError as error:
        raise AskError(f"is not UTF-8 at byte {error.start}") from None
    except csv.Error as error:
        raise AskError(f"is no CSV as in RFC 4180: {error}") from None
    except OSError as error:
        raise AskError(str(error.strerror)) from None


def _row(line: int, head: Sequence[str], cells: Sequence[str]) -> _Row:
    if len(cells) != len(head):
        has = f"has {len(cells)} cells, and the head has {len(head)}"
        raise AskError(f"line {line}: {has}")
    return _Row(line, dict(zip(head, cells, strict=True)))


def _check_size(path: Path) -> None:
    if path.stat().st_size > _LARGEST:
        raise AskError(f"is larger than {_LARGEST} bytes")


def _check_head(head: list[str]) -> None:
    looks, stretches = (set(one) <= set(head) for one in (_LOOKS, _STRETCHES))
    known = {"unit", "arm", "n", *_LOOKS, *_STRETCHES, *_MAY}
    odd = [name for name in head if name not in known]
    if odd:
        raise AskError(f"line 1: {odd[0]!r} is no column; there are: {_columns()}")
    if len(set(head)) < len(head):
        raise AskError("line 1: a column is there twice")
    if not {"unit", "arm"} <= set(head) or looks == stretches:
        raise AskError(f"line 1: found {', '.join(head)}: {_columns()}")


def _columns() -> str:
    return (
        "unit, arm and either looked_at, n, rooted or left, right (n); and, if you"
        " like, block, cultivar, mean_c"
    )


def _units(rows: Sequence[_Row], bases_c: Sequence[float]) -> Iterator[Observed]:
    if not rows:
        raise AskError("has a head and no rows")
    by_unit: dict[str, list[_Row]] = {}
    for row in rows:
        for column in ("unit", "arm"):
            if not row.cells[column].strip():
                raise _wrong(row.line, column, "", "must not be empty")
        by_unit.setdefault(row.cells["unit"].strip(), []).append(row)
    for name, own in by_unit.items():
        seen = _from_looks(own) if "looked_at" in own[0].cells else _from_stretches(own)
        mean_c = _same(own, "mean_c", _temp)
        warm = {}
        if mean_c is not None:
            warm = {base: in_kh(seen, mean_c, base) for base in bases_c}
        blocks = [_same(own, key, str) or "" for key in ("cultivar", "block")]
        block = " ".join(filter(None, blocks))
        arm = _same(own, "arm", str) or ""
        yield Observed(name, arm, block, tuple(seen), warm, mean_c)


def _temp(text: str) -> float:
    value = float(text)
    if not -40 <= value <= 100:  # noqa: PLR2004
        raise ValueError
    return value


def _same(rows: Sequence[_Row], column: str, read: Callable[[str], _T]) -> _T | None:
    """Return what all rows of a unit say in a column; None: nothing."""
    said = {row.cells.get(column, "").strip() for row in rows}
    if len(said) > 1:
        both = " and ".join(sorted(said))
        raise _wrong(rows[-1].line, column, both, "all rows of a unit must agree")
    (text,) = said
    if not text:
        return None
    try:
        return read(text)
    except ValueError:
        right = "write a number such as 21.5"
        raise _wrong(rows[0].line, column, text, right) from None


def _from_looks(rows: Sequence[_Row]) -> list[Seen]:
    """Return stretches from cumulative counts at looks."""
    rows = sorted(rows, key=lambda row: row.number("looked_at", 0, _DAYS))
    n = rows[0].whole("n", 1, _MOST_CUTTINGS)
    seen, before, last = [], 0, 0.0
    for row in rows:
        at = row.number("looked_at", 0, _DAYS)
        if row.whole("n", 1, _MOST_CUTTINGS) != n:
            raise _wrong(row.line, "n", row.cells["n"], f"was {n} at another look")
        rooted = row.whole("rooted", 0, n)
        if rooted < before:
            right = f"counts grow from look to look, and {before} had before"
            raise _wrong(row.line, "rooted", row.cells["rooted"], right)
        if at <= last and rooted > before:
            right = "must lie above 0, and above the look before"
            raise _wrong(row.line, "looked_at", row.cells["looked_at"], right)
        if rooted > before:
            seen.append(Seen(last, at, rooted - before))
        before, last = rooted, max(last, at)
    if n > before:
        seen.append(Seen(last, math.inf, n - before))
    return seen


def _from_stretches(rows: Sequence[_Row]) -> list[Seen]:
    seen = []
    for row in rows:
        left = 0.0
        if row.cells["left"].strip():
            left = row.number("left", 0, _DAYS)
        right = math.inf
        if row.cells["right"].strip().lower() not in ("", "inf", "na"):
            right = row.number("right", left, _DAYS)
        if right == 0:
            raise _wrong(row.line, "right", row.cells["right"], "must lie above 0")
        n = row.whole("n", 1, _MOST_CUTTINGS) if row.cells.get("n", "").strip() else 1
        seen.append(Seen(left, right, n))
    return seen
