"""Batches in words and as a table, from what the API says of them.

What may live here: text. A stranger's answer may lack anything.
"""

from collections.abc import Callable, Iterator, Mapping

from controller.cli.asking import Json, clean
from controller.cli.trays import aligned

_Object = Mapping[str, object]


def list_in_words(found: Json) -> Iterator[str]:
    """Yield a table of batches."""
    rows = [("CODE", "CROP", "CULTIVAR", "COUNT", "STATE", "TRAY", "DAYS")]
    for one in _objects(found.get("batches")):
        batch = _object(one.get("batch"))
        rows.append(
            (
                _text(one.get("code")),
                _text(batch.get("crop")),
                _text(batch.get("cultivar")),
                _text(batch.get("count")),
                _text(one.get("state")),
                _text(one.get("tray")),
                _days(one),
            )
        )
    if len(rows) == 1:
        yield "no batch was told yet"
    else:
        yield from aligned(rows)
        yield from _headlines(found)


def _headlines(found: Json) -> Iterator[str]:
    """Yield what to do next, by label code."""
    told = [one for one in _objects(found.get("batches")) if one.get("advice")]
    if told:
        yield ""
    for one in told:
        yield f"{_text(one.get('code'))}: {_text(one.get('advice'))}"


def batch_in_words(found: Json, local: Callable[[str], str]) -> Iterator[str]:
    """Yield all that is known of a batch, line by line."""
    batch = _object(found.get("batch"))
    names = [_text(batch.get(key)) for key in ("crop", "cultivar") if batch.get(key)]
    yield f"{_text(found.get('code'))}  {' '.join(names)}, {_text(batch.get('kind'))}"
    yield f"  {_text(found.get('state'))}{_standing(found, batch, local)}"
    yield from _told(batch)
    yield from _thermal(_object(found.get("thermal")))
    for look in _objects(found.get("looks")):
        yield f"  {_look(look, local)}"
    for one in _objects(found.get("rootings")):
        yield f"  {_rooting(one, local)}"
    end = _object(found.get("closing"))
    if end:
        rooted = end.get("rooted")
        counted = "" if rooted is None else f", {_text(rooted)} rooted"
        at, outcome = _at(end.get("at"), local), _text(end.get("outcome"))
        yield f"  ended {at}: {outcome}{counted}"
    yield from _plants(found, local)


def _standing(found: _Object, batch: _Object, local: Callable[[str], str]) -> str:
    parts = []
    if batch.get("stuck_at"):
        parts.append(f"stuck {_at(batch.get('stuck_at'), local)}, {_days(found)} days")
    if batch.get("count") is not None:
        parts.append(f"{_text(batch.get('count'))} of them")
    if found.get("tray"):
        parts.append(f"in tray {_text(found.get('tray'))}")
    return "".join(f", {part}" for part in parts)


def _told(batch: _Object) -> Iterator[str]:
    """Yield what was told of a batch beyond its first line."""
    shown = {"crop", "cultivar", "kind", "stuck_at", "count", "tray"}
    parts = []
    for key, value in batch.items():
        if key in shown or value in (None, "", 0, False):
            continue
        inner = _object(value)
        if inner:
            told = [f"{k} {_text(v)}" for k, v in inner.items() if v is not None]
            parts.append(f"{key}: {', '.join(told)}")
        else:
            parts.append(f"{key} {_text(value)}")
    if parts:
        yield f"  {clean('; '.join(parts))}"


def _thermal(found: _Object) -> Iterator[str]:
    if not found:
        return
    equal = found.get("equal_to")
    mean = found.get("mean_c")
    parts = [
        f"{_text(found.get('degree_hours_k_h'))} K·h above"
        f" {_text(found.get('base_c'))} °C"
    ]
    parts += [_text(equal)] if equal else []
    parts += [f"mean {_text(mean)} °C"] if mean is not None else []
    parts.append(f"{_text(found.get('hours_measured'))} hours measured")
    yield f"  {', '.join(parts)}"


def _look(look: _Object, local: Callable[[str], str]) -> str:
    told = _object(look.get("look"))
    fine = ["tops: fine"] if told.get("fine") else []
    parts = [
        f"look {_text(look.get('id'))}, {_at(told.get('at'), local)},"
        f" {_text(told.get('how'))}, at {_text(told.get('looked_at'))}"
    ]
    parts += fine
    for key in ("base", "tops", "tug", "dead", "sentinels"):
        counts = _object(told.get(key))
        if key == "tops" and fine and not counts:
            continue
        seen = [f"{_text(n)} {name}" for name, n in counts.items() if n]
        if seen:
            parts.append(f"{key}: {', '.join(seen)}".replace("_", " "))
        elif key in ("base", "tops"):
            parts.append(f"{key}: {'none of these' if counts else 'not looked'}")
    return "; ".join(parts)


def _rooting(one: _Object, local: Callable[[str], str]) -> str:
    count, after = _text(one.get("count")), _at(one.get("after"), local)
    doubt = "" if one.get("agrees") else " (the looks contradict each other)"
    if one.get("by") is None:
        return f"{count} not seen to have rooted after {after}{doubt}"
    return f"{count} rooted between {after} and {_at(one.get('by'), local)}{doubt}"


def _plants(found: _Object, local: Callable[[str], str]) -> Iterator[str]:
    """Yield what became of rooted plants."""
    for one in _objects(found.get("stages")):
        told = _object(one.get("stage"))
        score, reason = told.get("root_score"), told.get("reason")
        more = "" if score is None else f", roots {_text(score)} of 4"
        more += f": {_text(reason)}" if reason else ""
        what = f"{_text(told.get('count'))} {_text(told.get('stage'))}"
        number, at = _text(one.get("id")), _at(told.get("at"), local)
        yield f"  stage {number}, {at}, {what}{more}"
    sums = _object(found.get("plants"))
    if sums.get("potted"):
        alive = sums.get("alive_after_six_weeks")
        known = "" if alive is None else f", {_text(alive)} alive six weeks after"
        told_of = f"{_text(sums.get('here'))} should be there"
        yield f"  potted {_text(sums.get('potted'))}, {told_of}{known}"


def _at(value: object, local: Callable[[str], str]) -> str:
    try:
        return local(str(value))
    except ValueError:
        return _text(value)


def _days(found: _Object) -> str:
    days = found.get("days_since_stuck")
    return f"{days:.1f}" if isinstance(days, int | float) else "-"


def _text(value: object) -> str:
    return "-" if value in (None, "") else clean(value)


def _object(value: object) -> _Object:
    return value if isinstance(value, dict) else {}


def _objects(value: object) -> list[_Object]:
    return [_object(one) for one in value] if isinstance(value, list) else []
