"""Pages of marks in millimetres, and those pages as SVG; drawn by ourselves.

A page is a plain value, so that the same one may become SVG here and PDF elsewhere.
What may live here: marks, how wide text is about, and SVG (W3C SVG 1.1) of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

Anchor = Literal["start", "middle", "end"]

POINT_MM = 25.4 / 72
SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216 A4; ANSI/ASME Y14.1 A, called letter [mm]."""

MONO_WIDTH = 0.602
"""Width of any character of a monospaced face, in heights of the type."""

_NARROW, _WIDE = "iljtfrI.,:;'|!()[] -", "MWmw@%&"
_WIDTHS = {True: 0.66, False: 0.55}


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """Text with its baseline's beginning, middle or end at a place.

    Attributes:
        x: From the left [mm].
        y: From the top, of the baseline [mm].
        text: One line.
        size: Height of the type [mm].
        bold: Whether it is heavy.
        mono: Whether all characters are equally wide.
        anchor: Which part of it is at x.
        grey: From 0, black, to 1, white.
    """

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    mono: bool = False
    anchor: Anchor = "start"
    grey: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line [mm]."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 0.2
    grey: float = 0.0
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Black squares in rows, such as a QR code's.

    Attributes:
        x: Left edge [mm].
        y: Upper edge [mm].
        cell: Side of a square [mm].
        rows: Which squares are black.
    """

    x: float
    y: float
    cell: float
    rows: tuple[tuple[bool, ...], ...]


Mark = Text | Line | Cells


@dataclass(frozen=True, slots=True)
class Page:
    """One page.

    Attributes:
        width: Its width [mm].
        height: Its height [mm].
        marks: What is on it, what comes later above.
    """

    width: float
    height: float
    marks: tuple[Mark, ...]


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return about how wide a text of a plain face is [mm]; a little too wide."""
    total = 0.0
    for character in text:
        if character in _NARROW:
            total += 0.36
        elif character in _WIDE or ord(character) > 0x2E80:  # noqa: PLR2004 - CJK
            total += 1.0
        else:
            total += _WIDTHS[character.isupper()]
    return total * size * (1.07 if bold else 1.0)


def fitted(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """Return a text cut so that it fits into some room [mm], with an ellipsis."""
    if text_width(text, size, bold=bold) <= room:
        return text
    while text and text_width(text + "…", size, bold=bold) > room:
        text = text[:-1]
    return text.rstrip() + "…" if text else ""


def runs_of(rows: Sequence[Sequence[bool]]) -> Iterator[tuple[int, int, int]]:
    """Yield row, first column and length of each run of black squares."""
    for row, cells in enumerate(rows):
        begin: int | None = None
        for column, black in enumerate((*cells, False)):
            if black and begin is None:
                begin = column
            elif not black and begin is not None:
                yield row, begin, column - begin
                begin = None


# ----------------------------------------------------------------------------- SVG


def svg(page: Page) -> str:
    """Return a page as an SVG document of its own, in millimetres."""
    width, height = number(page.width), number(page.height)
    marks = "\n".join(_mark(mark) for mark in page.marks)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm"'
        f' height="{height}mm" viewBox="0 0 {width} {height}"'
        ' font-family="Helvetica, Arial, sans-serif">\n'
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n{marks}\n</svg>\n'
    )


def number(value: float) -> str:
    """Return a number as SVG takes it, without needless digits."""
    return f"{value:.3f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}"


def _grey(value: float) -> str:
    return "#" + f"{round(255 * value):02x}" * 3


def _mark(mark: Mark) -> str:
    if isinstance(mark, Text):
        return _text(mark)
    return _line(mark) if isinstance(mark, Line) else _cells(mark)


def _text(mark: Text) -> str:
    face = ' font-family="Courier New, Courier, monospace"' if mark.mono else ""
    face += ' font-weight="bold"' if mark.bold else ""
    face += "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    return (
        f'<text x="{number(mark.x)}" y="{number(mark.y)}" font-size="'
        f'{number(mark.size)}" fill="{_grey(mark.grey)}"{face}>'
        f"{escape(mark.text)}</text>"
    )


def _line(mark: Line) -> str:
    dashes = ' stroke-dasharray="1 1"' if mark.dashed else ""
    ends = zip(
        ("x1", "y1", "x2", "y2"), (mark.x1, mark.y1, mark.x2, mark.y2), strict=True
    )
    places = " ".join(f'{name}="{number(value)}"' for name, value in ends)
    return (
        f'<line {places} stroke="{_grey(mark.grey)}" stroke-width="'
        f'{number(mark.width)}"{dashes}/>'
    )


def _cells(mark: Cells) -> str:
    cell = mark.cell
    path = "".join(
        f"M{number(mark.x + column * cell)} {number(mark.y + row * cell)}"
        f"h{number(length * cell)}v{number(cell)}h{number(-length * cell)}z"
        for row, column, length in runs_of(mark.rows)
    )
    return f'<path d="{path}" shape-rendering="crispEdges"/>'


def printed_html(title: str, pages: Sequence[Page]) -> str:
    """Return pages as one HTML document that prints each on a sheet of its own."""
    first = pages[0] if pages else Page(210, 297, ())
    size = f"{number(first.width)}mm {number(first.height)}mm"
    style = (
        f"@page{{size:{size};margin:0}}body{{margin:0}}svg{{display:block;"
        "break-after:page}@media screen{body{background:#888}svg{margin:5mm auto;"
        "box-shadow:0 1px 6px #0006}}"
    )
    body = "".join(svg(page) for page in pages)
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>'
        f"{escape(title)}</title><style>{style}</style></head><body>\n{body}"
        "</body></html>\n"
    )
