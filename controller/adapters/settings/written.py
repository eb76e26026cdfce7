"""What the writer wrote, by place, for echoes and errors in the writer's unit."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from controller.adapters.settings.convert import mat_of
from controller.adapters.settings.document import Tables
from controller.adapters.settings.findings import placed
from controller.adapters.settings.quantities import Said, SaidArea, SaidPair
from controller.adapters.settings.tables import SECTIONS, Checked, MatTable, Table


def written(tables: Tables) -> Mapping[str, str]:
    """Return what was written, by place: "mat north: setpoint" is "75 °F"."""
    sections: tuple[Checked, ...] = (
        tables.bench,
        tables.broker,
        tables.log,
        tables.api,
        tables.crops,
    )
    pairs: dict[str, str] = {}
    for name, section in zip(SECTIONS, sections, strict=True):
        pairs.update(_table(f"[{name}]", section))
    for mat in tables.mats:
        pairs.update(_mat(mat))
    for tray in tables.trays:
        pairs.update(_table(f"tray {tray.name}", tray))
    for probe in tables.probes:
        pairs.update(_table(f"probe {probe.name}", probe))
        guarded = mat_of(probe, tables)
        if guarded is not None and guarded.stale_after is not None:
            pairs[f"probe {probe.name}: stale_after"] = guarded.stale_after.text
    return pairs


def _mat(mat: MatTable) -> Iterator[tuple[str, str]]:
    at = f"mat {mat.name}"
    yield from _table(at, mat)
    for number, step in enumerate(mat.step):
        yield from _table(placed(at, ("step", number)), step)
    if len(mat.step) == 1:
        yield from _table(at, mat.step[0])
    if mat.pid is not None:
        for where, text in _table("", mat.pid):
            yield f"{at}: pid.{where.removeprefix(': ')}", text


def _table(at: str, table: Table) -> Iterator[tuple[str, str]]:
    for key in table.model_fields_set:
        value = getattr(table, key)
        if isinstance(value, Said | SaidArea | SaidPair):
            yield placed(at, (key,)), value.text
        elif isinstance(value, str | int | float | Path):
            yield placed(at, (key,)), str(value)
