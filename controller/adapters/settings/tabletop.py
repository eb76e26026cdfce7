"""Where mats and trays stand on the table, and what must be said for it.

What may live here: `at` and `size`, which are there to draw by. How things
stand to each other breaks no rule: `check` tells of it.
"""

from collections.abc import Iterator

from controller.adapters.settings.document import Tables
from controller.adapters.settings.findings import Finding, shown
from controller.adapters.settings.quantities import SaidPair
from controller.adapters.settings.tables import MatTable, TrayTable
from controller.tabletop import Millimetres, Stand, Tabletop

FARTHEST_MM = 100_000
"""Chosen: a bench is no field [mm]."""

SIZES_MM = (50, 5_000)
"""Chosen: from a small pot to the longest bin that anybody carries [mm]."""


def tabletop_problems(tables: Tables) -> Iterator[Finding]:
    """Yield what is missing or out of range. Wrong tables are passed over."""
    for mat in tables.mats:
        if not mat.wrong:
            yield from _far(f"mat {mat.name}: at", mat.at)
    for tray in tables.trays:
        if not tray.wrong:
            yield from _tray(tray, tables)


def tabletop_of(tables: Tables) -> Tabletop:
    """Return the places of all that say one."""
    return Tabletop(
        mats={mat.name: _mat_stand(mat, mat.at) for mat in tables.mats if mat.at},
        trays={
            tray.name: Stand(_millimetres(tray.at), _millimetres(tray.size))
            for tray in tables.trays
            if tray.at and tray.size
        },
    )


def _mat_stand(mat: MatTable, at: SaidPair) -> Stand:
    """Return a mat as it lies: its first side runs from left to right."""
    return Stand(_millimetres(at), Millimetres(*mat.area.written_mm))


def _millimetres(said: SaidPair) -> Millimetres:
    return Millimetres(said.one_mm, said.other_mm)


def _tray(tray: TrayTable, tables: Tables) -> Iterator[Finding]:
    at = f"tray {tray.name}"
    yield from _far(f"{at}: at", tray.at)
    yield from _sized(f"{at}: size", tray.size)
    if tray.at and not tray.size:
        allowed = 'missing, but at is there; write it, such as ["40 cm", "30 cm"]'
        yield Finding(f"{at}: size", None, allowed)
    if tray.size and not tray.at:
        allowed = 'missing, but size is there; write it, such as ["0 cm", "5 cm"]'
        yield Finding(f"{at}: at", None, allowed)
    mat = next((mat for mat in tables.mats if mat.name == tray.mat), None)
    if tray.at and mat and not mat.wrong and not mat.at:
        allowed = f"leave it out, or write at of mat {mat.name}, too"
        yield Finding(f"{at}: at", shown(tray.at.text), allowed)


def _far(where: str, said: SaidPair | None) -> Iterator[Finding]:
    if said and max(said.one_mm, said.other_mm) > FARTHEST_MM:
        yield Finding(where, shown(said.text), "each from 0 mm to 100 m")


def _sized(where: str, said: SaidPair | None) -> Iterator[Finding]:
    least, most = SIZES_MM
    sides = (said.one_mm, said.other_mm) if said else ()
    if said and not all(least <= side <= most for side in sides):
        yield Finding(where, shown(said.text), "each from 50 mm to 5 m")
