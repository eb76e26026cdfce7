"""Pages as PDF, by reportlab of the extra `sheets`. No command.

What may live here: from marks to reportlab's canvas, whose origin is below.
"""

from pathlib import Path
from typing import Protocol

from controller.cli.extras import need
from controller.review.drawing import Cells, Line, Mark, Page, Text, runs_of

_PT_PER_MM = 72 / 25.4
_FACES = {False: "Vera", True: "VeraBd"}
_MONO = {False: "Courier", True: "Courier-Bold"}


class _Canvas(Protocol):
    """What is used of reportlab.pdfgen.canvas.Canvas."""

    def setPageSize(self, size: tuple[float, float], /) -> None: ...  # noqa: N802
    def setFont(self, name: str, size: float, /) -> None: ...  # noqa: N802
    def setFillGray(self, gray: float, /) -> None: ...  # noqa: N802
    def setStrokeGray(self, gray: float, /) -> None: ...  # noqa: N802
    def setLineWidth(self, width: float, /) -> None: ...  # noqa: N802
    def setDash(self, dashes: list[float], /) -> None: ...  # noqa: N802
    def scale(self, x: float, y: float, /) -> None: ...
    def drawString(  # noqa: N802
        self, x: float, y: float, text: str, /
    ) -> object: ...
    def drawCentredString(  # noqa: N802
        self, x: float, y: float, text: str, /
    ) -> object: ...
    def drawRightString(  # noqa: N802
        self, x: float, y: float, text: str, /
    ) -> object: ...
    def line(self, x1: float, y1: float, x2: float, y2: float, /) -> None: ...
    def rect(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        stroke: int = 1,
        fill: int = 0,
    ) -> None: ...
    def showPage(self) -> None: ...  # noqa: N802
    def save(self) -> None: ...


def write_pdf(pages: list[Page], title: str, path: Path) -> None:
    """Write pages into a file.

    Raises:
        ExtraMissingError: reportlab is not installed.
        OSError: The disk does not take it.
    """
    need("sheets", "a PDF", "reportlab")
    canvas = _canvas(title, path)
    for page in pages:
        canvas.setPageSize((page.width * _PT_PER_MM, page.height * _PT_PER_MM))
        canvas.scale(_PT_PER_MM, _PT_PER_MM)
        for mark in page.marks:
            _draw(canvas, mark, page.height)
        canvas.showPage()
    canvas.save()


def _canvas(title: str, path: Path) -> _Canvas:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    for face in _FACES.values():  # they come with reportlab
        pdfmetrics.registerFont(TTFont(face, f"{face}.ttf"))
    canvas = Canvas(str(path), pageCompression=1, invariant=1)
    canvas.setTitle(title)
    found: _Canvas = canvas
    return found


def _draw(canvas: _Canvas, mark: Mark, height: float) -> None:
    if isinstance(mark, Text):
        _draw_text(canvas, mark, height)
    elif isinstance(mark, Line):
        canvas.setLineWidth(mark.width)
        canvas.setStrokeGray(mark.grey)
        canvas.setDash([1, 1] if mark.dashed else [])
        canvas.line(mark.x1, height - mark.y1, mark.x2, height - mark.y2)
    else:
        _draw_cells(canvas, mark, height)


def _draw_text(canvas: _Canvas, mark: Text, height: float) -> None:
    faces = _MONO if mark.mono else _FACES
    # Vera is wider than the faces that a browser takes.
    canvas.setFont(faces[mark.bold], mark.size * (1.0 if mark.mono else 0.9))
    canvas.setFillGray(mark.grey)
    put = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }[mark.anchor]
    put(mark.x, height - mark.y, mark.text)


def _draw_cells(canvas: _Canvas, mark: Cells, height: float) -> None:
    canvas.setFillGray(0)
    for row, column, length in runs_of(mark.rows):
        x = mark.x + column * mark.cell
        low = height - mark.y - (row + 1) * mark.cell
        canvas.rect(x, low, length * mark.cell, mark.cell, stroke=0, fill=1)
