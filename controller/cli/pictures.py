"""Pictures in one manner: black on white, told apart without colour. No command.

What may live here: the manner, and how a picture and its words get on the disk.
Nothing is global: no state of the plotting library is touched.
"""

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from controller.adapters.exchange.whole_file import whole_file

DPI = 150
INK, PALE = "black", "0.62"
DASHES: tuple[object, ...] = (
    "-",
    (0, (6, 2)),
    (0, (2, 1.5)),
    (0, (7, 2, 1.5, 2)),
    (0, (1, 2)),
)
"""Of lines, by tray: told apart in print and by who sees no colours."""


def a_figure(title: str, width_in: float, height_in: float) -> Figure:
    """Return an empty figure with a heading at its left."""
    figure = Figure(figsize=(width_in, height_in), dpi=DPI, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(title, x=0.01, ha="left", fontsize=10, fontweight="bold")
    return figure


def plain(axes: Axes, across: str, up: str) -> None:
    """Leave of an axis what is read off it."""
    axes.set_xlabel(across, fontsize=8)
    axes.set_ylabel(up, fontsize=8)
    axes.tick_params(labelsize=8, length=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.grid(visible=True, color="0.88", linewidth=0.5)
    axes.set_axisbelow(True)


def kept(figure: Figure, path: Path, words: str) -> list[Path]:
    """Write a picture, and beside it its words for who does not see it.

    Raises:
        ExchangeError: The disk does not take them.
    """
    beside = path.with_suffix(".txt")
    with whole_file(path) as building:
        figure.savefig(building, format="png", facecolor="white")
    with whole_file(beside) as building:
        building.write_text(f"{words}\n", encoding="utf-8")
    return [path, beside]
