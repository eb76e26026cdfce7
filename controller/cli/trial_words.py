"""Plans of trials in words, to be printed, from what the API says of them.

What may live here: text. A stranger's answer may lack anything.
"""

from collections.abc import Iterator, Mapping

from controller.cli.asking import Json, clean
from controller.cli.trays import aligned

_Object = Mapping[str, object]


def list_in_words(found: Json) -> Iterator[str]:
    """Yield a line for each trial, and one for each of its arms."""
    listed = _objects(found.get("trials"))
    for one in listed:
        plan = _object(one.get("trial"))
        gone = "  (withdrawn)" if plan.get("withdrawn") else ""
        yield (
            f"{_text(one.get('id'))}  {_text(plan.get('title'))};"
            f" {len(_objects(plan.get('units')))} {_text(plan.get('unit'))}s,"
            f" {_text(plan.get('cuttings'))} in each; seed"
            f" {_text(plan.get('seed'))}{gone}"
        )
        yield from (f"    {line}" for line in _arms(one, plan))
    if not listed:
        yield "no trial was told yet"


def _arms(one: _Object, plan: _Object) -> Iterator[str]:
    rows = [
        (
            _text(arm.get("arm")),
            f"{_text(arm.get('stuck'))} of {_text(arm.get('units'))} stuck",
            f"{_text(arm.get('reached'))} of {_text(arm.get('cuttings'))}"
            f" {_text(plan.get('end_point'))}",
        )
        for arm in _objects(one.get("arms"))
    ]
    return aligned(rows) if rows else iter(())


def plan_in_words(plan: Json, stored: Json | None) -> Iterator[str]:
    """Yield a plan, line by line.

    Args:
        plan: As the API takes it.
        stored: What the API answered when it was stored; None: it was not.
    """
    number = f"trial {_text(stored.get('id'))}" if stored else "not stored yet"
    units = _objects(plan.get("units"))
    yield f"{_text(plan.get('title'))} ({number})"
    yield (
        f"  {len(units)} {_text(plan.get('unit'))}s, {_text(plan.get('cuttings'))} in"
        f" each; seed {_text(plan.get('seed'))}; {_text(plan.get('end_point'))},"
        f" decided by {_text(plan.get('test'))}"
    )
    yield ""
    yield from (f"  {line}" for line in _unit_rows(plan, units))


def units_in_words(found: Json) -> Iterator[str]:
    """Yield a stored plan with what came of its units."""
    plan = _object(found.get("trial"))
    yield from plan_in_words(dict(plan), found)
    power, smallest = plan.get("power"), plan.get("smallest_p")
    if isinstance(power, float | int) and isinstance(smallest, float | int):
        yield ""
        yield (
            f"  told beforehand: smallest p {smallest:.2g}, stated difference found"
            f" {round(100 * power)} times in 100"
        )
    yield ""
    yield from (f"  {line}" for line in _arms(found, plan))


def _unit_rows(plan: Json, units: list[_Object]) -> Iterator[str]:
    """Yield a table; columns of nothing are left out."""
    keys = ("block", "name", "tray", "position", "mean_c", "arm", "cultivar", "batch")
    head = ("BLOCK", "UNIT", "TRAY", "PLACE", "MEAN", "ARM", "CULTIVAR", "BATCH")
    used = [
        (key, title)
        for key, title in zip(keys, head, strict=True)
        if any(unit.get(key) not in (None, "") for unit in units)
        and not (plan.get("unit") == "tray" and key in ("tray", "position"))
    ]
    rows = [tuple(title for _, title in used)]
    rows += [tuple(_cell(unit, key) for key, _ in used) for unit in units]
    yield from aligned(rows)


def _cell(unit: _Object, key: str) -> str:
    value = unit.get(key)
    if key == "mean_c" and isinstance(value, float | int):
        return f"{value:.1f} °C"
    return _text(value)


def _text(value: object) -> str:
    return "-" if value in (None, "") else clean(value)


def _object(value: object) -> _Object:
    return value if isinstance(value, dict) else {}


def _objects(value: object) -> list[_Object]:
    return [_object(one) for one in value] if isinstance(value, list) else []
