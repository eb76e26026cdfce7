"""Pieces of pictures as SVG text; colours, and patterns for printers without any.

What may live here: small helpers. Everything that is text is escaped here.
"""

from collections.abc import Iterable, Sequence
from html import escape

from controller.review.drawing import number

WIDTH = 720.0
"""Width of a picture in its own units; the page scales it to the paper."""

LEFT, RIGHT = 46.0, 76.0
"""Room for the numbers of an axis, and for names at the ends of lines."""

INKS = ("#1d6a78", "#c2572b", "#6c7d1f", "#7d4a86", "#a87a12", "#3f5f9e")
"""Chosen: apart in lightness, too, so that they differ in grey."""

DASHES = ("", "6 2.5", "2 2", "8 2 2 2", "1 2.5", "10 3")
"""The same lines told apart without colour."""

PAPER = "#fdfdfa"
INK, SOFT, FAINT, HOT = "#22302b", "#5d6b64", "#d8ddd4", "#b3261e"


def ink(number_: int) -> str:
    """Return the colour of the n-th thing."""
    return INKS[number_ % len(INKS)]


def dash(number_: int) -> str:
    """Return the dashes of the n-th line."""
    return DASHES[number_ % len(DASHES)]


def svg(height: float, parts: Iterable[str], title: str) -> str:
    """Return a picture; its title is read out to those who cannot see it."""
    body = "".join(parts)
    return (
        f'<svg class="picture" viewBox="0 0 {number(WIDTH)} {number(height)}"'
        f' role="img" aria-label="{escape(title)}"><title>{escape(title)}</title>'
        f"{body}</svg>"
    )


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    size: float = 10.0,
    fill: str = SOFT,
    bold: bool = False,
) -> str:
    """Return text at a place."""
    weight = ' font-weight="600"' if bold else ""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}"'
        f' fill="{fill}"{where}{weight}>{escape(words)}</text>'
    )


def over_lines(x: float, y: float, words: str) -> str:
    """Return small dark text that can be read over lines."""
    return (
        f'<g paint-order="stroke" stroke="{PAPER}" stroke-width="3"'
        f' stroke-linejoin="round">{text(x, y, words, size=9, fill=INK)}</g>'
    )


def line(
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    *,
    stroke: str = FAINT,
    width: float = 1.0,
    dashes: str = "",
) -> str:
    """Return a straight line."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}"'
        f' y2="{number(y2)}" stroke="{stroke}" stroke-width="{number(width)}"{dashed}/>'
    )


def rect(  # noqa: PLR0913 - a place, a size and its look
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str = "none",
    stroke: str = "none",
    opacity: float = 1.0,
    title: str = "",
) -> str:
    """Return a rectangle; a title is shown when one points at it."""
    shown = f"<title>{escape(title)}</title>" if title else ""
    seen = "" if opacity >= 1 else f' fill-opacity="{number(opacity)}"'
    edge = "" if stroke == "none" else f' stroke="{stroke}"'
    place = f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(0.0, width))}"'
    high = f' height="{number(max(0.0, height))}"'
    return f'{place}{high} fill="{fill}"{seen}{edge}>{shown}</rect>'


def polyline(
    points: Sequence[tuple[float, float]],
    stroke: str,
    *,
    width: float = 1.4,
    dashes: str = "",
) -> str:
    """Return a line through points."""
    places = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<polyline points="{places}" fill="none" stroke="{stroke}"'
        f' stroke-width="{number(width)}" stroke-linejoin="round"{dashed}/>'
    )


def area(points: Sequence[tuple[float, float]], fill: str, opacity: float) -> str:
    """Return a filled shape."""
    places = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return (
        f'<polygon points="{places}" fill="{fill}" fill-opacity="{number(opacity)}"/>'
    )


def apart(places: Sequence[float], least: float) -> list[float]:
    """Return places of labels, in their order, moved until none covers another.

    Args:
        places: Where they would stand, in any order.
        least: The least distance between two.
    """
    order = sorted(range(len(places)), key=lambda n: places[n])
    moved = [places[n] for n in order]
    for n in range(1, len(moved)):
        moved[n] = max(moved[n], moved[n - 1] + least)
    # Moved down only, the whole hangs too low: lift it by half of what it grew.
    if moved:
        lift = (moved[-1] - max(places)) / 2
        moved = [place - lift for place in moved]
    found = [0.0] * len(places)
    for n, place in zip(order, moved, strict=True):
        found[n] = place
    return found
