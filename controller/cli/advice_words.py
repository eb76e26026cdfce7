"""Advice in words, from what the API says. A stranger's answer may lack anything.

What may live here: text.
"""

from collections.abc import Callable, Iterator, Mapping

from controller.cli.asking import Json, clean

_Object = Mapping[str, object]


def advice_in_words(found: Json) -> Iterator[str]:
    """Yield advice: of one batch, or of all of them, with containers and mats."""
    one = found.get("advice")
    batches = [_object(one)] if one else _objects(found.get("batches"))
    for batch in batches:
        yield from _batch(batch)
    whole = [_object(found[key]) for key in ("container", "mat") if found.get(key)]
    for key in ("containers", "mats"):
        whole += _objects(found.get(key))
    for proposal in whole:
        yield from _proposal(proposal)
    if not batches:
        yield "no open batch: nothing to advise"
    else:
        yield "Advice only: you see the bench, the program does not."


def due_in_words(found: Json, local: Callable[[str], str]) -> Iterator[str]:
    """Yield what is due, the most urgent first."""
    listed = _objects(found.get("reminders"))
    for one in listed:
        try:
            due = local(str(one.get("due")))
        except ValueError:
            due = clean(one.get("due"))
        late = "  overdue" if one.get("overdue") else ""
        yield f"{due}{late}  {clean(one.get('summary'))}"
    if not listed:
        yield "nothing is due"


def _batch(batch: _Object) -> Iterator[str]:
    tray = batch.get("tray")
    where = f" in {clean(tray)}" if tray else " off the bench"
    yield f"{clean(batch.get('code'))}  {clean(batch.get('name'))}{where}"
    yield f"  {clean(batch.get('headline'))}"
    yield f"  because {clean(batch.get('because'))}"
    water = str(batch.get("water") or "")
    for point in _texts(batch.get("points")):
        if not water.startswith(point):  # said below, with weights
            yield f"  - {point}"
    for caution in _texts(batch.get("cautions")):
        yield f"  ! {caution}"
    if batch.get("water"):
        yield f"  water: {clean(batch.get('water'))}"


def _proposal(proposal: _Object) -> Iterator[str]:
    yield f"* {clean(proposal.get('sentence'))}"
    for step in _objects(proposal.get("steps")):
        after = step.get("after_days")
        when = "first" if not after else f"after {clean(after)} days"
        yield f"    {when}: {clean(step.get('words'))}"
    for warning in _texts(proposal.get("warnings")):
        yield f"    ! {warning}"


def _object(value: object) -> _Object:
    return value if isinstance(value, dict) else {}


def _objects(value: object) -> list[_Object]:
    return [_object(one) for one in value] if isinstance(value, list) else []


def _texts(value: object) -> list[str]:
    return [clean(one) for one in value] if isinstance(value, list) else []
