"""Where things stand on the table, in words, and what looks wrong about it."""

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import TYPE_CHECKING

from controller.core.plan import MatPlan, TrayPlan
from controller.tabletop import Stand

if TYPE_CHECKING:
    from controller.adapters.settings import Settings


def tabletop_in_words(settings: "Settings") -> Iterator[str]:
    """Yield where each thing stands that says so; nothing if none does."""
    top = settings.tabletop
    if not top.mats and not top.trays:
        return
    yield ""
    yield "On the table (from its left edge, from its near edge; to draw it by)"
    for name in top.mats:
        size = settings.written[f"mat {name}: area"]
        yield f"  Mat {name} at {settings.written[f'mat {name}: at']}: {size}"
    for name in top.trays:
        at, size = (settings.written[f"tray {name}: {key}"] for key in ("at", "size"))
        yield f"  Tray {name} at {at}: {size.replace(', ', ' x ')}"


def tabletop_worries(settings: "Settings") -> Iterator[str]:
    """Yield what stands as it hardly can, or on a mat that it does not name."""
    top, plan = settings.tabletop, settings.plan
    yield from (f"mats {pair} lie on one another" for pair in _clashes(top.mats))
    yield from (f"trays {pair} stand in one another" for pair in _clashes(top.trays))
    for mat in plan.mats:
        for tray in mat.trays:
            yield from _on_its_mat(settings, mat, tray)
    for tray in plan.trays:
        yield from _on_no_mat(settings, tray)


def _clashes(stands: Mapping[str, Stand]) -> Iterator[str]:
    for (one, here), (other, there) in combinations(stands.items(), 2):
        if here.overlaps(there):
            yield f"{one} and {other}"


def _on_its_mat(settings: "Settings", mat: MatPlan, tray: TrayPlan) -> Iterator[str]:
    top = settings.tabletop
    here, there = top.trays.get(tray.name), top.mats.get(mat.name)
    if here and there and not here.overlaps(there):
        yield (
            f"tray {tray.name} stands wholly beside mat {mat.name}, which is to heat"
            " it: look at its at and size, and at where the mat lies"
        )


def _on_no_mat(settings: "Settings", tray: TrayPlan) -> Iterator[str]:
    here = settings.tabletop.trays.get(tray.name)
    for mat, there in settings.tabletop.mats.items():
        if here and here.overlaps(there):
            yield (
                f"tray {tray.name} stands on mat {mat} but is on none by its settings:"
                " the limits of that mat do not know it"
            )
