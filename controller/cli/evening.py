"""What to do tonight so that a log tells more, in words and JSON. No command."""

import json
import textwrap
from collections.abc import Iterator, Sequence

from controller.core.plan import MatPlan
from controller.ports import IMPORTED, RunHeader
from sim.fitting.evening import Evening, evening
from sim.fitting.fitted import FittedMat
from sim.fitting.record import Record


def tell_evenings(
    headers: Sequence[RunHeader],
    records: Sequence[Record],
    fits: Sequence[FittedMat],
    *,
    as_json: bool,
) -> None:
    """Print what to do tonight, mat by mat."""
    found = {
        record.mat: evening(record, _plan_of(headers, record.mat), fit.zones)
        for record, fit in zip(records, fits, strict=True)
    }
    if as_json:
        mats = [
            {
                "mat": name,
                "steps": list(one.steps),
                "settings": list(one.settings),
                "covered": list(one.why),
            }
            for name, one in found.items()
        ]
        print(json.dumps({"mats": mats}, ensure_ascii=False, indent=2))
    else:
        blocks = ("\n".join(_in_words(name, one)) for name, one in found.items())
        print("\n\n".join(blocks))


def _plan_of(headers: Sequence[RunHeader], mat: str) -> MatPlan:
    """Return how a mat was kept in the last run that had it."""
    runs = [one for one in headers if one.origin != IMPORTED]
    return next(
        plan for run in reversed(runs) for plan in run.plan.mats if plan.name == mat
    )


def _in_words(mat: str, found: Evening) -> Iterator[str]:
    yield f"Mat {mat}, tonight:"
    for step in found.steps or ("Nothing is needed: the log covers enough.",):
        yield from textwrap.wrap(
            step, 88, initial_indent="  - ", subsequent_indent="    "
        )
    if found.settings:
        yield "  In the configuration, for this night only (or by hand over HTTP):"
        yield from (f"    {line}" for line in found.settings)
    yield from textwrap.wrap(
        f"So far: {'; '.join(found.why)}.",
        88,
        initial_indent="  ",
        subsequent_indent="    ",
    )
