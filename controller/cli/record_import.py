"""Batches, or looks, of a CSV file told to the bench: all of them, or none.

What may live here: which columns there are, and what is asked.
"""

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from api.batch_bodies import MOST_BATCHES, MOST_LOOKS, BatchBody, LookBody
from api.bodies import LARGEST_BODY
from controller.cli.asking import Json, ask
from controller.cli.over_http import AskError
from controller.cli.record_csv import columns_of, mapping
from controller.cli.record_table import (
    Columns,
    FileRefusedError,
    Row,
    Sheet,
    bodies_of,
    fault_line,
    rows_of,
    sheet_of,
)

_LOOK_COUNTS = ("base", "tops", "tug", "dead", "sentinels")


def _batch_columns() -> Columns:
    return Columns(
        known=("code", *columns_of(BatchBody)),
        needed=("crop", "kind"),
        whole=(
            *("count", "wanted", "sentinels", "nodes", "nodes_below"),
            "wounds_sides",
        ),
        decimal=(
            *("length_mm", "thickness_mm", "base_depth_mm", "wounds_length_mm"),
            *("hormone_ppm", "hormone_seconds", "wrap_down_mm", "base_c", "upper_c"),
        ),
        truth=("withdrawn",),
        times=("stuck_at",),
        objects=("wounds", "hormone", "wrap"),
        most=MOST_BATCHES,
    )


def _look_columns() -> Columns:
    known = columns_of(LookBody)
    counts = [one for one in known if one.partition("_")[0] in _LOOK_COUNTS]
    return Columns(
        known=("batch", "id", *known),
        needed=("batch", "at", "how", "looked_at"),
        whole=("looked_at", *counts),
        decimal=(),
        truth=("fine", "withdrawn"),
        times=("at",),
        objects=_LOOK_COUNTS,
        passed_over=("id",),  # a number of the log that it came from
        most=MOST_LOOKS,
    )


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken of a file.

    Attributes:
        what: "batches" or "looks".
        codes: The code of each batch that is new, or of the batch of each new look.
        already: How many looks the bench had, word for word.
    """

    what: str
    codes: tuple[str, ...]
    already: int = 0


def taken(args: argparse.Namespace, path: Path) -> Taken:
    """Tell the bench of all batches, or all looks, of a file, or of none.

    Raises:
        FileRefusedError: Something is wrong with it; nothing was taken.
        AskError: The bench cannot be asked.
        OSError: The file cannot be read.
    """
    sheet = sheet_of(path)
    if "how" in sheet.head or ("batch" in sheet.head and "crop" not in sheet.head):
        return _looks(args, sheet)
    return _batches(args, sheet)


def _batches(args: argparse.Namespace, sheet: Sheet) -> Taken:
    columns = _batch_columns()
    rows = rows_of(sheet, columns)
    bodies = bodies_of(args, rows, columns)
    listed = _told(args, "/v1/batches/import", "batches", bodies, rows)
    return Taken("batches", tuple(str(one.get("code")) for one in listed))


def _looks(args: argparse.Namespace, sheet: Sheet) -> Taken:
    columns = _look_columns()
    rows = rows_of(sheet, columns)
    bodies = bodies_of(args, rows, columns)
    listed = _told(args, "/v1/looks/import", "looks", bodies, rows)
    new = tuple(str(one.get("batch")) for one in listed if one.get("new"))
    return Taken("looks", new, len(listed) - len(new))


def _told(
    args: argparse.Namespace,
    path: str,
    what: str,
    bodies: list[Json],
    rows: Sequence[Row],
) -> list[Json]:
    """Tell of some bodies; return what the API lists, or refuse with their lines."""
    whole = {what: bodies}
    if len(json.dumps(whole)) > LARGEST_BODY:
        raise FileRefusedError([f"makes more than {LARGEST_BODY} bytes: split it"])
    try:
        found = ask(args, "POST", path, whole)
    except AskError as error:
        if not error.faults:
            raise
        lines = [fault_line(rows, where, about) for where, about in error.faults]
        raise FileRefusedError(lines) from None
    listed = found.get(what)
    return [dict(mapping(one)) for one in (listed if isinstance(listed, list) else ())]
