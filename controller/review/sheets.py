"""Sheets for a wet bench: stake labels, a wall key of codes, a look sheet.

The code is large and stands alone; a QR code comes second, since toner and damp part
company, and all of it can be written by hand from the wall key. What may live here:
from batches to pages. Who prints, and how, is elsewhere.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from controller.review.drawing import (
    Anchor,
    Cells,
    Line,
    Mark,
    Page,
    Text,
    fitted,
)

Matrix = tuple[tuple[bool, ...], ...]
Qr = Callable[[str], Matrix | None]
"""Makes a QR code of a label code; None: none."""

_MARGIN = 9.0
_STAKE_MM = (95.0, 18.0)
_QUIET = 4
"""Modules of white around a QR code: ISO/IEC 18004 asks for four."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Labelled:
    """A batch as a sheet names it.

    Attributes:
        code: Its label code.
        crop: What it is.
        cultivar: Which one.
        kind: Of what wood, or seed.
        stuck: The day on which it was stuck, as text; empty: not yet.
        tray: Where it stands; empty: nowhere on the bench.
        count: How many were stuck, as text.
        medium: The recipe.
        treatment: Hormone and wound, as text.
    """

    code: str
    crop: str = ""
    cultivar: str = ""
    kind: str = ""
    stuck: str = ""
    tray: str = ""
    count: str = ""
    medium: str = ""
    treatment: str = ""

    @property
    def name(self) -> str:
        """Crop and cultivar."""
        return " ".join(part for part in (self.crop, self.cultivar) if part)


# --------------------------------------------------------------------- stake labels


def stakes(
    labelled: Sequence[Labelled], size: tuple[float, float], qr: Qr
) -> list[Page]:
    """Return stake labels, in two columns with lines to cut along.

    Args:
        labelled: One for each label.
        size: Width and height of a page [mm].
        qr: Makes the QR codes.
    """
    width, height = size
    wide, high = _STAKE_MM
    rows = int((height - 2 * _MARGIN) // high)
    left, top = (width - 2 * wide) / 2, (height - rows * high) / 2
    pages = []
    for chunk in _chunks(labelled, 2 * rows):
        marks: list[Mark] = list(_cut_lines(left, top, -(-len(chunk) // 2)))
        for n, one in enumerate(chunk):
            column, row = n % 2, n // 2
            corner = left + column * wide, top + row * high
            marks += _stake(one, corner, qr(one.code))
        pages.append(Page(width, height, tuple(marks)))
    return pages


def _cut_lines(left: float, top: float, rows: int) -> Iterator[Mark]:
    wide, high = _STAKE_MM
    for row in range(rows + 1):
        y = top + row * high
        yield _cut(left, y, left + 2 * wide, y)
    for column in range(3):
        x = left + column * wide
        yield _cut(x, top, x, top + rows * high)


def _cut(x1: float, y1: float, x2: float, y2: float) -> Line:
    return Line(x1=x1, y1=y1, x2=x2, y2=y2, width=0.1, grey=0.65, dashed=True)


def _stake(
    one: Labelled, corner: tuple[float, float], matrix: Matrix | None
) -> Iterator[Mark]:
    """Yield one label: code, name and date, QR code at the end away from the soil."""
    left, top = corner
    wide, high = _STAKE_MM
    qr_wide = high - 3.0 if matrix else 0.0
    code_size = 9.0 if len(one.code) <= 5 else 7.0  # noqa: PLR2004
    code_wide = len(one.code) * code_size * 0.602 + 3.0
    yield Text(
        x=left + 3, y=top + 11.8, text=one.code, size=code_size, bold=True, mono=True
    )
    x, room = left + 3 + code_wide, wide - code_wide - qr_wide - 6
    yield from _words(one, (x, top), room)
    if matrix:
        cell = qr_wide / (len(matrix) + 2 * _QUIET)
        at = left + wide - qr_wide - 1.5 + _QUIET * cell
        yield Cells(x=at, y=top + 1.5 + _QUIET * cell, cell=cell, rows=matrix)


def _words(one: Labelled, at: tuple[float, float], room: float) -> Iterator[Mark]:
    x, top = at
    if not one.name:  # a blank label: lines for a pencil
        for y in (6.5, 12.0):
            yield Line(x1=x, y1=top + y, x2=x + room, y2=top + y, grey=0.5)
        return
    first, second = (one.cultivar or one.crop), (one.crop if one.cultivar else one.kind)
    yield Text(
        x=x, y=top + 6.2, text=fitted(first, 3.9, room, bold=True), size=3.9, bold=True
    )
    yield Text(x=x, y=top + 10.6, text=fitted(second, 3.2, room), size=3.2)
    date = one.stuck or "stuck:"
    yield Text(x=x, y=top + 14.9, text=fitted(date, 3.4, room), size=3.4)
    if not one.stuck:
        yield Line(x1=x + 10, y1=top + 15.1, x2=x + room, y2=top + 15.1, grey=0.5)


# ------------------------------------------------------------------------- wall key


@dataclass(frozen=True, slots=True)
class _Column:
    """A column of a table: title, width [mm], and how its cells are set."""

    title: str
    width: float
    anchor: Anchor = "start"
    strong: bool = False


_KEY = (
    _Column("code", 24, strong=True),
    _Column("crop and cultivar", 62),
    _Column("kind", 26),
    _Column("stuck", 22),
    _Column("of", 11, "end"),
    _Column("in", 14),
    _Column("medium", 30),
)
_KEY_ROW = 8.0


def wall_key(
    labelled: Sequence[Labelled], size: tuple[float, float], title: str
) -> list[Page]:
    """Return a table of codes for the wall: also whoever has no printer copies it."""
    width, height = size
    spare = width - 2 * _MARGIN - sum(column.width for column in _KEY)
    columns = [
        _Column(
            c.title, c.width + (spare if c.title == "medium" else 0), c.anchor, c.strong
        )
        for c in _KEY
    ]
    per_page = int((height - 2 * _MARGIN - 22) // _KEY_ROW)
    pages = []
    chunks = list(_chunks(labelled, per_page)) or [[]]
    for n, chunk in enumerate(chunks, 1):
        rows = [
            (o.code, o.name, o.kind, _when(o), o.count, o.tray, o.medium) for o in chunk
        ]
        marks = list(_heading(title, "Key of label codes", width, (n, len(chunks))))
        marks += _table(columns, rows, _MARGIN + 16, _KEY_ROW)
        pages.append(Page(width, height, tuple(marks)))
    return pages


def _when(one: Labelled) -> str:
    return one.stuck or ("not yet" if one.name else "")


def _heading(
    title: str, what: str, width: float, page: tuple[int, int]
) -> Iterator[Mark]:
    number, of = page
    told = f"{what}{f', page {number} of {of}' if of > 1 else ''}"
    yield Text(x=_MARGIN, y=_MARGIN + 6, text=told, size=5.5, bold=True)
    yield Text(
        x=width - _MARGIN,
        y=_MARGIN + 6,
        text=fitted(title, 3.6, width / 2),
        size=3.6,
        anchor="end",
        grey=0.3,
    )


def _table(
    columns: Sequence[_Column],
    rows: Sequence[Sequence[str]],
    top: float,
    row_high: float,
) -> Iterator[Mark]:
    x = _MARGIN
    right = x + sum(column.width for column in columns)
    for column in columns:
        yield _cell(column, column.title, (x, top - 2), 2.9)
        x += column.width
    yield Line(x1=_MARGIN, y1=top, x2=right, y2=top, width=0.4)
    for n, row in enumerate(rows):
        base, x = top + (n + 1) * row_high - 2.4, _MARGIN
        for column, text in zip(columns, row, strict=True):
            yield _cell(column, text, (x, base), 3.4)
            x += column.width
        y = top + (n + 1) * row_high
        yield Line(x1=_MARGIN, y1=y, x2=right, y2=y, width=0.1, grey=0.6)


def _cell(column: _Column, text: str, at: tuple[float, float], size: float) -> Text:
    x, y = at
    if column.anchor == "end":
        x += column.width - 2
    strong = column.strong and size > 3  # noqa: PLR2004 - not the head
    size = size * 1.5 if strong else size
    return Text(
        x=x,
        y=y,
        text=text if strong else fitted(text, size, column.width - 2),
        size=size,
        bold=strong,
        mono=strong,
        anchor=column.anchor,
    )


# ----------------------------------------------------------------------- look sheet

_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("looked", ("how", "at n")),
    ("base (empty: not looked)", ("none", "callus", "roots")),
    ("tops (empty: not looked)", ("dorm.", "swell.", "leaf", "wilt")),
    ("dead since last", ("rotted", "shriv.", "mould", "miss.")),
    ("spare", ("lifted", "rooted")),
)
_LOOK_ROW, _LOOK_LEFT = 10.5, 74.0


def look_sheet(
    labelled: Sequence[Labelled], size: tuple[float, float], title: str
) -> list[Page]:
    """Return a sheet for a pencil, turned: a row for each batch, boxes to fill.

    Args:
        labelled: The batches, in the order in which one walks along the bench.
        size: Width and height of an upright page [mm].
        title: The bench.
    """
    height, width = size  # turned
    per_page = int((height - 2 * _MARGIN - 34) // _LOOK_ROW)
    chunks = list(_chunks(labelled, per_page)) or [[]]
    pages = []
    for n, chunk in enumerate(chunks, 1):
        marks = list(_heading(title, "Look sheet", width, (n, len(chunks))))
        marks += _dated(width)
        marks += _look_table(chunk, width)
        marks += _look_notes(height)
        pages.append(Page(width, height, tuple(marks)))
    return pages


def _dated(width: float) -> Iterator[Mark]:
    y = _MARGIN + 13
    for x, text, to in (
        (_MARGIN, "day", 45),
        (_MARGIN + 50, "time", 80),
        (_MARGIN + 90, "who", 130),
        (_MARGIN + 140, "room °", 168),
        (_MARGIN + 180, "weather, cover, whatever else", width - 2 * _MARGIN),
    ):
        yield Text(x=x, y=y, text=text, size=3.0)
        begin = x + len(text) * 1.7 + 2
        yield Line(x1=begin, y1=y + 0.5, x2=_MARGIN + to, y2=y + 0.5, width=0.15)


def _look_table(chunk: Sequence[Labelled], width: float) -> Iterator[Mark]:
    top = _MARGIN + 26.0
    boxes = sum(len(names) for _, names in _GROUPS)
    notes = 24.0
    wide = (width - 2 * _MARGIN - _LOOK_LEFT - notes) / boxes
    bottom = top + len(chunk) * _LOOK_ROW
    x = _MARGIN + _LOOK_LEFT
    for group, names in _GROUPS:
        yield Text(x=x + 0.8, y=top - 5.2, text=group, size=2.7, bold=True)
        for name in names:
            yield Text(
                x=x + wide / 2, y=top - 1.4, text=name, size=2.6, anchor="middle"
            )
            yield Line(x1=x, y1=top, x2=x, y2=bottom, width=0.12, grey=0.5)
            x += wide
        yield Line(x1=x, y1=top - 8, x2=x, y2=bottom, width=0.4)
    yield Text(x=x + 1.5, y=top - 1.4, text="notes", size=2.7, bold=True)
    left = _MARGIN + _LOOK_LEFT
    yield Line(x1=left, y1=top - 8, x2=left, y2=bottom, width=0.4)
    for n in range(len(chunk) + 1):
        y = top + n * _LOOK_ROW
        yield Line(x1=_MARGIN, y1=y, x2=width - _MARGIN, y2=y, width=0.2)
    for n, one in enumerate(chunk):
        yield from _look_row(one, top + n * _LOOK_ROW)


def _look_row(one: Labelled, y: float) -> Iterator[Mark]:
    yield Text(x=_MARGIN, y=y + 7.2, text=one.code, size=6.0, bold=True, mono=True)
    x = _MARGIN + max(21.0, len(one.code) * 3.7 + 3)
    room = _MARGIN + _LOOK_LEFT - x - 1
    yield Text(x=x, y=y + 4.4, text=fitted(one.name, 3.3, room), size=3.3)
    parts = [one.tray or "off the bench"] if one.stuck else ["not stuck yet"]
    parts += [f"{one.count} stuck {one.stuck}"] if one.stuck else []
    where = ", ".join(parts) if one.name else ""
    yield Text(x=x, y=y + 8.6, text=fitted(where, 2.7, room), size=2.7, grey=0.25)


def _look_notes(height: float) -> Iterator[Mark]:
    lines = (
        "how: T tops only · W through a clear wall · D root at the drain hole ·"
        " P gentle tug (write held / gave into notes) · L lifted",
        "An empty box is 'not looked', which is an answer. Tops fine at a glance: write"
        " OK across them. Each dead one is counted once, when it is found.",
    )
    for n, line in enumerate(lines):
        y = height - _MARGIN - 4.5 + n * 4
        yield Text(x=_MARGIN, y=y, text=line, size=2.8, grey=0.2)


def _chunks(items: Sequence[Labelled], size: int) -> Iterator[Sequence[Labelled]]:
    for begin in range(0, len(items), size):
        yield items[begin : begin + size]
