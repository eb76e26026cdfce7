"""Plain tables for a terminal."""

from collections.abc import Sequence


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table with aligned columns; the first is flush left."""
    lines = [list(head), *map(list, rows)]
    widths = [max(len(line[n]) for line in lines) for n in range(len(head))]
    rule = ["-" * width for width in widths]
    return "\n".join(_line(line, widths) for line in [lines[0], rule, *lines[1:]])


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    first, *rest = (
        cell.ljust(width) if n == 0 else cell.rjust(width)
        for n, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )
    return "  ".join([first, *rest]).rstrip()


def figure(value: float | None, digits: int, unit: str = "") -> str:
    """Return a number with its unit; a dash where there is none."""
    return "-" if value is None else f"{value:.{digits}f}{unit}"
